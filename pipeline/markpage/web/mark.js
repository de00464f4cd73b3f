// The marking page of one clip.

import { h, put, button, field, choice, number } from './dom.js';
import { lengthField, numberField, inOwn, readIn } from './lengths.js';
import { get, send } from './api.js';
import { Film } from './film.js';
import { Strip } from './strip.js';
import { Hold } from './hold.js';
import { Proposals } from './proposals.js';
import { nextToMark, openNext } from './next.js';
import { Stage, drawSign, drawWords } from './stage.js';
import { Saver } from './saver.js';
import { facing } from './horse.js';
import { Ground } from './ground.js';
import { landmarksFor, askedFor, extrasFor, landmarkNames, placeOf, sideOf, opposite, symbols, colours, levelWords } from './words.js';
import { stands, leading, landmarksStanding, neededStanding, nextStop } from './plan.js';

const keyHelp = [
  ['← and →', 'one frame back, one forward (with Shift: ten); , and . do the same'],
  ['Space', 'play and stop'],
  ['S', 'slow motion on and off'],
  ['[ and ]', 'previous and next marked frame'],
  ['G', 'go on: next frame to mark, then the ground, then the next clip'],
  ['C', 'confirm the proposed marks of this frame'],
  ['X', 'throw the proposed marks of this frame away'],
  ['N', 'the landmark is not visible in this frame'],
  ['Delete', 'remove the mark of this landmark in this frame'],
  ['U', 'undo; with Shift: redo'],
  ['Z', 'zoom to the horse'],
  ['+, - and 0', 'zoom in, zoom out, whole picture'],
  ['Enter', 'on the picture: take the cross with the keys; the arrow keys then move it by 1 px (Shift: 10 px, Alt: 0.1 px), Enter places the mark, Esc lets go'],
];

/** Turns a marks file into the parts that are saved and merged one by one. */
export function partsOf(marks) {
  if (!marks) return {};
  const parts = { view: marks.view, gait: marks.gait };
  for (const name of ['note', 'withers_m', 'calibration', 'filmed_fps', 'confirmed']) if (marks[name]) parts[name] = marks[name];
  for (const m of marks.marks ?? []) parts[`mark:${m.frame}:${m.landmark}`] = m.hidden ? 'hidden' : m.proposed ? [m.x, m.y, 'proposed'] : [m.x, m.y];
  return parts;
}

/** Turns parts back into a marks file; null while there is nothing to save. */
export function packMarks(parts, clip) {
  const marks = [];
  for (const [name, value] of Object.entries(parts)) {
    const at = name.match(/^mark:(\d+):(.+)$/);
    if (!at) continue;
    const m = { frame: Number(at[1]), landmark: at[2] };
    marks.push(value === 'hidden' ? { ...m, hidden: true } : { ...m, x: value[0], y: value[1], ...(value[2] ? { proposed: true } : {}) });
  }
  if (!parts.view || (marks.length === 0 && !parts.calibration && clip.version === '"none"')) return null;
  return {
    schema: 'jogstrip-marks/1', view: parts.view, gait: parts.gait, picture: { width: clip.width, height: clip.height },
    ...(parts.note ? { note: parts.note } : {}), ...(parts.withers_m ? { withers_m: parts.withers_m } : {}),
    ...(parts.calibration ? { calibration: parts.calibration } : {}),
    ...(parts.filmed_fps ? { filmed_fps: parts.filmed_fps } : {}), ...(parts.confirmed ? { confirmed: parts.confirmed } : {}), marks,
  };
}

/** Opens the marking page. Returns a function that leaves it. */
export async function openMark(main, path, { frame, landmark, show, setCrumbs }) {
  const clip = await get('/api/clip', { clip: path });
  const page = new MarkPage(main, clip, show);
  setCrumbs(clip);
  page.start(frame, landmark);
  return () => page.close();
}

class MarkPage {
  constructor(main, clip, show) {
    this.main = main;
    this.clip = clip;
    readIn(clip.lengths);
    this.show = show;
    this.parts = partsOf(clip.marks);
    this.undoStack = [];
    this.redoStack = [];
    this.step = 'horse';
    this.active = null;
    this.cross = null;
    this.ground = new Ground(this);
    this.proposals = new Proposals(this);
    this.ends = new AbortController();
  }

  start(frame, landmark) {
    const { clip } = this;
    if (clip.marks_error) {
      put(this.main, h('h1', {}, clip.name), h('div', { class: 'notice bad', role: 'alert' },
        h('p', {}, `This clip's marks can't be used: ${clip.marks_error}`),
        h('p', {}, 'The file is left as it is. Repair it, or move it away to mark the clip anew.')));
      this.closed = true;
      return;
    }
    this.saver = new Saver({
      kind: 'marks', id: clip.path, path: '/api/marks', query: { clip: clip.path }, version: clip.version, base: structuredClone(this.parts), show: this.show,
      pack: (parts) => packMarks(parts, { ...clip, version: this.saver.version }),
      unpack: (answer) => partsOf(answer.marks),
      adopt: (parts) => {
        this.parts = parts;
        this.ground.forget();
        this.refresh();
      },
      ask: (conflicts) => this.askConflict(conflicts),
    });
    const left = this.saver.takeUp();
    if (left) {
      this.parts = left;
      this.ground.forget();
      this.saver.save(left);
    } else {
      this.show(clip.version === '"none"' ? '' : 'saved', clip.version === '"none"' ? '' : 'Saved');
    }
    if (!this.parts.gait) this.parts.gait = clip.guess.gait;
    const fresh = !this.parts.view;
    this.build();
    this.frame = openingFrame(clip, this.parts, frame);
    if (this.parts.view) this.setStep('marks');
    else this.setStep(clip.guess.view ? 'look' : 'horse');
    if (landmark && this.parts.view) {
      this.active = landmark;
      this.chosen = landmark;
    }
    this.keys = (e) => this.keyed(e);
    const listen = (name, f) => document.addEventListener(name, f, { signal: this.ends.signal });
    listen('keydown', this.keys);
    listen('keyup', () => this.film.rest());
    this.goTo(this.frame);
    this.survey(fresh);
    this.lookAround();
    this.proposals.load();
  }

  close() {
    this.closed = true;
    this.ends.abort();
    for (const part of [this.saver, this.film, this.stage, this.strip, this.hold]) part?.close();
    clearTimeout(this.lookTimer);
  }

  /** Has the program look at the whole clip: small pictures for the scrubber, where the horse is, which way it goes. */
  async survey(fresh) {
    // Who has to wait for it chooses by hand.
    if (this.step === 'look') this.lookTimer = setTimeout(() => this.decided(null), 4000);
    let overview = null;
    try {
      overview = await get('/api/overview', { clip: this.clip.path }, { signal: this.ends.signal });
    } catch {
      // The page does without.
    }
    if (this.closed) return;
    this.overview = overview;
    if (overview) this.strip.load(overview, `/strip?clip=${encodeURIComponent(this.clip.path)}&stamp=${this.clip.stamp}`).catch(() => {});
    if (fresh) this.decided(overview?.seen);
    // The picture does not move under a person's hand.
    if (this.step === 'marks' && !this.touched) this.zoomToHorse();
    this.stage.canvas.dataset.settled = 'yes';
  }

  /** Takes the way the horse goes from the file's name where the picture agrees; else the person is asked. */
  decided(seen) {
    clearTimeout(this.lookTimer);
    if (this.step !== 'look') return;
    if (seen && seen === this.clip.guess.view) {
      this.parts.view = seen;
      this.agreed = true;
      this.goTo(openingFrame(this.clip, this.parts));
      this.setStep('marks');
    } else {
      this.setStep('horse');
    }
  }

  /** Looks what there is around this clip: ground marks to take over, the next clip, how much is done. */
  async lookAround() {
    if (!this.parts.calibration) {
      get('/api/carry', { clip: this.clip.path }, { signal: this.ends.signal }).then((answer) => {
        this.carried = answer;
        if (Object.keys(this.parts).some((k) => k.startsWith('mark:'))) this.takeOver();
        this.refresh();
      }, () => {});
    }
    try {
      const { clips } = await get('/api/clips', {}, { signal: this.ends.signal });
      this.clips = clips;
      this.refresh();
    } catch {
      // The bar is left out.
    }
  }

  /** Takes ground marks over from a clip in which the camera stood the same. */
  takeOver() {
    if (this.parts.calibration || !this.carried?.calibration) return;
    this.parts.calibration = this.carried.calibration;
    this.saver.save(this.parts);
    this.ground.forget();
  }

  /** Proposals have come, or none. */
  proposed() {
    const first = this.proposals.frames()[0];
    // Who has begun with a frame is not taken away from it.
    if (first !== undefined && this.step === 'marks' && !this.touched && this.markedFrames().length === 0) this.goToProposed(first);
    this.refresh();
  }

  // Building.

  build() {
    const { clip } = this;
    this.stage = new Stage({
      width: clip.width, height: clip.height, draw: (pen) => this.draw(pen), point: (...a) => this.point(...a),
      zoomed: () => this.refreshZoom(),
      label: 'Picture of the clip. The left and right arrow keys step through frames, Enter takes the cross with the keys.',
    });
    this.waitSign = h('p', { class: 'wait-sign', role: 'status', hidden: true });
    this.film = new Film(clip, this.stage, {
      moved: () => this.movedOn(),
      painted: () => {
        const { painted, sharp } = this.stage;
        if (painted !== null) this.stage.canvas.dataset.shown = String(painted);
        if (this.film.ready && sharp) Object.assign(this.stage.canvas.dataset, { frame: String(painted), tookMs: String(this.film.tookMs) });
      },
      wait: (text) => {
        this.waitSign.hidden = text === '';
        this.waitSign.textContent = text;
        this.stage.canvas.classList.toggle('waiting', text !== '');
      },
      failed: (f, error) => this.say(`Frame ${f} can't be shown: ${error.message}`),
    });
    this.strip = new Strip(clip, { scrub: (f) => this.film.pass(f), rest: () => this.film.rest(), go: (f) => this.goTo(f) });
    this.edges = { start: h('p', { class: 'edge start' }), end: h('p', { class: 'edge end' }) };
    this.where = h('output', { class: 'where' });
    this.zoomText = h('output', { class: 'zoom' });
    this.task = h('section', { class: 'task', 'aria-label': 'What to do' });
    this.onward = h('div', { class: 'onward', role: 'group', 'aria-label': 'Go on' });
    this.message = h('p', { class: 'message', role: 'status', 'aria-live': 'polite' });
    this.tabs = h('nav', { class: 'tabs', 'aria-label': 'Steps of marking' });
    this.night = h('div', { class: 'night' });
    this.playButton = button('Play', () => this.film.toggle(), { id: 'play', 'aria-pressed': 'false' });
    this.slowButton = button('Slow', () => this.slow(), { id: 'slow', 'aria-pressed': 'false', title: 'Slow motion: a quarter of the speed' });
    const panel = h('aside', { class: 'side', 'aria-label': 'Steps' }, this.tabs, this.onward, this.message, this.task,
      h('details', { class: 'keys' }, h('summary', {}, 'Keys'), h('dl', {}, keyHelp.map(([k, t]) => [h('dt', {}, k), h('dd', {}, t)]))));
    this.hold = new Hold(panel);
    put(this.main,
      h('div', { class: 'headline' }, h('h1', { class: 'quiet' }, `Mark ${clip.name}`), this.night, h('a', { href: '#/help' }, 'How to mark')),
      h('div', { class: 'workbench marking' },
        h('section', { class: 'sight', 'aria-label': 'Clip' },
          h('div', { class: 'frame' }, this.stage.canvas, this.edges.start, this.edges.end, this.waitSign),
          this.strip.element,
          h('div', { class: 'transport' },
            button('◀◀', () => this.goTo(this.frame - 10), { 'aria-label': 'Ten frames back' }), button('◀', () => this.goTo(this.frame - 1), { 'aria-label': 'One frame back' }),
            this.playButton,
            button('▶', () => this.goTo(this.frame + 1), { 'aria-label': 'One frame forward' }), button('▶▶', () => this.goTo(this.frame + 10), { 'aria-label': 'Ten frames forward' }),
            this.slowButton, this.where,
            h('span', { class: 'zooms' }, button('−', () => this.stage.zoomBy(0.5), { 'aria-label': 'Zoom out' }), button('+', () => this.stage.zoomBy(2), { 'aria-label': 'Zoom in' }),
              button('Horse', () => this.zoomToHorse(), { id: 'zoom-horse', 'aria-label': 'Zoom to the horse' }), button('All', () => this.stage.fit(), { id: 'zoom-all', 'aria-label': 'All of the picture' }), this.zoomText))),
        panel));
  }

  slow() {
    this.film.speed = this.film.speed === 1 ? 0.25 : 1;
    this.slowButton.setAttribute('aria-pressed', String(this.film.speed !== 1));
    if (this.film.playing) this.film.play();
  }

  setStep(step) {
    this.step = step;
    this.say('');
    if (step === 'marks') {
      this.want = this.nextStop()?.side ?? 'left';
      this.active = this.nextLandmark();
    }
    if (step === 'ground') {
      this.takeOver();
      this.stage.fit();
    }
    this.letGo();
    if (step === 'marks') {
      const first = this.proposals.frames()[0];
      if (first !== undefined && this.markedFrames().length === 0) this.goToProposed(first);
      else this.zoomToHorse();
    }
    this.refresh();
  }

  // State.

  get view() { return this.parts.view; }

  get frame() { return this.film.frame; }

  set frame(f) { this.film.frame = f; }

  markAt(frame, landmark) { return this.parts[`mark:${frame}:${landmark}`]; }

  markedFrames() {
    const frames = new Set(Object.keys(this.parts).filter((k) => k.startsWith('mark:')).map((k) => Number(k.split(':')[1])));
    return [...frames].sort((a, b) => a - b);
  }

  /** The frames in which the leading hoof of a side is marked. */
  standing(side) {
    return this.markedFrames().filter((f) => Array.isArray(this.markAt(f, leading(this.view, side))));
  }

  /** The frame to mark next, or null; see plan.js. */
  nextStop() {
    return nextStop({ view: this.view, gait: this.parts.gait, times: this.clip.times, frame: this.frame, left: this.standing('left'), right: this.standing('right') });
  }

  /** The landmarks asked for in the frame shown: those that go with the hoof that stands. */
  asked() {
    const [left, right] = ['left', 'right'].map((s) => Array.isArray(this.markAt(this.frame, leading(this.view, s))));
    return [...(left && right ? askedFor(this.view) : landmarksStanding(this.view, this.parts.gait, left ? 'left' : right ? 'right' : this.want ?? 'left')), ...this.extras()];
  }

  /** The landmarks that are asked for because one of their kind is marked in the clip. */
  extras() {
    const extras = extrasFor(this.view);
    return extras.some((l) => Object.keys(this.parts).some((k) => k.startsWith('mark:') && k.endsWith(`:${l}`) && Array.isArray(this.parts[k]))) ? extras : [];
  }

  nextLandmark() {
    if (!this.view) return null;
    return this.asked().find((l) => this.markAt(this.frame, l) === undefined) ?? null;
  }

  /** What comes next: { id, text, act, ready }; ready says that it is time for it. */
  nextThing() {
    if (this.step === 'look') return { id: 'choose', text: 'Choose by hand', act: () => this.decided(null), ready: false };
    if (this.step === 'horse') return { id: 'go-marks', text: 'Go on to the marks', act: () => this.setStep('marks'), ready: Boolean(this.view), off: !this.view };
    const nextClip = { id: 'next-clip', text: 'Next clip', act: () => this.nextClip(), ready: true };
    if (this.step === 'finish') return nextClip;
    if (this.step === 'ground') {
      return this.ground.incomplete() ? { id: 'go-finish', text: 'Finish', act: () => this.setStep('finish'), ready: this.ground.method === 'none' } : { id: 'go-finish', text: 'Finish', act: () => this.setStep('finish'), ready: true };
    }
    if (this.proposals.at(this.frame).size > 0) {
      const n = this.proposals.at(this.frame).size;
      return { id: 'confirm', text: n === 1 ? 'Confirm the proposed mark' : `Confirm the ${n} proposed marks`, act: () => this.confirm(), ready: true };
    }
    const proposed = this.proposals.next(this.frame);
    const stop = this.nextStop();
    if (stop && proposed !== null) return { id: 'next-frame', text: 'Next frame with proposed marks', act: () => this.goToProposed(proposed), ready: this.enoughHere() };
    const limb = this.view === 'toward' ? 'fore' : 'hind';
    if (stop) return { id: 'next-frame', text: `Next frame: ${stop.side} ${limb} stands`, act: () => this.goToStop(stop), ready: this.enoughHere() };
    if (!this.parts.calibration && !this.carried?.calibration) return { id: 'go-ground', text: 'Go on to the ground', act: () => this.setStep('ground'), ready: true };
    return nextClip;
  }

  /** Whether this frame holds what is needed of it: the hoof that stands and the head, or the croup. */
  enoughHere() {
    const asked = this.asked();
    return asked.slice(0, this.least(asked)).every((l) => this.markAt(this.frame, l) !== undefined);
  }

  /** How many of the landmarks asked for must be marked; both hooves, and the head or croup, where both stand. */
  least(asked) { return askedFor(this.view).every((l) => asked.includes(l)) ? neededStanding + 1 : neededStanding; }

  goOn() {
    const thing = this.nextThing();
    if (!thing.off) thing.act();
  }

  goToStop(stop) {
    this.want = stop.side;
    this.chosen = null;
    this.goTo(stop.frame);
    this.active = this.nextLandmark();
    this.zoomToHorse();
    this.refresh();
    this.say(`Step until the ${landmarkNames[leading(this.view, stop.side)]} stands.`);
  }

  goToProposed(frame) {
    this.chosen = null;
    this.goTo(frame);
    this.zoomToHorse();
    this.say('Look whether the proposed marks sit right: C confirms them, a drag moves one, X throws them away.');
  }

  /** Makes the proposed marks of the frame shown marks of the person, and goes on. */
  confirm() {
    if (!this.mayPlace()) return;
    const found = this.proposals.at(this.frame);
    if (found.size === 0) {
      this.say('No marks are proposed in this frame.');
      return;
    }
    const changes = {};
    for (const [landmark, p] of found) changes[`mark:${this.frame}:${landmark}`] = [p.x, p.y, 'proposed'];
    this.change(changes);
    this.say(`${found.size} marks of frame ${this.frame} confirmed.`);
    const next = this.proposals.next(this.frame);
    if (this.swapped().length === 0 && next !== null && this.nextStop()) this.goToProposed(next);
  }

  throwAway() {
    if (this.proposals.at(this.frame).size === 0) return;
    const frame = this.frame;
    this.proposals.discard(frame);
    this.undoStack.push({ frame, active: this.active, step: this.step, proposals: frame });
    this.redoStack = [];
    this.active = this.nextLandmark();
    this.refresh();
    this.say(`The proposed marks of frame ${frame} are thrown away.`);
  }

  /** Whether something may be placed now; where not, says why. */
  mayPlace() {
    if (this.film.ready) return true;
    this.say(this.film.playing ? 'Stop first: Space.' : `Wait: frame ${this.frame} is not on the screen yet. Nothing was placed.`);
    return false;
  }

  /** Changes parts, so that it can be undone, and saves. */
  change(changes, { calibrate = true } = {}) {
    const before = this.put(changes);
    this.undoStack.push({ before, after: changes, frame: this.frame, active: this.active, step: this.step });
    if (this.undoStack.length > 500) this.undoStack.shift();
    this.redoStack = [];
    if (calibrate && Object.keys(changes).some((k) => k.startsWith('mark:'))) this.takeOver();
    this.saver.save(this.parts);
    this.refresh();
  }

  /** Sets parts and returns what they were. */
  put(changes) {
    const before = {};
    for (const [k, v] of Object.entries(changes)) {
      before[k] = this.parts[k];
      if (v === undefined) delete this.parts[k];
      else this.parts[k] = v;
    }
    return before;
  }

  /** Saves a text with every letter; the letters of one field are undone together. */
  type(name, value) {
    const last = this.undoStack.at(-1);
    const before = this.put({ [name]: value });
    if (last?.typed === name) last.after = { [name]: value };
    else this.undoStack.push({ before, after: { [name]: value }, typed: name, frame: this.frame, active: this.active, step: this.step });
    this.redoStack = [];
    this.saver.save(this.parts);
  }

  undo() {
    const last = this.undoStack.pop();
    if (!last) {
      this.say('Nothing to undo.');
      return;
    }
    this.redoStack.push(last);
    this.travel(last, last.before);
    this.say('Undone.');
  }

  redo() {
    const next = this.redoStack.pop();
    if (!next) {
      this.say('Nothing to do again.');
      return;
    }
    this.undoStack.push(next);
    this.travel(next, next.after);
    this.say('Done again.');
  }

  travel(entry, parts) {
    if (entry.proposals !== undefined) {
      this.proposals.discard(entry.proposals, parts === entry.after && this.undoStack.at(-1) === entry);
    } else {
      this.put(parts);
      this.saver.save(this.parts);
    }
    this.step = entry.step;
    this.active = entry.active;
    this.ground.forget();
    this.refresh();
    if (entry.frame !== this.frame) this.goTo(entry.frame, true);
  }

  place(x, y) {
    if (!this.mayPlace()) return;
    const { width, height } = this.clip;
    const px = Math.round(Math.max(-0.5, Math.min(width - 0.5, x)) * 100) / 100;
    const py = Math.round(Math.max(-0.5, Math.min(height - 0.5, y)) * 100) / 100;
    if (this.step === 'ground') {
      this.ground.place(px, py);
      return;
    }
    if (this.step !== 'marks' || !this.active) {
      this.say(this.view ? 'All landmarks of this frame are done. Choose one to move it.' : 'First say how the clip was filmed.');
      return;
    }
    const landmark = this.active;
    const renewed = this.markAt(this.frame, landmark) !== undefined;
    this.cross = [px, py];
    this.change({ [`mark:${this.frame}:${landmark}`]: [px, py] });
    this.lastPlaced = landmark;
    this.chosen = null;
    if (!renewed) this.advance();
    this.say(`${cap(landmarkNames[landmark])} marked in frame ${this.frame}.`);
    this.proposals.more();
  }

  hide() {
    if (this.step !== 'marks' || !this.active || !this.mayPlace()) return;
    const landmark = this.active;
    this.change({ [`mark:${this.frame}:${landmark}`]: 'hidden' });
    this.advance();
    this.say(`${cap(landmarkNames[landmark])}: not visible in frame ${this.frame}.`);
  }

  remove() {
    if (this.step === 'ground') {
      this.ground.removeLast();
      return;
    }
    const landmark = this.active ?? this.lastPlaced;
    if (!landmark || this.markAt(this.frame, landmark) === undefined) return;
    this.change({ [`mark:${this.frame}:${landmark}`]: undefined });
    this.active = landmark;
    this.refresh();
  }

  advance() {
    this.active = this.nextLandmark();
    this.refresh();
  }

  nudge(dx, dy) {
    if (!this.mayPlace()) return;
    const landmark = this.active && this.markAt(this.frame, this.active) !== undefined ? this.active : this.lastPlaced;
    const at = landmark && this.markAt(this.frame, landmark);
    if (!Array.isArray(at)) return;
    const moved = [Math.round((at[0] + dx) * 100) / 100, Math.round((at[1] + dy) * 100) / 100];
    this.cross = moved;
    this.change({ [`mark:${this.frame}:${landmark}`]: moved });
  }

  /**
   * Pairs whose left lies where the right should: in this frame, or, where this
   * frame has one of them only, beside the nearest frame that has the other, both
   * as seen from a landmark of the midline.
   */
  swapped() {
    if (!this.view) return [];
    const sign = this.view === 'toward' ? 1 : -1;
    const at = (frame, l) => (Array.isArray(this.markAt(frame, l)) ? this.markAt(frame, l) : null);
    const found = [];
    for (const left of landmarksFor(this.view).filter((l) => l.startsWith('left-'))) {
      const right = opposite(left);
      const here = [left, right].filter((l) => at(this.frame, l));
      if (here.length === 2) {
        if (sign * (at(this.frame, left)[0] - at(this.frame, right)[0]) < 0) found.push({ left, leftFrame: this.frame, rightFrame: this.frame });
        continue;
      }
      if (here.length === 0) continue;
      const away = (f) => Math.abs(f - this.frame);
      const others = this.markedFrames().filter((f) => at(f, opposite(here[0])) && !at(f, here[0])).sort((a, b) => away(a) - away(b));
      const middle = others.length > 0 && ['head', 'withers', 'croup', 'chest'].find((l) => at(this.frame, l) && at(others[0], l));
      if (!middle) continue;
      const [leftFrame, rightFrame] = here[0] === left ? [this.frame, others[0]] : [others[0], this.frame];
      const aside = (frame, l) => at(frame, l)[0] - at(frame, middle)[0];
      if (sign * (aside(leftFrame, left) - aside(rightFrame, right)) < 0) found.push({ left, leftFrame, rightFrame });
    }
    return found;
  }

  swap({ left, leftFrame, rightFrame }) {
    const right = opposite(left);
    const [a, b] = [this.markAt(leftFrame, left), this.markAt(rightFrame, right)];
    if (leftFrame === rightFrame) this.change({ [`mark:${leftFrame}:${left}`]: b, [`mark:${leftFrame}:${right}`]: a });
    else {
      this.change({
        [`mark:${leftFrame}:${left}`]: undefined, [`mark:${leftFrame}:${right}`]: a,
        [`mark:${rightFrame}:${right}`]: undefined, [`mark:${rightFrame}:${left}`]: b,
      });
    }
  }

  // Frames.

  goTo(frame, keepActive = false) {
    this.keepActive = keepActive;
    this.film.goTo(frame);
    this.keepActive = false;
  }

  /** The frame named has changed. */
  movedOn() {
    const other = this.frame !== this.wasAt;
    this.wasAt = this.frame;
    if (other && !this.keepActive && this.step === 'marks') {
      // A landmark that was chosen stays the one asked for while one steps.
      if (!this.active || this.active !== this.chosen || this.markAt(this.frame, this.active) !== undefined) this.active = this.nextLandmark();
    }
    const { playing } = this.film;
    put(this.playButton, playing ? 'Stop' : 'Play');
    this.playButton.setAttribute('aria-pressed', String(Boolean(playing)));
    if (playing || this.film.running) this.refreshWhere();
    else this.refresh();
  }

  /** Where the horse is in a frame, px, or null: between the frames in which something was seen to move. */
  horseAt(frame) {
    const { overview, clip } = this;
    const seen = (overview?.boxes ?? []).map((b, i) => b && { ...b, frame: overview.frames[i] }).filter(Boolean);
    if (seen.length < 2) return null;
    const before = seen.filter((b) => b.frame <= frame).at(-1) ?? seen[0];
    const after = seen.find((b) => b.frame >= frame) ?? seen.at(-1);
    // Far from any frame that was looked at it is not known.
    if (Math.min(Math.abs(before.frame - frame), Math.abs(after.frame - frame)) > 1.5 * clip.rate) return null;
    const box = {
      x0: Math.min(before.x0, after.x0), y0: Math.min(before.y0, after.y0), x1: Math.max(before.x1, after.x1), y1: Math.max(before.y1, after.y1),
    };
    const room = 0.2 * Math.max(box.x1 - box.x0, box.y1 - box.y0);
    // A head before dark trees may not have been seen to move.
    return { x0: box.x0 - room, y0: box.y0 - 3 * room, x1: box.x1 + room, y1: box.y1 + room };
  }

  zoomToHorse() {
    if (this.step === 'ground') return;
    let box = this.horseAt(this.frame);
    if (!box) return;
    // What is marked and proposed stays in sight.
    for (const p of [...this.marksHere().values(), ...this.proposals.at(this.frame).values()]) {
      box = { x0: Math.min(box.x0, p.x - 20), y0: Math.min(box.y0, p.y - 20), x1: Math.max(box.x1, p.x + 20), y1: Math.max(box.y1, p.y + 20) };
    }
    this.stage.zoomTo(box);
  }

  /** The visible marks of the frame shown. */
  marksHere(frame = this.frame) {
    const out = new Map();
    if (!this.view) return out;
    for (const l of landmarksFor(this.view)) {
      const at = this.markAt(frame, l);
      if (Array.isArray(at)) out.set(l, { x: at[0], y: at[1] });
    }
    return out;
  }

  // Input.

  letGo() {
    this.byKeys = false;
    this.cross = null;
    this.stage?.paint();
  }

  /** See Stage. Returns true where moving drags a mark. */
  point(kind, x, y, type) {
    this.touched = true;
    const finger = type === 'touch';
    if (kind === 'leave' || kind === 'cancel') {
      this.letGo();
      this.pressed = null;
      this.grabbed = null;
      this.dragged = null;
      this.stage.paint();
      return false;
    }
    if (kind === 'hover' && this.byKeys) return false;
    this.byKeys = false;
    this.touching = finger;
    if (kind !== 'down' || !finger) this.cross = [x, y];
    if (kind === 'down') {
      this.grabbed = null;
      this.pressed = { x, y, frame: this.frame, ready: this.film.ready, near: this.film.ready ? this.near(x, y, finger ? 22 : 9) : null };
      this.stage.paint();
      const { near } = this.pressed;
      return Boolean(near) && (!finger || near.proposed || near.key === this.active || !this.active);
    }
    if (kind === 'move' && this.pressed?.near && !this.grabbed && !(finger && this.stage.aiming)) this.grabbed = this.pressed.near;
    if (this.grabbed) {
      const at = [x - this.pressed.x + this.grabbed.x, y - this.pressed.y + this.grabbed.y];
      this.cross = at;
      this.dragged = at;
      if (kind === 'up') {
        const { key } = this.grabbed;
        this.grabbed = null;
        this.dragged = null;
        if (this.step === 'ground') this.ground.move(key, ...at);
        else if (this.mayPlace()) this.change({ [`mark:${this.frame}:${key}`]: [Math.round(at[0] * 100) / 100, Math.round(at[1] * 100) / 100] });
        this.lastPlaced = key;
      }
    } else if (kind === 'up' && this.pressed) {
      // Pressed on another picture than the one under the finger now: nobody meant that.
      if (this.pressed.ready && this.pressed.frame === this.frame) this.place(x, y);
      else this.mayPlace();
      if (finger) this.cross = null;
    }
    if (kind === 'up') this.pressed = null;
    this.stage.paint();
    return false;
  }

  /** The mark within some screen px of a picture position. */
  near(x, y, reach) {
    const limit = (reach * (this.stage.ratio ?? 1)) / this.stage.scale;
    let best = null;
    const consider = (key, p) => {
      const d = Math.hypot(p[0] - x, p[1] - y);
      if (d < limit && (!best || d < best.d)) best = { key, x: p[0], y: p[1], d };
    };
    if (this.step === 'ground') {
      this.ground.points().forEach((p, i) => p && consider(i, p));
    } else {
      for (const [l, p] of this.marksHere()) consider(l, [p.x, p.y]);
      if (!best) {
        for (const [l, p] of this.proposals.at(this.frame)) consider(l, [p.x, p.y]);
        if (best) best.proposed = true;
      }
    }
    return best;
  }

  keyed(e) {
    const on = e.target;
    const typing = on.matches('input:not([type=range]):not([type=radio]), textarea, select') || on.closest('dialog');
    if (typing) return;
    if (e.ctrlKey || e.metaKey) {
      const act = { z: () => (e.shiftKey ? this.redo() : this.undo()), y: () => this.redo() }[e.key.toLowerCase()];
      if (act) {
        e.preventDefault();
        act();
      }
      return;
    }
    const onPicture = on === this.stage.canvas;
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (onPicture && this.byKeys && arrows[e.key]) {
      e.preventDefault();
      const size = e.shiftKey ? 10 : e.altKey ? 0.1 : 1;
      this.cross = [
        Math.max(-0.5, Math.min(this.clip.width - 0.5, this.cross[0] + arrows[e.key][0] * size)),
        Math.max(-0.5, Math.min(this.clip.height - 0.5, this.cross[1] + arrows[e.key][1] * size)),
      ];
      this.touching = false;
      this.stage.reveal(...this.cross);
      return;
    }
    if (onPicture && e.key === 'Enter') {
      e.preventDefault();
      if (this.byKeys) this.place(...this.cross);
      else {
        this.byKeys = true;
        this.touched = true;
        this.cross = this.startOfCross();
        this.stage.reveal(...this.cross);
        this.say('The arrow keys move the cross, Enter places the mark, Esc lets go.');
      }
      return;
    }
    if (e.altKey) return;
    // Sliders and groups of choices have uses of their own for these.
    if (arrows[e.key] && on.matches('input')) return;
    if (e.key === ' ' && on.matches('button, a, summary, input')) return;
    const frames = this.markedFrames();
    const by = (n) => () => (e.repeat ? this.film.run(n) : this.goTo(this.frame + n));
    const ten = e.shiftKey ? 10 : 1;
    const actions = {
      ArrowLeft: by(-ten), ArrowRight: by(ten), ',': by(-1), '.': by(1), '<': by(-10), '>': by(10),
      '[': () => this.goTo(frames.filter((f) => f < this.frame).at(-1) ?? this.frame),
      ']': () => this.goTo(frames.find((f) => f > this.frame) ?? this.frame),
      ' ': () => this.film.toggle(), s: () => this.slow(), c: () => this.confirm(), x: () => this.throwAway(),
      n: () => this.hide(), g: () => this.goOn(), u: () => (e.shiftKey ? this.redo() : this.undo()), Delete: () => this.remove(), Backspace: () => this.remove(),
      z: () => this.zoomToHorse(), Escape: () => this.letGo(),
      '+': () => this.stage.zoomBy(2, ...(this.cross ?? [])), '=': () => this.stage.zoomBy(2, ...(this.cross ?? [])),
      '-': () => this.stage.zoomBy(0.5, ...(this.cross ?? [])), 0: () => this.stage.fit(),
    };
    const stepping = /^(Arrow(Left|Right)|[,.<>])$/.test(e.key);
    const act = actions[e.key] ?? actions[e.key.toLowerCase()];
    if (act && (stepping || !e.repeat || '+-='.includes(e.key))) {
      e.preventDefault();
      if (stepping) this.letGo();
      act();
    }
  }

  /** Where the cross of the keyboard starts: at the mark, else where it was in the nearest marked frame, else in the middle. */
  startOfCross() {
    if (this.step === 'marks' && this.active) {
      const frames = this.markedFrames().sort((a, b) => Math.abs(a - this.frame) - Math.abs(b - this.frame));
      for (const f of frames) {
        const at = this.markAt(f, this.active);
        if (Array.isArray(at)) return [...at];
      }
    }
    return [this.stage.cx, this.stage.cy];
  }

  // Drawing.

  draw(pen) {
    const { c, to, ratio } = pen;
    const r = 9 * ratio;
    if (this.step === 'ground') {
      this.ground.draw(pen);
    } else if (this.ground.grid && this.showGrid) {
      this.ground.drawGrid(pen);
    }
    // Marks belong to the frame that is on the screen, not to one that is on its way.
    const frame = this.stage.painted;
    if (this.step !== 'ground' && frame !== null) this.proposals.draw(pen, frame);
    if (this.view && this.step !== 'ground') {
      for (const landmark of landmarksFor(this.view)) {
        let at = this.markAt(frame, landmark);
        if (this.grabbed?.key === landmark && this.dragged) at = this.dragged;
        if (!Array.isArray(at)) continue;
        const [x, y] = to(...at);
        const side = sideOf(landmark);
        drawSign(c, side, x, y, landmark === this.active ? r * 1.25 : r, { colour: colours[side] });
        const out = side === 'middle' ? 1 : Math.sign(this.view === 'toward' ? (side === 'left' ? 1 : -1) : (side === 'left' ? -1 : 1));
        drawWords(c, `${landmarkNames[landmark].replace(' hoof', '')}`, x + out * r * 1.8, y, 12 * ratio, '#fff', out > 0 ? 'left' : 'right');
      }
    }
    if (this.cross) this.drawCross(pen);
  }

  drawCross(pen) {
    const { c, to, ratio } = pen;
    const [x, y] = to(...this.cross);
    const gap = 5 * ratio;
    const arm = 16 * ratio;
    const wanted = this.step === 'marks' && this.active ? colours[sideOf(this.active)] : '#111';
    for (const [colour, w] of [['#fff', 4 * ratio], [wanted, 2 * ratio]]) {
      c.strokeStyle = colour;
      c.lineWidth = w;
      c.beginPath();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        c.moveTo(x + dx * gap, y + dy * gap);
        c.lineTo(x + dx * arm, y + dy * arm);
      }
      c.stroke();
    }
    this.drawLoupe(pen, x, y);
  }

  /**
   * Draws the surroundings of the cross enlarged, in a corner away from it. The
   * loupe stays in its corner until the cross comes so near that it would be
   * covered: it does not jump while a person aims.
   */
  drawLoupe({ c, ratio, width, height, scale }, x, y) {
    if (!this.stage.bitmap) return;
    const side = Math.min((this.touching ? 150 : 190) * ratio, width * 0.45, height * 0.6);
    const k = Math.max(6 * ratio, scale * 2); // Canvas px for a picture px.
    if (scale >= 8 * ratio) return;
    const gap = 8 * ratio;
    const near = 24 * ratio;
    const corner = (right, bottom) => ({ right, bottom, left: right ? width - side - gap : gap, top: bottom ? height - side - gap : gap });
    const covers = (p) => x > p.left - near && x < p.left + side + near && y > p.top - near && y < p.top + side + near;
    let place = corner(this.loupe?.right ?? x < width / 2, this.loupe?.bottom ?? false);
    // A finger hides what lies below it, so across first.
    if (covers(place)) place = corner(!place.right, place.bottom);
    if (covers(place)) place = corner(place.right, !place.bottom);
    this.loupe = place;
    const { left, top } = place;
    this.stage.canvas.dataset.loupe = `${place.right ? 'right' : 'left'} ${place.bottom ? 'bottom' : 'top'}`;
    c.save();
    c.beginPath();
    c.rect(left, top, side, side);
    c.clip();
    c.fillStyle = '#222';
    c.fillRect(left, top, side, side);
    const b = this.stage.bitmap;
    const toBitmap = b.width / this.clip.width;
    const span = side / k;
    const sx = (this.cross[0] + 0.5 - span / 2) * toBitmap;
    const sy = (this.cross[1] + 0.5 - span / 2) * toBitmap;
    c.imageSmoothingEnabled = false;
    c.drawImage(b, sx, sy, span * toBitmap, span * toBitmap, left, top, side, side);
    const mx = left + side / 2;
    const my = top + side / 2;
    for (const [colour, w] of [['#fff', 3 * ratio], ['#111', ratio]]) {
      c.strokeStyle = colour;
      c.lineWidth = w;
      c.beginPath();
      c.moveTo(left, my);
      c.lineTo(mx - 4 * ratio, my);
      c.moveTo(mx + 4 * ratio, my);
      c.lineTo(left + side, my);
      c.moveTo(mx, top);
      c.lineTo(mx, my - 4 * ratio);
      c.moveTo(mx, my + 4 * ratio);
      c.lineTo(mx, top + side);
      c.stroke();
    }
    c.restore();
    c.strokeStyle = '#fff';
    c.lineWidth = 2 * ratio;
    c.strokeRect(left, top, side, side);
  }

  // What stands beside the picture.

  say(text) { this.message.textContent = text; }

  refreshWhere() {
    const t = this.clip.times[this.frame];
    this.where.value = `frame ${this.frame} of ${this.clip.times.length - 1}, ${t.toFixed(3)} s`;
    const marked = this.markedFrames().map((frame) => ({ frame, side: this.sideMarked(frame) }));
    const proposed = this.proposals.frames().filter((f) => !marked.some((m) => m.frame === f)).map((frame) => ({ frame, proposed: true }));
    this.strip.refresh(this.frame, this.where.value, [...marked, ...proposed].sort((a, b) => a.frame - b.frame));
  }

  /** Which leading hoof is marked in a frame. */
  sideMarked(frame) {
    if (!this.view) return 'middle';
    const sides = ['left', 'right'].filter((s) => Array.isArray(this.markAt(frame, leading(this.view, s))));
    return sides.length === 1 ? sides[0] : 'middle';
  }

  refreshZoom() { if (this.zoomText) this.zoomText.value = `${number(this.stage.zoom, 1)}×`; }

  refresh() {
    if (!this.task || this.closed) return;
    this.refreshWhere();
    this.refreshZoom();
    this.refreshEdges();
    this.stage.paint();
    this.hold.run(() => this.refreshPanel());
  }

  /** Builds the panel anew; see Hold. */
  refreshPanel() {
    if (this.closed) return;
    const held = document.activeElement;
    const heldId = this.main.contains(held) ? held.id : '';
    this.refreshNight();
    put(this.tabs, [['horse', '1 Clip'], ['marks', '2 Marks'], ['ground', '3 Ground'], ['finish', '4 Finish']].map(([key, text]) => button(text, () => this.setStep(key), {
      id: `step-${key}`, 'aria-pressed': String(this.step === key), disabled: key !== 'horse' && !this.view,
    })));
    this.refreshOnward();
    if (this.step === 'look') put(this.task, h('h2', {}, 'Which way does the horse go?'), h('p', { class: 'wait' }, 'Looking whether the picture agrees with the file’s name…'));
    if (this.step === 'horse') this.taskHorse();
    if (this.step === 'marks') this.taskMarks();
    if (this.step === 'ground') put(this.task, this.ground.task());
    if (this.step === 'finish') this.taskFinish();
    if (heldId && document.activeElement?.id !== heldId) document.getElementById(heldId)?.focus({ preventScroll: true });
  }

  /** What to do now and the way on, always in sight. */
  refreshOnward() {
    const thing = this.nextThing();
    const { active } = this;
    const proposed = this.step === 'marks' ? this.proposals.at(this.frame).size : 0;
    const missing = this.step === 'ground' ? this.ground.missing() : null;
    const ask = proposed > 0 ? [h('strong', { class: 'ask proposed' }, '? Do the proposed marks sit right?')]
      : this.step === 'marks' ? [active && (this.nextStop() || !this.enoughHere())
        ? h('strong', { class: `ask ${sideOf(active)}` }, h('span', { 'aria-hidden': 'true' }, `${symbols[sideOf(active)]} `), `Click the ${landmarkNames[active]}`)
        : h('strong', { class: 'ask middle' }, this.nextStop() ? 'This frame is done' : 'Enough frames are marked')]
        : missing ? [h('strong', { class: 'ask middle' }, `Click the ${missing}`)] : [];
    put(this.onward, ask, h('div', { class: 'actions' },
      button(thing.text, () => thing.act(), { id: thing.id, class: thing.ready ? 'primary' : '', disabled: Boolean(thing.off) }),
      proposed > 0 ? button('Throw away', () => this.throwAway(), { id: 'throw-away' }) : null,
      this.step === 'marks' && active && proposed === 0 ? button('Not visible', () => this.hide(), { id: 'hide' }) : null,
      button('Undo', () => this.undo(), { id: 'undo', disabled: this.undoStack.length === 0 }),
      button('Redo', () => this.redo(), { id: 'redo', disabled: this.redoStack.length === 0 })));
  }

  /** How much of the night's work is done. */
  refreshNight() {
    if (!this.clips) return;
    const readable = this.clips.filter((c) => !c.needs.includes('copy'));
    const enough = this.pairMarked() && (this.parts.calibration || this.carried?.calibration);
    const open = readable.filter((c) => (c.path === this.clip.path ? !enough : c.needs.includes('marks') || c.needs.includes('calibration')));
    const done = readable.length - open.length;
    put(this.night, h('progress', { max: readable.length, value: done, id: 'night', 'aria-label': 'Clips marked' }), h('span', {}, `${done} of ${readable.length} clips marked`));
    const next = nextToMark(this.clips, this.clip.path);
    if (enough && next && !this.warmed) {
      this.warmed = true;
      this.warm(next);
    }
  }

  /** Has the next clip's first picture made while this one is finished. */
  async warm(next) {
    try {
      const clip = await get('/api/clip', { clip: next.path }, { signal: this.ends.signal });
      await send('POST', '/api/prepare', { clip: next.path, frame: openingFrame(clip, { ...partsOf(clip.marks), gait: clip.guess.gait }), size: 'step' });
      await get('/api/overview', { clip: next.path }, { signal: this.ends.signal });
      // Going by this clip's marks as they are saved. Once asked for they are worked out,
      // whether this page is still open or not.
      await this.saver.done();
      if (clip.proposes) await get('/api/proposals', { clip: next.path }, { signal: this.ends.signal });
    } catch {
      // It then takes a moment when it is opened.
    }
  }

  pairMarked() {
    const seen = new Set(Object.entries(this.parts).filter(([k, v]) => k.startsWith('mark:') && Array.isArray(v)).map(([k]) => k.split(':')[2]));
    return (seen.has('left-fore') && seen.has('right-fore')) || (seen.has('left-hind') && seen.has('right-hind'));
  }

  refreshEdges() {
    const sides = this.view === 'toward' ? ['right', 'left'] : ['left', 'right'];
    for (const [place, side] of [['start', sides[0]], ['end', sides[1]]]) {
      const edge = this.edges[place];
      edge.hidden = !this.view;
      edge.className = `edge ${place} ${side}`;
      put(edge, h('span', { 'aria-hidden': 'true' }, symbols[side]), ` horse’s ${side}`);
    }
  }

  taskHorse() {
    const set = (name) => (value) => this.change({ [name]: value });
    put(this.task,
      h('h2', {}, 'How was the clip filmed?'),
      choice('The horse', 'view', [
        ['toward', 'comes toward the camera', facing('toward')],
        ['away', 'goes away from the camera', facing('away')],
      ], this.view, set('view')),
      !this.view && this.clip.guess.view ? h('p', { class: 'hint' }, `The file’s name says “${this.clip.guess.view}”. Look at the picture and choose.`) : null,
      choice('Gait', 'gait', [['trot', 'trot'], ['walk', 'walk'], ['pace', 'pace']], this.parts.gait, set('gait')),
      lengthField('Height at the withers', {
        id: 'withers', value: this.parts.withers_m, least: 0.5, most: 2.2, hands: true,
        placeholder: this.clip.guess.withers_m ? inOwn(this.clip.guess.withers_m) : '1.6 m or 15.3 hands',
        onchange: (m) => this.change({ withers_m: m === '' ? undefined : m }),
        hint: 'Only where it is known and differs from the horse’s own page.',
      }),
      h('details', { open: Boolean(this.parts.filmed_fps) }, h('summary', {}, 'Slow motion'),
        numberField('Filmed at', {
          id: 'filmed-fps', value: this.parts.filmed_fps, least: 5, most: 2000, unit: 'frames a second', placeholder: '240',
          onchange: (v) => this.change({ filmed_fps: v === '' ? undefined : v }),
          hint: `Only where the clip plays slower than the horse went. The file says ${Math.round(this.clip.rate)} frames a second; most phones say by themselves what they filmed at.`,
        })));
  }

  taskMarks() {
    const { view, active } = this;
    const asked = this.asked();
    const least = this.least(asked);
    const done = [...this.marksHere().keys()];
    const side = active ? sideOf(active) : 'middle';
    const stop = this.nextStop();
    const limb = view === 'toward' ? 'fore' : 'hind';
    const proposed = this.proposals.at(this.frame);
    const warnings = this.swapped().map((pair) => h('div', { class: 'notice warn', role: 'alert' },
      h('p', {}, pair.leftFrame === pair.rightFrame
        ? `The ${landmarkNames[pair.left]} is marked where the horse’s right is. Were left and right confused? Limbs may really cross while one swings past the other.`
        : `The ${landmarkNames[pair.left]} in frame ${pair.leftFrame} lies on the other side of the ${landmarkNames[opposite(pair.left)]} in frame ${pair.rightFrame}. Were left and right confused? A horse that plaits really puts them so.`),
      button('Exchange left and right', () => this.swap(pair), { id: `swap-${pair.left}` })));
    put(this.task,
      proposed.size > 0
        ? h('p', { id: 'proposed' }, `The program proposes ${[...proposed.keys()].map((l) => landmarkNames[l]).join(', ')} here. C confirms, a drag moves one, X throws them away. Nothing proposed is measured before you confirm it.`)
        : active
          ? [active.endsWith('-fore') || active.endsWith('-hind')
            ? h('p', { id: 'stand' }, h('strong', {}, 'While it stands: '), 'step (◀ ▶ or the arrow keys) to a frame in which it stays on one spot of the ground, best in the middle of that time.') : null,
          h('p', {}, placeOf(view, active), side === 'middle' ? '' : ` The horse’s ${side} is on the ${(view === 'toward') === (side === 'left') ? 'right' : 'left'} of the picture.`)]
          : null,
      this.agreed ? h('p', { class: 'hint' }, `The horse ${view === 'toward' ? 'comes toward the camera' : 'goes away from the camera'}: the file’s name says so, and ${view === 'toward' ? 'it grows' : 'it shrinks'} in the picture. `, button('Change', () => this.setStep('horse'), { class: 'link', id: 'change-view' })) : null,
      h('p', { class: 'plan' }, 'Frames marked at several distances: ', ['left', 'right'].map((s, i) => [i > 0 ? ', ' : '', h('span', { class: `sign-text ${s}`, 'aria-hidden': 'true' }, symbols[s]),
        ` ${s} ${limb} standing ${Math.min(this.standing(s).length, stands)} of ${stands}`]), '.'),
      this.proposals.status ? h('p', { class: 'hint', id: 'proposals' }, this.proposals.status) : null,
      this.groundLine(),
      warnings,
      facing(view, { wanted: active, done, title: active ? `Where the ${landmarkNames[active]} sits` : 'Landmarks marked in this frame' }),
      h('div', { class: 'chips', role: 'group', 'aria-label': 'Landmarks' }, landmarksFor(view).map((l) => {
        const at = this.markAt(this.frame, l);
        const place = asked.indexOf(l);
        const state = at === 'hidden' ? 'not visible' : at !== undefined ? 'marked' : place < 0 ? (extrasFor(view).includes(l) ? 'if you want' : 'if it stands') : place < least ? 'to do' : 'if visible';
        return button([h('span', { class: `sign-text ${sideOf(l)}`, 'aria-hidden': 'true' }, symbols[sideOf(l)]), ` ${landmarkNames[l]} `, h('small', {}, state)], () => {
          this.active = l;
          this.chosen = l;
          this.cross = Array.isArray(at) ? [...at] : null;
          this.refresh();
        }, { id: `chip-${l}`, class: at === undefined ? 'chip' : 'chip done', 'aria-pressed': String(l === active) });
      })),
      stop && this.standing('left').length + this.standing('right').length > 0 ? h('div', { class: 'actions' }, button('Enough: on to the ground', () => this.setStep('ground'), { id: 'go-ground' })) : null,
      this.nudgePad());
  }

  /** Says from where ground marks are taken over, or why not. */
  groundLine() {
    if (this.parts.calibration || !this.carried) return null;
    const { from, moved_px: moved, reason } = this.carried;
    if (from) return h('p', { class: 'hint', id: 'carried' }, `Ground marks come from ${from}: the camera stands as it did there (the picture lies within ${number(moved, 1)} px).`);
    return this.clip.same.length > 0 ? h('p', { class: 'hint', id: 'carried' }, `Ground marks are to be clicked here: ${reason}.`) : null;
  }

  nudgePad() {
    const landmark = this.active && this.markAt(this.frame, this.active) !== undefined ? this.active : this.lastPlaced;
    if (!landmark || !Array.isArray(this.markAt(this.frame, landmark))) return null;
    const step = 0.25;
    return h('div', { class: 'nudge', role: 'group', 'aria-label': `Move the ${landmarkNames[landmark]} by a quarter of a pixel` },
      h('p', {}, `Fine adjustment: ${landmarkNames[landmark]}`),
      button('←', () => this.nudge(-step, 0), { 'aria-label': 'left', id: 'nudge-left' }), button('↑', () => this.nudge(0, -step), { 'aria-label': 'up', id: 'nudge-up' }),
      button('↓', () => this.nudge(0, step), { 'aria-label': 'down', id: 'nudge-down' }), button('→', () => this.nudge(step, 0), { 'aria-label': 'right', id: 'nudge-right' }));
  }

  taskFinish() {
    const frames = this.markedFrames();
    const seen = new Set(Object.entries(this.parts).filter(([k, v]) => k.startsWith('mark:') && Array.isArray(v)).map(([k]) => k.split(':')[2]));
    const level = this.ground.level();
    const remarks = [];
    const pair = (seen.has('left-fore') && seen.has('right-fore')) || (seen.has('left-hind') && seen.has('right-hind'));
    if (!pair) remarks.push(['bad', 'Both hooves of a pair are needed: without them sides cannot be compared.']);
    else if (this.nextStop()) {
      remarks.push(['', `Frames with a standing hoof marked: ${this.standing('left').length} on the left, ${this.standing('right').length} on the right. ${stands} of each at several distances, make tracking surer; it goes with fewer, and the second look tells where another one helps.`]);
    }
    if (level === 'none') remarks.push(['warn', 'Without ground marks only times and the rhythm of head and croup are measured, no lengths.']);
    if (!seen.has('withers') && this.view === 'toward' && !seen.has('croup')) remarks.push(['warn', 'Without withers or croup the report cannot tell a forelimb pattern from a hindlimb one.']);
    put(this.task,
      h('h2', {}, 'Finish'),
      h('dl', { class: 'facts' },
        h('dt', {}, 'Filmed'), h('dd', {}, `${this.view === 'toward' ? 'coming toward' : 'going away from'} the camera, ${this.parts.gait}`),
        h('dt', {}, 'Landmarks'), h('dd', {}, seen.size === 0 ? 'none' : landmarksFor(this.view).filter((l) => seen.has(l)).map((l) => landmarkNames[l]).join(', ')),
        h('dt', {}, 'Frames marked'), h('dd', {}, frames.length === 0 ? 'none' : frames.join(', ')),
        h('dt', {}, 'Calibration'), h('dd', {}, levelWords[level])),
      remarks.map(([kind, text]) => h('p', { class: `notice ${kind}` }, text)),
      field('Note', h('textarea', { id: 'note', rows: 2, value: this.parts.note ?? '', oninput: (e) => this.type('note', e.target.value.trim() || undefined) })),
      h('div', { class: 'actions' },
        this.clip.measures ? button('Measure now', () => this.measureNow(), { id: 'measure-now', disabled: !pair }) : null,
        h('a', { class: 'button', href: `#/check/${encodeURIComponent(this.clip.path)}` }, 'Film check'),
        h('a', { class: 'button', href: `#/visit/${encodeURIComponent(this.clip.group)}` }, 'Visit record'),
        h('a', { class: 'button', href: '#/' }, 'All clips')));
  }

  async nextClip() {
    await this.saver.done();
    await openNext(this.clip.path);
  }

  async measureNow() {
    await this.saver.done();
    await send('POST', '/api/measure', { clip: this.clip.path });
    location.hash = `#/look/${encodeURIComponent(this.clip.path)}`;
  }

  /** Asks which values to keep where two windows changed the same. */
  askConflict(names) {
    return new Promise((resolve) => {
      const words = names.map((n) => {
        const [, frame, landmark] = n.split(':');
        return landmark ? `${landmarkNames[landmark]} in frame ${frame}` : n;
      });
      const dialog = h('dialog', { 'aria-labelledby': 'conflict' },
        h('h2', { id: 'conflict' }, 'Another window changed the same'),
        h('p', {}, `${words.join(', ')}. Which one holds?`),
        h('div', { class: 'actions' },
          button('This window’s', () => dialog.close('mine'), { class: 'primary' }),
          button('The other window’s', () => dialog.close('theirs'))));
      dialog.addEventListener('close', () => {
        dialog.remove();
        resolve(dialog.returnValue !== 'theirs');
      });
      document.body.append(dialog);
      dialog.showModal();
    });
  }
}

/** The frame in which a clip is opened. */
function openingFrame(clip, parts, asked) {
  const marked = Object.keys(parts).filter((k) => k.startsWith('mark:')).map((k) => Number(k.split(':')[1]));
  const view = parts.view ?? clip.guess.view;
  const planned = view ? nextStop({ view, gait: parts.gait, times: clip.times, frame: Math.floor(clip.times.length / 2), left: [], right: [] }).frame : Math.floor(clip.times.length / 2);
  return Math.max(0, Math.min(clip.times.length - 1, asked ?? (marked.length > 0 ? Math.min(...marked) : planned)));
}

const cap = (text) => text[0].toUpperCase() + text.slice(1);

