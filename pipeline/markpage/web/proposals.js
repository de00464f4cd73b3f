// Marks that the program proposes. They live on the page alone: what is not
// confirmed is never saved, so it is never measured.

import { get } from './api.js';
import { landmarkNames, outward, sideOf, colours } from './words.js';

const store = (path) => `jogstrip:thrown:${path}`;

/** Proposals are the marks proposed for the clip of a marking page. */
export class Proposals {
  constructor(page) {
    this.page = page;
    this.byFrame = new Map(); // Frame to a map of landmark to { x, y }.
    this.thrown = new Set();
    this.status = '';
    this.asked = '';
    try {
      this.thrown = new Set(JSON.parse(localStorage.getItem(store(page.clip.path))) ?? []);
    } catch {
      // Nothing was thrown away.
    }
  }

  /** Asks the program; where it has none, says why. */
  async load() {
    const { page } = this;
    // Where all is marked that is asked for, nobody waits for more.
    if (!page.clip.proposes || this.busy || (page.marks.view && !page.marks.stop(page.frame))) return;
    this.busy = true;
    this.status = 'Looking for marks to propose…';
    try {
      const answer = await get('/api/proposals', { clip: page.clip.path }, { signal: page.ends.signal });
      this.byFrame.clear();
      for (const p of answer.proposals) {
        if (!this.byFrame.has(p.frame)) this.byFrame.set(p.frame, new Map());
        this.byFrame.get(p.frame).set(p.landmark, { x: p.x, y: p.y });
      }
      const n = this.frames().length;
      this.status = n > 0 ? `Marks are proposed in ${n} ${n === 1 ? 'frame' : 'frames'}${answer.from ? `, as marked in ${answer.from}` : ''}.` : answer.reason ? `${answer.reason[0].toUpperCase()}${answer.reason.slice(1)}.` : '';
    } catch (error) {
      if (error.name === 'AbortError') return;
      this.status = `No marks can be proposed: ${error.message}.`;
    } finally {
      this.busy = false;
    }
    page.proposed();
  }

  /** Asks again once the clip itself shows a left and a right stance and more are wanted. */
  more() {
    const { page } = this;
    const sides = ['left', 'right'].map((s) => page.marks.standing(s).length);
    if (sides.some((n) => n === 0) || sides.every((n) => n >= 3) || this.asked === 'own') return;
    // What is proposed by another clip is looked at first: it does not change under the hand.
    if (this.frames().length > 0) return;
    this.asked = 'own';
    // What was just placed is saved first: the program reads the file.
    page.saver.done().then(() => this.load());
  }

  /** The proposals of a frame that are neither confirmed nor thrown away. */
  at(frame) {
    const out = new Map();
    const { page } = this;
    if (!page.marks.view || this.thrown.has(frame)) return out;
    for (const [landmark, p] of this.byFrame.get(frame) ?? []) if (page.marks.at(frame, landmark) === undefined) out.set(landmark, p);
    return out;
  }

  frames() { return [...this.byFrame.keys()].filter((f) => this.at(f).size > 0).sort((a, b) => a - b); }

  /** The frame with proposals to look at next, or null. */
  next(frame) {
    const all = this.frames().filter((f) => f !== frame);
    return all.find((f) => f > frame) ?? all[0] ?? null;
  }

  /** Throws the proposals of a frame away, or takes them back. */
  discard(frame, away = true) {
    if (away) this.thrown.add(frame);
    else this.thrown.delete(frame);
    try {
      localStorage.setItem(store(this.page.clip.path), JSON.stringify([...this.thrown]));
    } catch {
      // They are proposed again next time.
    }
  }

  /** Draws them so that nobody takes them for marks: dashed, hollow, with a question mark. */
  draw({ c, to, ratio }, frame, captions) {
    const r = 13 * ratio;
    for (const [landmark, p] of this.at(frame)) {
      const [x, y] = to(p.x, p.y);
      const side = sideOf(landmark);
      c.save();
      for (const [colour, w, dash] of [['#fff', 5 * ratio, []], ['#7b1fa2', 2.5 * ratio, [5 * ratio, 4 * ratio]]]) {
        c.strokeStyle = colour;
        c.lineWidth = w;
        c.setLineDash(dash);
        c.strokeRect(x - r, y - r, 2 * r, 2 * r);
      }
      c.setLineDash([]);
      c.strokeStyle = colours[side];
      c.lineWidth = 1.5 * ratio;
      c.beginPath();
      c.moveTo(x - 4 * ratio, y);
      c.lineTo(x + 4 * ratio, y);
      c.moveTo(x, y - 4 * ratio);
      c.lineTo(x, y + 4 * ratio);
      c.stroke();
      c.restore();
      captions.keepClear(x, y, 1.2 * r);
      captions.add(`? ${landmarkNames[landmark].replace(' hoof', '')}`, x, y, { out: outward(side, this.page.marks.view), gap: 1.5 * r, colour: '#f3d9ff' });
    }
  }
}
