// The calibration of a clip: ground marks, camera height or horizon, and the
// lane grid drawn over the picture as proof.

import { h, renew, button, choice, number, svg } from './dom.js';
import { lengthField, numberField, inBoth, inOwn, example } from './lengths.js';
import { send } from './api.js';
import { drawSign } from './stage.js';
import { levelWords } from './words.js';

const corners = ['near left', 'near right', 'far right', 'far left'];
const edgeNames = ['left edge, near', 'left edge, far', 'right edge, near', 'right edge, far'];
const store = 'jogstrip:lane';

/** What was typed for the last clip serves the next one. */
function remembered() {
  try {
    return JSON.parse(localStorage.getItem(store)) ?? {};
  } catch {
    return {};
  }
}

export class Ground {
  constructor(page) {
    this.page = page;
    this.lane = { method: 'ground', width_m: '', length_m: '', camera_height_m: '', field_of_view_deg: '', focal_px: '', by: 'edges', ...remembered() };
    this.key = `jogstrip:draft:${page.clip.path}`;
    this.forget();
  }

  /** Starts anew from what is saved. */
  forget() {
    const c = this.page.marks.parts.calibration;
    this.changed = false; // Whether the points and measures shown are others than those saved.
    this.picked = [];
    this.frame = c?.frame ?? null; // The frame whose picture the points belong to.
    this.grid = null;
    if (c?.ground) {
      this.method = 'ground';
      this.picked = c.ground.points.map((p) => [p.x, p.y]);
      Object.assign(this.lane, { width_m: c.ground.width_m, length_m: c.ground.length_m });
    } else if (c?.height || c?.horizon) {
      this.method = c.height ? 'height' : 'horizon';
      const horizon = c.height?.horizon ?? c.horizon;
      if (c.height) Object.assign(this.lane, { camera_height_m: c.height.camera_height_m, field_of_view_deg: c.height.field_of_view_deg ?? '', focal_px: c.height.focal_px ?? '' });
      this.lane.by = horizon.edges ? 'edges' : 'row';
      this.picked = horizon.edges ? horizon.edges.flat().map((p) => [p.x, p.y]) : [[this.page.clip.width / 2, horizon.row_px]];
    } else {
      this.method = this.method ?? this.lane.method;
      // Points of a calibration that is not complete yet are kept in the browser.
      try {
        const draft = JSON.parse(localStorage.getItem(this.key));
        if (draft) {
          this.method = draft.method;
          this.picked = draft.picked;
          this.frame = draft.frame;
        }
      } catch {
        // No draft.
      }
    }
    if (c) this.prove(c);
  }

  level() {
    const c = this.page.marks.parts.calibration;
    return c?.ground ? 'metric' : c?.height ? 'height' : c?.horizon ? 'ratio' : 'none';
  }

  points() { return this.picked; }

  wanted() {
    if (this.method === 'none') return 0;
    return this.method === 'ground' || this.lane.by === 'edges' ? 4 : 1;
  }

  place(x, y) {
    if (this.method === 'none') return;
    if (this.picked.length === 0) this.frame = this.page.frame;
    if (this.picked.length >= this.wanted()) {
      if (this.wanted() === 1) this.picked = [[x, y]];
      else {
        this.page.say('All points are there. Drag one to move it.');
        return;
      }
    } else {
      this.picked.push([x, y]);
    }
    this.update();
  }

  move(index, x, y) {
    this.picked[index] = [Math.round(x * 100) / 100, Math.round(y * 100) / 100];
    this.update();
  }

  removeLast() {
    this.picked.pop();
    this.update();
  }

  setMethod(method) {
    this.method = method;
    this.lane.method = method;
    this.picked = [];
    this.remember();
    if (method === 'none') this.page.change({ calibration: undefined });
    this.grid = null;
    this.update();
  }

  remember() {
    try {
      localStorage.setItem(store, JSON.stringify(this.lane));
    } catch {
      // Typed again next time.
    }
  }

  /** Whether something is missing for a calibration. */
  incomplete() { return this.method !== 'none' && this.input() === null; }

  /** The name of the point to click next, or null. */
  missing() {
    if (this.wanted() - this.picked.length <= 0) return null;
    if (this.method === 'ground') return `${corners[this.picked.length]} ground mark`;
    return this.lane.by === 'edges' ? edgeNames[this.picked.length] : 'a point on the horizon';
  }

  /** The calibration as far as it is given, or null where something is missing. */
  input() {
    const { lane, picked, page } = this;
    if (this.method === 'none' || picked.length < this.wanted()) return null;
    const pts = picked.map(([x, y]) => ({ x, y }));
    if (this.method === 'ground') {
      if (!(lane.width_m >= 0.5 && lane.width_m <= 20 && lane.length_m >= 0.5 && lane.length_m <= 100)) return null;
      return { frame: this.frame ?? page.frame, ground: { points: pts, width_m: Number(lane.width_m), length_m: Number(lane.length_m) } };
    }
    const horizon = lane.by === 'edges' ? { edges: [[pts[0], pts[1]], [pts[2], pts[3]]] } : { row_px: pts[0].y };
    if (this.method === 'horizon') return { frame: this.frame ?? page.frame, horizon };
    if (!(lane.camera_height_m >= 0.2 && lane.camera_height_m <= 10)) return null;
    const lens = lane.focal_px >= 50 ? { focal_px: Number(lane.focal_px) } : lane.field_of_view_deg >= 5 && lane.field_of_view_deg <= 140 ? { field_of_view_deg: Number(lane.field_of_view_deg) } : null;
    return lens && { frame: this.frame ?? page.frame, height: { camera_height_m: Number(lane.camera_height_m), ...lens, horizon } };
  }

  /** Says why what the page shows is not what is saved; empty where it is. */
  unsaved() {
    if (this.page.step === 'ground' && this.page.task.querySelector('[aria-invalid]')) return 'A measure on this page was not taken over: mend it or empty it first.';
    const saved = this.page.marks.parts.calibration;
    if (!this.changed || !(saved || this.input())) return '';
    return `What the page shows of the ground is not saved: mend it, or ${saved ? 'go back to what is saved' : 'calibrate from nothing'}.`;
  }

  /** The lengths that are saved, "2.5 m × 8 m"; empty where there are none. */
  saved() {
    const c = this.page.marks.parts.calibration;
    if (c?.ground) return `${inOwn(c.ground.width_m)} × ${inOwn(c.ground.length_m)}`;
    return c?.height ? inOwn(c.height.camera_height_m) : '';
  }

  /** Shows at once, also while a person types, what became of the ground marks. */
  tell() {
    const box = document.getElementById('ground-verdict');
    if (this.page.step !== 'ground' || !box) return;
    renew(box, this.verdict());
    this.page.refreshOnward();
  }

  update() {
    const input = this.input();
    this.changed = true;
    try {
      if (this.picked.length === 0) localStorage.removeItem(this.key);
      else localStorage.setItem(this.key, JSON.stringify({ method: this.method, picked: this.picked, frame: this.frame }));
    } catch {
      // The draft is lost only with this window.
    }
    if (input) {
      // Until it is proved nothing is on disk.
      this.page.show('saving', 'Saving…');
      this.proof = this.prove(input, true);
    } else {
      this.proving = null; // What is still being proved is no longer what is shown.
      if (this.unsaved() || this.picked.length > 0) this.page.show('unfinished', 'Ground not saved');
      this.grid = null;
      this.tell();
      this.page.refresh();
    }
  }

  /** Has the program calibrate; a calibration that fits is saved. */
  async prove(input, save = false) {
    const { clip } = this.page;
    this.proving = input;
    let grid;
    try {
      grid = await send('POST', '/api/calibrate', {}, { width: clip.width, height: clip.height, withers_m: this.page.marks.parts.withers_m ?? clip.guess.withers_m ?? 0, calibration: input });
    } catch (error) {
      // The points are saved even while nobody can prove them.
      grid = { error: '', lines: [], labels: [], notes: [`The grid can't be drawn: ${error.message}`], level: 'none' };
      if (save) this.page.change({ calibration: input });
    }
    if (this.proving !== input) return;
    this.grid = grid;
    if (save && !grid.error) this.changed = false;
    if (!grid.error) localStorage.removeItem(this.key);
    if (save && !grid.error && JSON.stringify(this.page.marks.parts.calibration) !== JSON.stringify(input)) this.page.change({ calibration: input });
    if (save && grid.error) this.page.show('unfinished', 'Ground not saved');
    else if (save) this.page.saver.flush();
    this.tell();
    this.page.refresh();
  }

  carry(setUp) {
    this.page.change({ calibration: { ...structuredClone(setUp.calibration), frame: this.page.frame } });
    this.forget();
    this.page.say(`Taken over from ${setUp.path}. Look whether the grid lies on the ground; drag points that do not fit.`);
    this.page.refresh();
  }

  entry(field, name, label, options) {
    return field(label, {
      id: `lane-${name}`, value: this.lane[name], ...options,
      onchange: (value) => {
        this.lane[name] = value;
        this.remember();
        this.update();
      },
    });
  }

  task() {
    const { page, lane } = this;
    const missing = this.wanted() - this.picked.length;
    const parts = [h('h2', {}, missing > 0 ? `Click the ${this.missing()}` : 'Ground')];
    parts.push(choice('Calibrate from', 'method', [['ground', 'four ground marks'], ['height', 'camera height'], ['horizon', 'horizon only'], ['none', 'nothing']], this.method, (m) => this.setMethod(m)));
    if (page.clip.same.length > 0 && !page.marks.parts.calibration) {
      parts.push(h('div', { class: 'notice' }, h('p', {}, 'The camera stood as for another clip? Take its calibration over:'),
        page.clip.same.map((s) => button(`${s.path} (${s.level})`, () => this.carry(s)))));
    }
    if (this.method === 'ground') {
      parts.push(
        h('p', {}, 'Four marks on the ground form a rectangle: cones or chalk, the two near ones nearer to the camera. Left and right as seen in the picture. Click where each meets the ground.'),
        laneDrawing(this.picked.length),
        h('div', { class: 'row' },
          this.entry(lengthField, 'width_m', 'Width across the lane', { least: 0.5, most: 20, placeholder: example('2.5 m', '8 ft 2 in') }),
          this.entry(lengthField, 'length_m', 'Length along the lane', { least: 0.5, most: 100, placeholder: example('8 m', '26 ft 3 in') })));
    }
    if (this.method === 'height') {
      parts.push(h('div', { class: 'row' },
        this.entry(lengthField, 'camera_height_m', 'Camera height over the ground', { least: 0.2, most: 10, placeholder: example('1.2 m', '4 ft') }),
        this.entry(numberField, 'field_of_view_deg', 'Field of view across the picture', { least: 5, most: 140, unit: '°', hint: 'Phones crop video: measure it once against a wall rather than trust the data sheet.' }),
        this.entry(numberField, 'focal_px', 'or focal length', { least: 50, most: 50000, unit: 'px' })));
    }
    if (this.method === 'height' || this.method === 'horizon') {
      parts.push(choice('Horizon from', 'by', [['edges', 'two edges of the lane'], ['row', 'one click at its height']], lane.by, (by) => {
        lane.by = by;
        this.picked = [];
        this.remember();
        this.update();
      }));
      parts.push(h('p', {}, lane.by === 'edges' ? 'Click two points on each of two lines that run along the lane.' : 'Click where the ground, were it endless and level, would meet the sky.'));
    }
    if (this.picked.length > 0 && this.frame !== null && this.frame !== page.frame && this.method !== 'none') {
      parts.push(h('div', { class: 'notice' }, h('p', {}, `The points were clicked in frame ${this.frame}. With a camera held by hand they belong to that frame alone.`),
        button(`Go to frame ${this.frame}`, () => page.goTo(this.frame), { id: 'ground-frame' })));
    }
    if (this.method === 'none') parts.push(h('p', {}, cap(levelWords.none), '.'));
    parts.push(h('div', { id: 'ground-verdict' }, this.verdict()));
    parts.push(h('div', { class: 'actions' }, button('Remove last point', () => this.removeLast(), { id: 'remove-last', disabled: this.picked.length === 0 })));
    return parts;
  }

  /** What became of what is shown: what is missing, does not fit, or to look at. */
  verdict() {
    const parts = [];
    const full = this.picked.length >= this.wanted();
    const saved = this.page.marks.parts.calibration;
    if (full && this.method !== 'none' && !this.input()) parts.push(h('p', { class: 'notice warn', id: 'ground-lacks' }, 'Give the measures above to complete the calibration.'));
    const g = this.grid;
    if (g?.error) {
      parts.push(h('p', { class: 'notice bad', role: 'alert', id: 'ground-wrong' }, `This cannot be: ${g.error}.`));
    } else if (g && g.level !== 'none') {
      parts.push(h('div', { class: 'notice good', id: 'ground-fits' },
        h('p', {}, 'Do the lines lie on the ground, those along the lane parallel to it, and are the upright posts as high as the horse’s withers at their place?'),
        h('p', {}, g.camera_height_m ? `Camera ${inBoth(Number(number(g.camera_height_m)))} above the ground, focal length ${number(g.focal_px, 0)} px${g.residual_px ? `, the marks fit to ${number(g.residual_px, 1)} px` : ''}.` : 'The unit of the grid is the camera’s height.')));
    }
    for (const note of g?.notes ?? []) parts.push(h('p', { class: 'notice warn' }, note));
    if (this.changed && saved && (g?.error || !this.input())) {
      parts.push(h('div', { class: 'notice warn', id: 'ground-saved' }, h('p', {}, `Not saved. What is saved and would be measured with is the calibration before${this.saved() ? `, ${this.saved()}` : ''}.`),
        button('Back to what is saved', () => {
          this.forget();
          this.page.show('saved', 'Saved');
          this.page.refresh();
        }, { id: 'ground-back' })));
    } else if (!saved && this.picked.length > 0 && (g?.error || !this.input())) {
      parts.push(h('p', { class: 'hint' }, g?.error ? 'Kept in this browser, not saved.' : 'Kept in this browser until all is there.'));
    }
    return parts;
  }

  draw(pen, captions) {
    const { c, to, ratio } = pen;
    this.drawGrid(pen);
    const shown = this.picked.map((p, i) => (this.page.pointing.grabbed?.key === i && this.page.pointing.dragged ? this.page.pointing.dragged : p));
    if (this.method !== 'ground' && this.lane.by === 'row' && shown[0]) {
      const [, y] = to(0, shown[0][1]);
      c.strokeStyle = '#ffd23f';
      c.lineWidth = 2 * ratio;
      c.beginPath();
      c.moveTo(0, y);
      c.lineTo(pen.width, y);
      c.stroke();
    }
    shown.forEach((p, i) => {
      const [x, y] = to(...p);
      drawSign(c, 'middle', x, y, 8 * ratio, { colour: '#111' });
      captions.keepClear(x, y, 10 * ratio);
      captions.add(`${i + 1} ${this.method === 'ground' ? corners[i] : ''}`, x, y, { out: i === 0 || i === 3 ? -1 : 1, gap: 14 * ratio });
    });
    // Distances that would lie on a name are left out: others beside them tell.
    for (const l of this.grid?.labels ?? []) captions.add(l.text, ...to(l.at.x, l.at.y), { gap: 5 * ratio, colour: '#ffe58a', dispensable: true });
  }

  drawGrid({ c, to, ratio }) {
    const g = this.grid;
    if (!g || g.error) return;
    for (const [under, width] of [[true, 3.4], [false, 1.4]]) {
      for (const line of g.lines) {
        c.strokeStyle = under ? 'rgba(0,0,0,.55)' : line.kind === 'post' ? '#fff' : '#ffd23f';
        c.lineWidth = width * ratio;
        c.beginPath();
        line.points.forEach((p, i) => {
          const [x, y] = to(p.x, p.y);
          if (i === 0) c.moveTo(x, y);
          else c.lineTo(x, y);
        });
        c.stroke();
      }
    }
  }
}

/** A lane seen by the camera with its four corners numbered. */
function laneDrawing(done) {
  const at = [[30, 92], [150, 92], [116, 40], [64, 40]];
  return svg('svg', { viewBox: '0 0 180 108', class: 'lane', role: 'img', 'aria-label': 'The four ground marks in their order: 1 near left, 2 near right, 3 far right, 4 far left' },
    svg('path', { d: 'M8,104L74,20H106L172,104Z', class: 'strip' }),
    svg('path', { d: `M${at.map((p) => p.join(',')).join('L')}Z`, class: 'rectangle' }),
    at.map(([x, y], i) => [svg('circle', { cx: x, cy: y, r: 9, class: i === done ? 'corner wanted' : i < done ? 'corner done' : 'corner' }), svg('text', { x, y: y + 4 }, String(i + 1))]));
}

const cap = (text) => text[0].toUpperCase() + text.slice(1);
