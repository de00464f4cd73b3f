// Which frame of a clip is on the screen: steps, jumps, held keys, playing. The
// picture of a frame that is rested on is the full one; what only passes by is a
// small one, which is ready sooner. Nothing may be placed before the full picture
// of the frame that is named has been painted: see ready.

import { Frames } from './frames.js';
import { send, Away } from './api.js';

const signAfter = 120; // ms of waiting before the wait is told: most pictures are there sooner.
const restAfter = 220; // ms after the last step of a held key.

/**
 * Film shows frames of a clip on a stage. options:
 *   moved(frame)        the frame named has changed
 *   painted()           what is on the screen has changed
 *   wait(text)          tells a wait in words; '' where there is none
 *   failed(frame, error)
 */
export class Film {
  constructor(clip, stage, options) {
    Object.assign(this, options);
    this.clip = clip;
    this.stage = stage;
    this.frame = 0;
    this.speed = 1;
    const onScreen = (bitmap) => stage.bitmap === bitmap;
    this.steps = new Frames(clip, 'step', onScreen);
    this.plays = new Frames(clip, 'play', onScreen);
    this.fulls = Math.max(clip.width, clip.height) > 1920 ? new Frames(clip, 'full', onScreen) : null;
    stage.painted = null;
    stage.onpainted = () => {
      this.sign();
      this.painted();
    };
  }

  get last() { return this.clip.times.length - 1; }

  /** Whether the frame that is named is on the screen, at rest and in full. */
  get ready() { return this.stage.painted === this.frame && this.stage.sharp && !this.playing && !this.running; }

  clamp(frame) { return Math.max(0, Math.min(this.last, frame)); }

  goTo(frame) {
    this.stop();
    this.running = false;
    clearTimeout(this.restTimer);
    this.frame = this.clamp(frame);
    this.moved(this.frame);
    this.settle();
  }

  /** One step of a key that is held: as fast as pictures come, none skipped. */
  run(by) {
    const to = this.clamp(this.frame + by);
    if (this.stage.painted !== this.frame || to === this.frame) return;
    this.pass(to);
  }

  /** Shows the small picture of a frame that is passed by; the full one comes with rest. */
  pass(frame) {
    this.stop();
    this.running = true;
    this.frame = this.clamp(frame);
    this.moved(this.frame);
    const f = this.frame;
    this.plays.show(f).then((bitmap) => {
      if (this.frame === f && this.running) this.stage.show(bitmap, f, false);
    }, () => {});
    clearTimeout(this.restTimer);
    this.restTimer = setTimeout(() => this.rest(), restAfter);
  }

  rest() {
    if (!this.running) return;
    this.running = false;
    clearTimeout(this.restTimer);
    this.settle();
  }

  settle() {
    const f = this.frame;
    const asked = performance.now();
    clearTimeout(this.again);
    this.full = -1;
    this.plays.halt(); // The full picture does not wait for small ones.
    this.sign();
    this.steps.show(f).then((bitmap) => {
      if (this.frame !== f || this.closed || this.playing || this.running) return;
      this.tookMs = Math.round(performance.now() - asked);
      this.full = f;
      this.stage.show(bitmap, f, true);
      this.sharpen(f);
      this.prepare(f);
    }).catch((error) => {
      if (this.frame !== f || this.closed || error.name === 'AbortError') return;
      this.failed(f, error);
      // The program may come back.
      if (error instanceof Away) this.again = setTimeout(() => { if (this.frame === f && !this.ready) this.settle(); }, 1500);
    });
    // Meanwhile a small one, if there is one.
    clearTimeout(this.meanwhile);
    this.meanwhile = setTimeout(async () => {
      const missing = () => this.frame === f && this.full !== f && this.stage.painted !== f && !this.closed && !this.playing && !this.running;
      if (!missing()) return;
      const bitmap = await this.plays.atHand(f).catch(() => null);
      if (bitmap && missing()) this.stage.show(bitmap, f, false);
    }, 30);
  }

  /** Has the program make the small pictures around, for whoever plays or holds a key next. */
  prepare(f) {
    const about = Math.round(f / 60);
    if (this.prepared === about) return;
    this.prepared = about;
    send('POST', '/api/prepare', { clip: this.clip.path, frame: f, size: 'play' }).catch(() => {});
  }

  /** Shows the clip's own pixels of a large clip once a person stays on a frame. */
  sharpen(f) {
    if (!this.fulls) return;
    clearTimeout(this.sharpTimer);
    this.sharpTimer = setTimeout(() => this.fulls.get(f).then((bitmap) => {
      if (this.frame === f && !this.closed && !this.playing && !this.running) this.stage.show(bitmap, f, true);
    }, () => {}), 300);
  }

  sign() {
    clearTimeout(this.signTimer);
    if (this.ready || this.running || this.playing) {
      this.wait('');
      return;
    }
    this.signTimer = setTimeout(() => {
      if (!this.ready && !this.closed) this.wait(this.stage.painted === this.frame ? `Frame ${this.frame}: the full picture is on its way…` : `Frame ${this.frame} is on its way…`);
    }, signAfter);
  }

  toggle() {
    if (this.playing) this.goTo(this.frame);
    else this.play();
  }

  play() {
    this.running = false;
    clearTimeout(this.restTimer);
    this.playing = true;
    if (this.frame >= this.last) this.frame = 0;
    let from = this.clip.times[this.frame];
    let since = performance.now();
    let asked = -1;
    const tick = () => {
      if (!this.playing || this.closed) return;
      requestAnimationFrame(tick);
      const now = performance.now();
      if (asked >= 0 && this.stage.painted !== asked) {
        // A picture that is late makes time wait, so that none is skipped unseen.
        from = this.clip.times[asked];
        since = now;
        return;
      }
      const t = from + ((now - since) / 1000) * this.speed;
      let f = this.frame;
      while (f < this.last && this.clip.times[f + 1] <= t) f += 1;
      if (f === this.frame && asked >= 0) {
        if (f === this.last) this.goTo(f);
        return;
      }
      asked = f;
      this.frame = f;
      this.moved(f);
      this.plays.show(f).then((bitmap) => {
        if (this.playing && this.frame === f) this.stage.show(bitmap, f, false);
      }, () => this.goTo(f));
    };
    this.sign();
    this.moved(this.frame);
    requestAnimationFrame(tick);
  }

  stop() {
    if (!this.playing) return;
    this.playing = false;
    this.moved(this.frame);
  }

  close() {
    this.closed = true;
    this.playing = false;
    for (const t of [this.restTimer, this.meanwhile, this.sharpTimer, this.signTimer, this.again]) clearTimeout(t);
    for (const f of [this.steps, this.plays, this.fulls]) f?.close();
  }
}
