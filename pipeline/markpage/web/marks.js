// What is marked in one clip: the marks and the answers of the marks file, in the parts
// that are saved and merged one by one, with undo.

import { landmarksFor, opposite } from './words.js';
import { leading, nextStop } from './plan.js';

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

/** The frame in which a clip is opened. */
export function openingFrame(clip, parts, asked) {
  const marked = Object.keys(parts).filter((k) => k.startsWith('mark:')).map((k) => Number(k.split(':')[1]));
  const view = parts.view ?? clip.guess.view;
  const planned = view ? nextStop({ view, gait: parts.gait, times: clip.times, frame: Math.floor(clip.times.length / 2), left: [], right: [] }).frame : Math.floor(clip.times.length / 2);
  return Math.max(0, Math.min(clip.times.length - 1, asked ?? (marked.length > 0 ? Math.min(...marked) : planned)));
}

const mostUndone = 500;

/** Marks holds the parts of one clip's marks file. */
export class Marks {
  constructor(clip) {
    this.times = clip.times;
    this.parts = partsOf(clip.marks);
    this.done = [];
    this.undone = [];
  }

  get view() { return this.parts.view; }

  /** A landmark in a frame: [x, y], 'hidden', or undefined where nothing was said. */
  at(frame, landmark) { return this.parts[`mark:${frame}:${landmark}`]; }

  frames() {
    const frames = new Set(Object.keys(this.parts).filter((k) => k.startsWith('mark:')).map((k) => Number(k.split(':')[1])));
    return [...frames].sort((a, b) => a - b);
  }

  /** The frames in which the leading hoof of a side is marked. */
  standing(side) {
    return this.frames().filter((f) => Array.isArray(this.at(f, leading(this.view, side))));
  }

  /** The frame to mark next, as seen from this one, or null; see plan.js. */
  stop(frame) {
    return nextStop({ view: this.view, gait: this.parts.gait, times: this.times, frame, left: this.standing('left'), right: this.standing('right') });
  }

  /** The visible marks of a frame. */
  in(frame) {
    const out = new Map();
    if (!this.view) return out;
    for (const l of landmarksFor(this.view)) {
      const at = this.at(frame, l);
      if (Array.isArray(at)) out.set(l, { x: at[0], y: at[1] });
    }
    return out;
  }

  /** Which leading hoof is marked in a frame. */
  sideIn(frame) {
    if (!this.view) return 'middle';
    const sides = ['left', 'right'].filter((s) => Array.isArray(this.at(frame, leading(this.view, s))));
    return sides.length === 1 ? sides[0] : 'middle';
  }

  /** The landmarks that are visible in any frame. */
  seen() {
    return new Set(Object.entries(this.parts).filter(([k, v]) => k.startsWith('mark:') && Array.isArray(v)).map(([k]) => k.split(':')[2]));
  }

  /** Whether both hooves of a pair are marked. */
  pair() {
    const seen = this.seen();
    return (seen.has('left-fore') && seen.has('right-fore')) || (seen.has('left-hind') && seen.has('right-hind'));
  }

  /**
   * Pairs whose left lies where the right should: in a frame, or, where that
   * frame has one of them only, beside the nearest frame that has the other, both
   * as seen from a landmark of the midline.
   */
  swapped(here) {
    if (!this.view) return [];
    const sign = this.view === 'toward' ? 1 : -1;
    const at = (frame, l) => (Array.isArray(this.at(frame, l)) ? this.at(frame, l) : null);
    const found = [];
    for (const left of landmarksFor(this.view).filter((l) => l.startsWith('left-'))) {
      const right = opposite(left);
      const seen = [left, right].filter((l) => at(here, l));
      if (seen.length === 2) {
        if (sign * (at(here, left)[0] - at(here, right)[0]) < 0) found.push({ left, leftFrame: here, rightFrame: here });
        continue;
      }
      if (seen.length === 0) continue;
      const away = (f) => Math.abs(f - here);
      const others = this.frames().filter((f) => at(f, opposite(seen[0])) && !at(f, seen[0])).sort((a, b) => away(a) - away(b));
      const middle = others.length > 0 && ['head', 'withers', 'croup', 'chest'].find((l) => at(here, l) && at(others[0], l));
      if (!middle) continue;
      const [leftFrame, rightFrame] = seen[0] === left ? [here, others[0]] : [others[0], here];
      const aside = (frame, l) => at(frame, l)[0] - at(frame, middle)[0];
      if (sign * (aside(leftFrame, left) - aside(rightFrame, right)) < 0) found.push({ left, leftFrame, rightFrame });
    }
    return found;
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

  /** Changes parts so that it can be undone; where is what the page shows then. */
  change(changes, where) {
    this.remember({ before: this.put(changes), after: changes, ...where });
  }

  /** Changes a text with every letter; the letters of one field are undone together. */
  type(name, value, where) {
    const last = this.done.at(-1);
    const before = this.put({ [name]: value });
    if (last?.typed === name) {
      last.after = { [name]: value };
      this.undone = [];
    } else this.remember({ before, after: { [name]: value }, typed: name, ...where });
  }

  /** Remembers something that can be undone. */
  remember(entry) {
    this.done.push(entry);
    if (this.done.length > mostUndone) this.done.shift();
    this.undone = [];
  }

  get canUndo() { return this.done.length > 0; }

  get canRedo() { return this.undone.length > 0; }

  /** Takes the last change back and returns what it was, undefined where there is none. */
  undo() {
    const entry = this.done.pop();
    if (!entry) return undefined;
    this.undone.push(entry);
    if (entry.before) this.put(entry.before);
    return entry;
  }

  /** Does it again. */
  redo() {
    const entry = this.undone.pop();
    if (!entry) return undefined;
    this.done.push(entry);
    if (entry.after) this.put(entry.after);
    return entry;
  }
}
