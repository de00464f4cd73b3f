// The marking page of one clip.

import { h, put, button, field, choice, number } from './dom.js';
import { lengthField, inMetres } from './lengths.js';
import { get, send } from './api.js';
import { Frames } from './frames.js';
import { Stage, drawSign, drawWords } from './stage.js';
import { Saver } from './saver.js';
import { facing } from './horse.js';
import { Ground } from './ground.js';
import { landmarksFor, landmarkNames, placeOf, sideOf, opposite, symbols, colours, levelWords } from './words.js';
import { stands, leading, landmarksStanding, neededStanding, nextStop } from './plan.js';

const keyHelp = [
  [', and .', 'one frame back, one forward (with Shift: ten)'],
  ['[ and ]', 'previous and next marked frame'],
  ['arrow keys', 'on the picture: move the cross by 1 px (Shift: 10 px, Alt: 0.1 px)'],
  ['Enter', 'on the picture: place the mark at the cross'],
  ['N', 'the landmark is not visible in this frame'],
  ['G', 'go on: next frame to mark, then the ground'],
  ['Delete', 'remove the mark of this landmark in this frame'],
  ['U', 'undo'],
  ['+, - and 0', 'zoom in, zoom out, whole picture'],
];

/** Turns a marks file into the parts that are saved and merged one by one. */
export function partsOf(marks) {
  if (!marks) return {};
  const parts = { view: marks.view, gait: marks.gait };
  for (const name of ['note', 'withers_m', 'calibration']) if (marks[name]) parts[name] = marks[name];
  for (const m of marks.marks ?? []) parts[`mark:${m.frame}:${m.landmark}`] = m.hidden ? 'hidden' : [m.x, m.y];
  return parts;
}

/** Turns parts back into a marks file; null while there is nothing to save. */
export function packMarks(parts, clip) {
  const marks = [];
  for (const [name, value] of Object.entries(parts)) {
    const at = name.match(/^mark:(\d+):(.+)$/);
    if (!at) continue;
    const m = { frame: Number(at[1]), landmark: at[2] };
    marks.push(value === 'hidden' ? { ...m, hidden: true } : { ...m, x: value[0], y: value[1] });
  }
  if (!parts.view || (marks.length === 0 && !parts.calibration && clip.version === '"none"')) return null;
  return {
    schema: 'jogstrip-marks/1', view: parts.view, gait: parts.gait, picture: { width: clip.width, height: clip.height },
    ...(parts.note ? { note: parts.note } : {}), ...(parts.withers_m ? { withers_m: parts.withers_m } : {}),
    ...(parts.calibration ? { calibration: parts.calibration } : {}), marks,
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
    this.show = show;
    this.parts = partsOf(clip.marks);
    this.undoStack = [];
    this.step = 'horse';
    this.active = null;
    this.cross = null;
    const onScreen = (bitmap) => this.stage?.bitmap === bitmap;
    this.steps = new Frames(clip, 'step', onScreen);
    this.plays = new Frames(clip, 'play', onScreen);
    this.fulls = Math.max(clip.width, clip.height) > 1920 ? new Frames(clip, 'full', onScreen) : null;
    this.ground = new Ground(this);
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
    if (!this.parts.view && clip.guess.view) this.guessed = clip.guess.view;
    const marked = this.markedFrames();
    this.frame = Math.max(0, Math.min(clip.times.length - 1, frame ?? marked[0] ?? Math.floor(clip.times.length / 2)));
    this.build();
    if (this.parts.view) this.setStep('marks');
    else this.setStep('horse');
    if (landmark && this.parts.view) {
      this.active = landmark;
      this.chosen = landmark;
    }
    this.keys = (e) => this.keyed(e);
    document.addEventListener('keydown', this.keys);
    this.refresh();
    this.goTo(this.frame);
  }

  close() {
    this.saver?.close();
    this.stage?.close();
    for (const f of [this.steps, this.plays, this.fulls]) f?.close();
    document.removeEventListener('keydown', this.keys);
    clearTimeout(this.sharpTimer);
  }

  // Building.

  build() {
    const { clip } = this;
    this.stage = new Stage({
      width: clip.width, height: clip.height, draw: (pen) => this.draw(pen), point: (...a) => this.point(...a),
      zoomed: () => this.refreshZoom(),
      label: 'Picture of the clip. Arrow keys move the cross, Enter places the mark, comma and full stop step through frames.',
    });
    this.edges = { start: h('p', { class: 'edge start' }), end: h('p', { class: 'edge end' }) };
    this.slider = h('input', {
      type: 'range', min: 0, max: clip.times.length - 1, step: 1, 'aria-label': 'Frame',
      oninput: () => this.scrub(Number(this.slider.value)),
    });
    this.where = h('output', { class: 'where' });
    this.zoomText = h('output', { class: 'zoom' });
    this.markedList = h('div', { class: 'marked' });
    this.task = h('section', { class: 'task', 'aria-label': 'What to do' });
    this.tabs = h('div', { class: 'tabs', role: 'group', 'aria-label': 'Steps' });
    this.message = h('p', { class: 'message', role: 'status', 'aria-live': 'polite' });
    put(this.main,
      h('h1', { class: 'quiet' }, `Mark ${clip.name}`),
      h('div', { class: 'workbench' },
        h('section', { class: 'sight', 'aria-label': 'Picture' },
          h('div', { class: 'frame' }, this.stage.canvas, this.edges.start, this.edges.end),
          h('div', { class: 'transport' },
            button('−10', () => this.goTo(this.frame - 10), { 'aria-label': '−10 frames' }),
            button('◀', () => this.goTo(this.frame - 1), { 'aria-label': 'One frame back', id: 'back' }),
            this.slider,
            button('▶', () => this.goTo(this.frame + 1), { 'aria-label': 'One frame forward', id: 'forward' }),
            button('+10', () => this.goTo(this.frame + 10), { 'aria-label': '+10 frames' }),
            this.where),
          h('div', { class: 'transport' },
            button('Zoom in', () => this.stage.zoomBy(2, ...(this.cross ?? []))),
            button('Zoom out', () => this.stage.zoomBy(0.5, ...(this.cross ?? []))),
            button('Whole picture', () => this.stage.fit()), this.zoomText),
          this.markedList),
        h('aside', { class: 'side', 'aria-label': 'Steps' }, this.tabs, this.message, this.task,
          h('details', { class: 'keys' }, h('summary', {}, 'Keys'), h('dl', {}, keyHelp.map(([k, t]) => [h('dt', {}, k), h('dd', {}, t)]))))));
  }

  setStep(step) {
    this.step = step;
    if (step === 'marks') {
      this.want = this.nextStop()?.side ?? 'left';
      this.active = this.nextLandmark();
    }
    this.cross = null;
    this.refresh();
  }

  // State.

  get view() { return this.parts.view; }

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
    if (left && right) return landmarksFor(this.view);
    return landmarksStanding(this.view, this.parts.gait, left ? 'left' : right ? 'right' : this.want ?? 'left');
  }

  nextLandmark() {
    if (!this.view) return null;
    return this.asked().find((l) => this.markAt(this.frame, l) === undefined) ?? null;
  }

  /** Goes to the frame to mark next, or to the ground where all are marked. */
  goOn() {
    if (this.step !== 'marks') return;
    const stop = this.nextStop();
    if (!stop) {
      this.setStep('ground');
      return;
    }
    this.want = stop.side;
    this.chosen = null;
    this.goTo(stop.frame);
    this.active = this.nextLandmark();
    this.refresh();
    this.say(`Step until the ${landmarkNames[leading(this.view, stop.side)]} stands.`);
  }

  /** Changes parts, so that it can be undone, and saves. */
  change(changes) {
    const before = {};
    for (const [k, v] of Object.entries(changes)) {
      before[k] = this.parts[k];
      if (v === undefined) delete this.parts[k];
      else this.parts[k] = v;
    }
    this.undoStack.push({ before, frame: this.frame, active: this.active, step: this.step });
    if (this.undoStack.length > 500) this.undoStack.shift();
    this.saver.save(this.parts);
    this.refresh();
  }

  undo() {
    const last = this.undoStack.pop();
    if (!last) {
      this.say('Nothing to undo.');
      return;
    }
    for (const [k, v] of Object.entries(last.before)) {
      if (v === undefined) delete this.parts[k];
      else this.parts[k] = v;
    }
    this.saver.save(this.parts);
    this.step = last.step;
    this.active = last.active;
    this.ground.forget();
    this.refresh();
    if (last.frame !== this.frame) this.goTo(last.frame, true);
    this.say('Undone.');
  }

  place(x, y) {
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
  }

  hide() {
    if (this.step !== 'marks' || !this.active) return;
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
    const f = Math.max(0, Math.min(this.clip.times.length - 1, frame));
    const other = f !== this.frame;
    this.frame = f;
    this.slider.value = String(f);
    if (other && !keepActive && this.step === 'marks') {
      // A landmark that was chosen stays the one asked for while one steps.
      if (!this.active || this.active !== this.chosen || this.markAt(f, this.active) !== undefined) this.active = this.nextLandmark();
    }
    this.refresh();
    const asked = performance.now();
    this.steps.show(f).then((bitmap) => {
      if (this.frame !== f || this.closed) return;
      this.stage.show(bitmap);
      this.stage.canvas.dataset.frame = String(f);
      this.stage.canvas.dataset.tookMs = String(Math.round(performance.now() - asked));
      this.sharpen(f);
    }).catch((error) => {
      if (this.frame === f && error.name !== 'AbortError') this.say(`Frame ${f} can't be shown: ${error.message}`);
    });
  }

  /** Shows the clip's own pixels of a large clip once a person stays on a frame. */
  sharpen(f) {
    if (!this.fulls) return;
    clearTimeout(this.sharpTimer);
    this.sharpTimer = setTimeout(() => this.fulls.get(f).then((bitmap) => {
      if (this.frame === f) this.stage.show(bitmap);
    }, () => {}), 300);
  }

  scrub(frame) {
    this.frame = frame;
    this.refreshWhere();
    this.plays.get(frame).then((bitmap) => {
      if (this.frame === frame && this.scrubbing) this.stage.show(bitmap);
    }, () => {});
    this.scrubbing = true;
    clearTimeout(this.scrubTimer);
    this.scrubTimer = setTimeout(() => {
      this.scrubbing = false;
      if (this.step === 'marks') this.active = this.nextLandmark();
      this.goTo(this.frame);
    }, 160);
  }

  // Input.

  point(kind, x, y, type) {
    if (kind === 'leave' || kind === 'cancel') {
      this.cross = null;
      this.grabbed = null;
      this.stage.paint();
      return;
    }
    if (kind === 'hover') {
      this.cross = [x, y];
      this.touching = type === 'touch';
      this.stage.paint();
      return;
    }
    this.cross = [x, y];
    this.touching = type === 'touch';
    if (kind === 'down') {
      this.pressed = { x, y, near: this.near(x, y, type === 'touch' ? 22 : 9) };
      this.grabbed = null;
    }
    if (kind === 'move' && this.pressed && !this.grabbed && this.pressed.near) {
      const far = Math.hypot(x - this.pressed.x, y - this.pressed.y) * this.stage.scale > 4 * (this.stage.ratio ?? 1);
      if (far && (type !== 'touch' || this.pressed.near.key === this.active || !this.active)) this.grabbed = this.pressed.near;
    }
    if (this.grabbed) {
      const at = [x - this.pressed.x + this.grabbed.x, y - this.pressed.y + this.grabbed.y];
      this.cross = at;
      this.dragged = at;
      if (kind === 'up') {
        if (this.step === 'ground') this.ground.move(this.grabbed.key, ...at);
        else this.change({ [`mark:${this.frame}:${this.grabbed.key}`]: [Math.round(at[0] * 100) / 100, Math.round(at[1] * 100) / 100] });
        this.lastPlaced = this.grabbed.key;
        this.grabbed = null;
        this.dragged = null;
      }
    } else if (kind === 'up') {
      this.place(x, y);
      if (type === 'touch') this.cross = null;
    }
    if (kind === 'up') this.pressed = null;
    this.stage.paint();
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
    } else if (this.view) {
      for (const l of landmarksFor(this.view)) {
        const at = this.markAt(this.frame, l);
        if (Array.isArray(at)) consider(l, at);
      }
    }
    return best;
  }

  keyed(e) {
    const on = e.target;
    const typing = on.matches('input:not([type=range]):not([type=radio]), textarea, select') || on.closest('dialog');
    if (typing || e.ctrlKey || e.metaKey) {
      if (!typing && e.key === 'z') {
        e.preventDefault();
        this.undo();
      }
      return;
    }
    const onPicture = on === this.stage.canvas;
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (onPicture && arrows[e.key]) {
      e.preventDefault();
      const size = e.shiftKey ? 10 : e.altKey ? 0.1 : 1;
      const from = this.cross ?? this.startOfCross();
      this.cross = [
        Math.max(-0.5, Math.min(this.clip.width - 0.5, from[0] + arrows[e.key][0] * size)),
        Math.max(-0.5, Math.min(this.clip.height - 0.5, from[1] + arrows[e.key][1] * size)),
      ];
      this.touching = false;
      this.stage.reveal(...this.cross);
      return;
    }
    if (onPicture && (e.key === 'Enter' || e.key === ' ')) {
      e.preventDefault();
      this.place(...(this.cross ?? this.startOfCross()));
      return;
    }
    const frames = this.markedFrames();
    const actions = {
      ',': () => this.goTo(this.frame - 1), '.': () => this.goTo(this.frame + 1),
      '<': () => this.goTo(this.frame - 10), '>': () => this.goTo(this.frame + 10),
      '[': () => this.goTo(frames.filter((f) => f < this.frame).at(-1) ?? this.frame),
      ']': () => this.goTo(frames.find((f) => f > this.frame) ?? this.frame),
      n: () => this.hide(), g: () => this.goOn(), u: () => this.undo(), Delete: () => this.remove(), Backspace: () => this.remove(),
      '+': () => this.stage.zoomBy(2, ...(this.cross ?? [])), '=': () => this.stage.zoomBy(2, ...(this.cross ?? [])),
      '-': () => this.stage.zoomBy(0.5, ...(this.cross ?? [])), 0: () => this.stage.fit(),
    };
    const act = actions[e.key] ?? actions[e.key.toLowerCase()];
    if (act) {
      e.preventDefault();
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
    if (this.view && this.step !== 'ground') {
      for (const landmark of landmarksFor(this.view)) {
        let at = this.markAt(this.frame, landmark);
        if (!Array.isArray(at)) continue;
        if (this.grabbed?.key === landmark && this.dragged) at = this.dragged;
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

  /** Draws the surroundings of the cross enlarged, in a corner away from it. */
  drawLoupe({ c, ratio, width, height, scale }, x, y) {
    if (!this.stage.bitmap) return;
    const side = Math.min((this.touching ? 150 : 190) * ratio, width * 0.45, height * 0.6);
    const k = Math.max(6 * ratio, scale * 2); // Canvas px for a picture px.
    if (scale >= 8 * ratio) return;
    const left = x > width / 2 ? 8 * ratio : width - side - 8 * ratio;
    const top = y > height * 0.45 ? 8 * ratio : height - side - 8 * ratio;
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
    this.slider.setAttribute('aria-valuetext', this.where.value);
  }

  refreshZoom() { if (this.zoomText) this.zoomText.value = `${number(this.stage.zoom, 1)}×`; }

  refresh() {
    if (!this.task) return;
    this.refreshWhere();
    this.refreshZoom();
    this.refreshEdges();
    const held = document.activeElement;
    const heldId = this.main.contains(held) ? held.id : '';
    put(this.tabs, [['horse', '1 Clip'], ['marks', '2 Marks'], ['ground', '3 Ground'], ['finish', '4 Finish']].map(([key, text]) => button(text, () => this.setStep(key), {
      id: `step-${key}`, 'aria-pressed': String(this.step === key), disabled: key !== 'horse' && !this.view,
    })));
    const frames = this.markedFrames();
    put(this.markedList, frames.length === 0 ? null : h('span', {}, 'Marked frames: '), frames.map((f) => button(String(f), () => this.goTo(f), { 'aria-label': `Go to marked frame ${f}`, 'aria-pressed': String(f === this.frame) })));
    if (this.step === 'horse') this.taskHorse();
    if (this.step === 'marks') this.taskMarks();
    if (this.step === 'ground') put(this.task, this.ground.task());
    if (this.step === 'finish') this.taskFinish();
    if (heldId && document.activeElement?.id !== heldId) document.getElementById(heldId)?.focus({ preventScroll: true });
    this.stage?.paint();
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
      !this.view && this.guessed ? h('p', { class: 'hint' }, `The file’s name says “${this.guessed}”. Look at the picture and choose.`) : null,
      choice('Gait', 'gait', [['trot', 'trot'], ['walk', 'walk'], ['pace', 'pace']], this.parts.gait, set('gait')),
      lengthField('Height at the withers', {
        id: 'withers', value: this.parts.withers_m, least: 0.5, most: 2.2, hands: true,
        placeholder: this.clip.guess.withers_m ? inMetres(this.clip.guess.withers_m) : '1.6 m or 15.3 hands',
        onchange: (m) => this.change({ withers_m: m === '' ? undefined : m }),
        hint: 'Only where it is known and differs from the horse’s own page.',
      }),
      h('div', { class: 'actions' }, button('Go on to the marks', () => this.setStep('marks'), { class: 'primary', id: 'go-marks', disabled: !this.view })));
  }

  taskMarks() {
    const { view, active } = this;
    const asked = this.asked();
    const done = landmarksFor(view).filter((l) => Array.isArray(this.markAt(this.frame, l)));
    const least = asked.length === landmarksFor(view).length ? neededStanding + 1 : neededStanding; // Both hooves, and the head or croup.
    const needed = asked.slice(0, least).every((l) => this.markAt(this.frame, l) !== undefined);
    const side = active ? sideOf(active) : 'middle';
    const stop = this.nextStop();
    const limb = view === 'toward' ? 'fore' : 'hind';
    const warnings = this.swapped().map((pair) => h('div', { class: 'notice warn', role: 'alert' },
      h('p', {}, pair.leftFrame === pair.rightFrame
        ? `The ${landmarkNames[pair.left]} is marked where the horse’s right is. Were left and right confused? Limbs may really cross while one swings past the other.`
        : `The ${landmarkNames[pair.left]} in frame ${pair.leftFrame} lies on the other side of the ${landmarkNames[opposite(pair.left)]} in frame ${pair.rightFrame}. Were left and right confused? A horse that plaits really puts them so.`),
      button('Exchange left and right', () => this.swap(pair), { id: `swap-${pair.left}` })));
    const on = stop
      ? button(`Next frame: ${stop.side} ${limb} stands`, () => this.goOn(), { class: needed ? 'primary' : '', id: 'next-frame' })
      : button('Go on to the ground', () => this.setStep('ground'), { class: 'primary', id: 'go-ground' });
    const undo = button('Undo', () => this.undo(), { id: 'undo', disabled: this.undoStack.length === 0 });
    put(this.task,
      active
        ? [h('h2', { class: `ask ${side}` }, h('span', { 'aria-hidden': 'true' }, `${symbols[side]} `), `Click the ${landmarkNames[active]}`),
          active.endsWith('-fore') || active.endsWith('-hind')
            ? h('p', { id: 'stand' }, h('strong', {}, 'While it stands: '), 'step (◀ ▶ or the keys , and .) to a frame in which it stays on one spot of the ground, best in the middle of that time.') : null,
          h('p', {}, placeOf(view, active), side === 'middle' ? '' : ` The horse’s ${side} is on the ${(view === 'toward') === (side === 'left') ? 'right' : 'left'} of the picture.`)]
        : [h('h2', {}, 'This frame is done'), stop ? null : h('p', {}, 'Enough frames are marked.')],
      h('div', { class: 'actions' }, needed || !stop || !active ? on : null, active ? button('Not visible', () => this.hide(), { id: 'hide' }) : null, undo),
      h('p', { class: 'plan' }, 'Frames marked at several distances: ', ['left', 'right'].map((s, i) => [i > 0 ? ', ' : '', h('span', { class: `sign-text ${s}`, 'aria-hidden': 'true' }, symbols[s]),
        ` ${s} ${limb} standing ${Math.min(this.standing(s).length, stands)} of ${stands}`]), '.'),
      warnings,
      facing(view, { wanted: active, done, title: active ? `Where the ${landmarkNames[active]} sits` : 'Landmarks marked in this frame' }),
      h('div', { class: 'chips', role: 'group', 'aria-label': 'Landmarks' }, landmarksFor(view).map((l) => {
        const at = this.markAt(this.frame, l);
        const place = asked.indexOf(l);
        const state = at === 'hidden' ? 'not visible' : at !== undefined ? 'marked' : place < 0 ? 'if it stands' : place < least ? 'to do' : 'if visible';
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
      field('Note', h('textarea', { id: 'note', rows: 2, value: this.parts.note ?? '', onchange: (e) => this.change({ note: e.target.value.trim() || undefined }) })),
      h('div', { class: 'actions' },
        button('Next clip', () => this.nextClip(), { class: 'primary', id: 'next-clip' }),
        this.clip.measures ? button('Measure now', () => this.measureNow(), { id: 'measure-now', disabled: !pair }) : null,
        h('a', { class: 'button', href: `#/check/${encodeURIComponent(this.clip.path)}` }, 'Film check'),
        h('a', { class: 'button', href: `#/visit/${encodeURIComponent(this.clip.group)}` }, 'Visit record'),
        h('a', { class: 'button', href: '#/' }, 'All clips')));
  }

  async nextClip() {
    await this.saver.flush();
    const { clips } = await get('/api/clips');
    const at = clips.findIndex((k) => k.path === this.clip.path);
    const order = [...clips.slice(at + 1), ...clips.slice(0, at)];
    const next = order.find((k) => k.needs.includes('marks')) ?? order.find((k) => k.needs.includes('calibration'));
    location.hash = next ? `#/mark/${encodeURIComponent(next.path)}` : '#/';
  }

  async measureNow() {
    await this.saver.flush();
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

const cap = (text) => text[0].toUpperCase() + text.slice(1);

