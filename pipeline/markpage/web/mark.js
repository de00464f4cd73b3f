// The marking page of one clip. It holds together what is marked (marks.js) and how it is
// saved (marksaver.js), the picture (stage.js, film.js) and pointing in it (pointing.js),
// and the steps (steps.js).

import { h, put, button, number } from './dom.js';
import { readIn } from './lengths.js';
import { get, send } from './api.js';
import { Film } from './film.js';
import { Strip } from './strip.js';
import { Hold } from './hold.js';
import { Proposals } from './proposals.js';
import { openNext } from './next.js';
import { Stage } from './stage.js';
import { Ground } from './ground.js';
import { Marks, openingFrame } from './marks.js';
import { marksSaver } from './marksaver.js';
import { Pointing } from './pointing.js';
import { keyHelp, pressed } from './keys.js';
import { nextThing, onward, showStep } from './steps.js';
import { showNight } from './night.js';
import { askedFor, extrasFor, landmarkNames, opposite, symbols } from './words.js';
import { leading, landmarksStanding, neededStanding } from './plan.js';

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
    this.marks = new Marks(clip);
    this.pointing = new Pointing(this);
    this.step = 'horse';
    this.active = null; // The landmark asked for.
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
    this.saver = marksSaver(clip, {
      marks: this.marks, show: this.show,
      adopt: (parts) => {
        this.marks.parts = parts;
        this.ground.forget();
        this.refresh();
      },
    });
    const left = this.saver.takeUp();
    if (left) {
      this.marks.parts = left;
      this.ground.forget();
      this.saver.save(left);
    } else {
      this.show(clip.version === '"none"' ? '' : 'saved', clip.version === '"none"' ? '' : 'Saved');
    }
    if (!this.marks.parts.gait) this.marks.parts.gait = clip.guess.gait;
    const fresh = !this.marks.parts.view;
    this.build();
    this.frame = openingFrame(clip, this.marks.parts, frame);
    if (this.marks.parts.view) this.setStep('marks');
    else this.setStep(clip.guess.view ? 'look' : 'horse');
    if (landmark && this.marks.parts.view) {
      this.active = landmark;
      this.chosen = landmark;
    }
    const listen = (name, f) => document.addEventListener(name, f, { signal: this.ends.signal });
    listen('keydown', (e) => pressed(this, e));
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
    } catch (error) {
      this.cannot('The clip could not be looked through, so there is no row of small pictures and no zoom to the horse', error);
    }
    if (this.closed) return;
    this.overview = overview;
    if (overview) {
      this.strip.load(overview, `/strip?clip=${encodeURIComponent(this.clip.path)}&stamp=${this.clip.stamp}`)
        .catch((error) => this.cannot('The row of small pictures could not be loaded', error));
    }
    if (fresh) this.decided(overview?.seen);
    // The picture does not move under a person's hand.
    if (this.step === 'marks' && !this.touched) this.zoomToHorse();
    this.stage.canvas.dataset.settled = 'yes';
  }

  /** Takes the way the horse goes from the file's name where the picture agrees; else the person is asked. */
  decided(seen) {
    clearTimeout(this.lookTimer);
    if (this.step === 'horse' && !this.marks.view && seen && seen === this.clip.guess.view) {
      // It took so long that the person is asked already: the answer is there, the page stays.
      this.marks.parts.view = seen;
      this.agreed = true;
      this.refresh();
    }
    if (this.step !== 'look') return;
    if (seen && seen === this.clip.guess.view) {
      this.marks.parts.view = seen;
      this.agreed = true;
      this.goTo(openingFrame(this.clip, this.marks.parts));
      this.setStep('marks');
    } else {
      this.setStep('horse');
    }
  }

  /** Looks what there is around this clip: ground marks to take over, the next clip, how much is done. */
  async lookAround() {
    if (!this.marks.parts.calibration) {
      get('/api/carry', { clip: this.clip.path }, { signal: this.ends.signal }).then((answer) => {
        this.carried = answer;
        if (Object.keys(this.marks.parts).some((k) => k.startsWith('mark:'))) this.takeOver();
        this.refresh();
      }, (error) => this.cannot('Whether ground marks of another clip hold here could not be found out', error));
    }
    try {
      const { clips } = await get('/api/clips', {}, { signal: this.ends.signal });
      this.clips = clips;
      this.refresh();
    } catch (error) {
      this.cannot('How many clips are marked could not be found out', error);
    }
  }

  /** Shows what the page has to do without, and why. */
  cannot(what, error) {
    if (this.closed || error.name === 'AbortError') return;
    this.troubles.append(h('p', {}, `${what}: ${error.message}.`));
    this.troubles.hidden = false;
  }

  /** Takes ground marks over from a clip in which the camera stood the same. */
  takeOver() {
    if (this.marks.parts.calibration || !this.carried?.calibration) return;
    this.marks.parts.calibration = this.carried.calibration;
    this.saver.save(this.marks.parts);
    this.ground.forget();
  }

  /** Proposals have come, or none. */
  proposed() {
    const first = this.proposals.frames()[0];
    // Who has begun with a frame is not taken away from it.
    if (first !== undefined && this.step === 'marks' && !this.touched && this.marks.frames().length === 0) this.goToProposed(first);
    this.refresh();
  }

  build() {
    const { clip } = this;
    this.stage = new Stage({
      width: clip.width, height: clip.height, draw: (pen) => this.pointing.draw(pen), point: (...a) => this.pointing.point(...a),
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
    this.troubles = h('div', { class: 'notice', id: 'troubles', role: 'status', hidden: true });
    this.tabs = h('nav', { class: 'tabs', 'aria-label': 'Steps of marking' });
    this.night = h('div', { class: 'night' });
    this.playButton = button('Play', () => this.film.toggle(), { id: 'play', 'aria-pressed': 'false' });
    this.slowButton = button('Slow', () => this.slow(), { id: 'slow', 'aria-pressed': 'false', title: 'Slow motion: a quarter of the speed' });
    const panel = h('aside', { class: 'side', 'aria-label': 'Steps' }, this.tabs, this.onward, this.message, this.troubles, this.task,
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
      this.want = this.marks.stop(this.frame)?.side ?? 'left';
      this.active = this.nextLandmark();
    }
    if (step === 'ground') {
      this.takeOver();
      this.stage.fit();
    }
    this.pointing.letGo();
    if (step === 'marks') {
      const first = this.proposals.frames()[0];
      if (first !== undefined && this.marks.frames().length === 0) this.goToProposed(first);
      else this.zoomToHorse();
    }
    this.refresh();
  }

  get frame() { return this.film.frame; }

  set frame(f) { this.film.frame = f; }

  /** The landmarks asked for in the frame shown: those that go with the hoof that stands. */
  asked() {
    const { view, parts } = this.marks;
    const [left, right] = ['left', 'right'].map((s) => Array.isArray(this.marks.at(this.frame, leading(view, s))));
    return [...(left && right ? askedFor(view) : landmarksStanding(view, parts.gait, left ? 'left' : right ? 'right' : this.want ?? 'left')), ...this.extras()];
  }

  /** The landmarks that are asked for because one of their kind is marked in the clip. */
  extras() {
    const { view, parts } = this.marks;
    const extras = extrasFor(view);
    return extras.some((l) => Object.keys(parts).some((k) => k.startsWith('mark:') && k.endsWith(`:${l}`) && Array.isArray(parts[k]))) ? extras : [];
  }

  nextLandmark() {
    if (!this.marks.view) return null;
    return this.asked().find((l) => this.marks.at(this.frame, l) === undefined) ?? null;
  }

  /** Whether this frame holds what is needed of it: the hoof that stands and the head, or the croup. */
  enoughHere() {
    const asked = this.asked();
    return asked.slice(0, this.least(asked)).every((l) => this.marks.at(this.frame, l) !== undefined);
  }

  /** How many of the landmarks asked for must be marked; both hooves, and the head or croup, where both stand. */
  least(asked) { return askedFor(this.marks.view).every((l) => asked.includes(l)) ? neededStanding + 1 : neededStanding; }

  goOn() {
    const thing = nextThing(this);
    if (!thing.off) thing.act();
  }

  goToStop(stop) {
    this.want = stop.side;
    this.chosen = null;
    this.goTo(stop.frame);
    this.active = this.nextLandmark();
    this.zoomToHorse();
    this.refresh();
    this.say(`Step until the ${landmarkNames[leading(this.marks.view, stop.side)]} stands.`);
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
    if (this.marks.swapped(this.frame).length === 0 && next !== null && this.marks.stop(this.frame)) this.goToProposed(next);
  }

  throwAway() {
    if (this.proposals.at(this.frame).size === 0) return;
    const frame = this.frame;
    this.proposals.discard(frame);
    this.marks.remember({ ...this.here(), proposals: frame });
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

  /** What the page shows, for going back there. */
  here() { return { frame: this.frame, active: this.active, step: this.step }; }

  /** Changes parts, so that it can be undone, and saves. */
  change(changes, { calibrate = true } = {}) {
    this.marks.change(changes, this.here());
    if (calibrate && Object.keys(changes).some((k) => k.startsWith('mark:'))) this.takeOver();
    this.saver.save(this.marks.parts);
    this.refresh();
  }

  /** Saves a text with every letter. */
  type(name, value) {
    this.marks.type(name, value, this.here());
    this.saver.save(this.marks.parts);
  }

  undo() {
    const last = this.marks.undo();
    if (last) this.travel(last, false);
    this.say(last ? 'Undone.' : 'Nothing to undo.');
  }

  redo() {
    const next = this.marks.redo();
    if (next) this.travel(next, true);
    this.say(next ? 'Done again.' : 'Nothing to do again.');
  }

  /** Shows where something was undone, or done again. */
  travel(entry, again) {
    if (entry.proposals !== undefined) this.proposals.discard(entry.proposals, again);
    else this.saver.save(this.marks.parts);
    this.step = entry.step;
    this.active = entry.active;
    this.ground.forget();
    this.refresh();
    if (entry.frame !== this.frame) this.goTo(entry.frame, true);
  }

  /** Places the landmark asked for, or another one, at a position of the picture. */
  place(x, y, other) {
    if (!this.mayPlace()) return;
    const { width, height } = this.clip;
    const px = Math.round(Math.max(-0.5, Math.min(width - 0.5, x)) * 100) / 100;
    const py = Math.round(Math.max(-0.5, Math.min(height - 0.5, y)) * 100) / 100;
    if (this.step === 'ground') {
      this.ground.place(px, py);
      return;
    }
    const landmark = other ?? this.active;
    if (this.step !== 'marks' || !landmark) {
      this.say(this.marks.view ? 'All landmarks of this frame are done. Choose one to move it.' : 'First say how the clip was filmed.');
      return;
    }
    const renewed = this.marks.at(this.frame, landmark) !== undefined;
    this.pointing.cross = [px, py];
    this.change({ [`mark:${this.frame}:${landmark}`]: [px, py] });
    this.lastPlaced = landmark;
    this.chosen = null;
    if (other || !renewed) this.advance();
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
    if (!landmark || this.marks.at(this.frame, landmark) === undefined) return;
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
    const landmark = this.active && this.marks.at(this.frame, this.active) !== undefined ? this.active : this.lastPlaced;
    const at = landmark && this.marks.at(this.frame, landmark);
    if (!Array.isArray(at)) return;
    const moved = [Math.round((at[0] + dx) * 100) / 100, Math.round((at[1] + dy) * 100) / 100];
    this.pointing.cross = moved;
    this.change({ [`mark:${this.frame}:${landmark}`]: moved });
  }

  swap({ left, leftFrame, rightFrame }) {
    const right = opposite(left);
    const [a, b] = [this.marks.at(leftFrame, left), this.marks.at(rightFrame, right)];
    if (leftFrame === rightFrame) this.change({ [`mark:${leftFrame}:${left}`]: b, [`mark:${leftFrame}:${right}`]: a });
    else {
      this.change({
        [`mark:${leftFrame}:${left}`]: undefined, [`mark:${leftFrame}:${right}`]: a,
        [`mark:${rightFrame}:${right}`]: undefined, [`mark:${rightFrame}:${left}`]: b,
      });
    }
  }

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
      if (!this.active || this.active !== this.chosen || this.marks.at(this.frame, this.active) !== undefined) this.active = this.nextLandmark();
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
    for (const p of [...this.marks.in(this.frame).values(), ...this.proposals.at(this.frame).values()]) {
      box = { x0: Math.min(box.x0, p.x - 20), y0: Math.min(box.y0, p.y - 20), x1: Math.max(box.x1, p.x + 20), y1: Math.max(box.y1, p.y + 20) };
    }
    this.stage.zoomTo(box);
  }

  say(text) { this.message.textContent = text; }

  refreshWhere() {
    const t = this.clip.times[this.frame];
    this.where.value = `frame ${this.frame} of ${this.clip.times.length - 1}, ${t.toFixed(3)} s`;
    const marked = this.marks.frames().map((frame) => ({ frame, side: this.marks.sideIn(frame) }));
    const proposed = this.proposals.frames().filter((f) => !marked.some((m) => m.frame === f)).map((frame) => ({ frame, proposed: true }));
    this.strip.refresh(this.frame, this.where.value, [...marked, ...proposed].sort((a, b) => a.frame - b.frame));
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
    showNight(this);
    showStep(this);
    if (heldId && document.activeElement?.id !== heldId) document.getElementById(heldId)?.focus({ preventScroll: true });
  }

  /** Shows the way on at once; it holds nothing that a person types. */
  refreshOnward() { if (!this.closed) onward(this); }

  refreshEdges() {
    const sides = this.marks.view === 'toward' ? ['right', 'left'] : ['left', 'right'];
    for (const [place, side] of [['start', sides[0]], ['end', sides[1]]]) {
      const edge = this.edges[place];
      edge.hidden = !this.marks.view;
      edge.className = `edge ${place} ${side}`;
      put(edge, h('span', { 'aria-hidden': 'true' }, symbols[side]), ` horse’s ${side}`);
    }
  }

  /** Whether what the page shows of the ground is what is saved; else it is shown, and why not is said. */
  async settled() {
    await this.ground.proof;
    const why = this.ground.unsaved();
    if (!why) return true;
    if (this.step !== 'ground') this.setStep('ground');
    this.say(why);
    return false;
  }

  async finish() { if (await this.settled()) this.setStep('finish'); }

  async nextClip() {
    if (!(await this.settled())) return;
    try {
      await this.saver.done();
      await openNext(this.clip.path);
    } catch (error) {
      this.say(`The next clip can't be opened: ${error.message}.`);
    }
  }

  async measureNow() {
    if (!(await this.settled())) return;
    try {
      await this.saver.done();
      await send('POST', '/api/measure', { clip: this.clip.path });
      location.hash = `#/look/${encodeURIComponent(this.clip.path)}`;
    } catch (error) {
      this.say(`The clip can't be measured now: ${error.message}.`);
    }
  }
}

const cap = (text) => text[0].toUpperCase() + text.slice(1);
