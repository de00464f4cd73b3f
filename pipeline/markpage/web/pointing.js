// Pointing in the picture of the marking page: with mouse, finger or keys. Places a mark,
// drags one, and draws the marks, the cross and the loupe.

import { drawSign } from './stage.js';
import { Captions } from './captions.js';
import { landmarksFor, landmarkNames, outward, sideOf, colours } from './words.js';

export const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/** Pointing is where a person points on a marking page. */
export class Pointing {
  constructor(page) {
    this.page = page;
    this.cross = null; // Picture position, null for none.
    this.byKeys = false; // The keys move the cross.
    this.grabbed = null; // The mark that is dragged, { key, x, y }, and where it is now:
    this.dragged = null;
  }

  letGo() {
    this.byKeys = false;
    this.cross = null;
    this.page.stage?.paint();
  }

  /** See Stage. Returns true where moving drags a mark. */
  point(kind, x, y, type) {
    this.page.touched = true;
    const finger = type === 'touch';
    if (kind === 'leave' || kind === 'cancel') {
      this.letGo();
      this.pressed = null;
      this.grabbed = null;
      this.dragged = null;
      this.page.stage.paint();
      return false;
    }
    if (kind === 'hover' && this.byKeys) return false;
    this.byKeys = false;
    this.touching = finger;
    if (kind !== 'down' || !finger) this.cross = [x, y];
    if (kind === 'down') {
      this.grabbed = null;
      this.pressed = { x, y, frame: this.page.frame, ready: this.page.film.ready, near: this.page.film.ready ? this.near(x, y, finger ? 22 : 9) : null };
      this.page.stage.paint();
      const { near } = this.pressed;
      return Boolean(near) && (!finger || near.proposed || near.key === this.page.active || !this.page.active);
    }
    if (kind === 'move' && this.pressed?.near && !this.grabbed && !(finger && this.page.stage.aiming)) this.grabbed = this.pressed.near;
    if (this.grabbed) {
      const at = [x - this.pressed.x + this.grabbed.x, y - this.pressed.y + this.grabbed.y];
      this.cross = at;
      this.dragged = at;
      if (kind === 'up') {
        const { key } = this.grabbed;
        this.grabbed = null;
        this.dragged = null;
        if (this.page.step === 'ground') this.page.ground.move(key, ...at);
        else if (this.page.mayPlace()) this.page.change({ [`mark:${this.page.frame}:${key}`]: [Math.round(at[0] * 100) / 100, Math.round(at[1] * 100) / 100] });
        this.page.lastPlaced = key;
      }
    } else if (kind === 'up' && this.pressed) {
      // Pressed on another picture than the one under the finger now: nobody meant that.
      // Who presses on a proposed mark, and hardly moves it, means that landmark.
      if (this.pressed.ready && this.pressed.frame === this.page.frame) this.page.place(x, y, this.pressed.near?.proposed ? this.pressed.near.key : undefined);
      else this.page.mayPlace();
      if (finger) this.cross = null;
    }
    if (kind === 'up') this.pressed = null;
    this.page.stage.paint();
    return false;
  }

  /** The mark within some screen px of a picture position. */
  near(x, y, reach) {
    const limit = (reach * (this.page.stage.ratio ?? 1)) / this.page.stage.scale;
    let best = null;
    const consider = (key, p) => {
      const d = Math.hypot(p[0] - x, p[1] - y);
      if (d < limit && (!best || d < best.d)) best = { key, x: p[0], y: p[1], d };
    };
    if (this.page.step === 'ground') {
      this.page.ground.points().forEach((p, i) => p && consider(i, p));
    } else {
      for (const [l, p] of this.page.marks.in(this.page.frame)) consider(l, [p.x, p.y]);
      if (!best) {
        for (const [l, p] of this.page.proposals.at(this.page.frame)) consider(l, [p.x, p.y]);
        if (best) best.proposed = true;
      }
    }
    return best;
  }

  /** Takes a key that belongs to the cross; returns whether it did. */
  key(e) {
    const { stage, clip } = this.page;
    if (e.target !== stage.canvas) return false;
    if (this.byKeys && arrows[e.key]) {
      const size = e.shiftKey ? 10 : e.altKey ? 0.1 : 1;
      this.cross = [
        Math.max(-0.5, Math.min(clip.width - 0.5, this.cross[0] + arrows[e.key][0] * size)),
        Math.max(-0.5, Math.min(clip.height - 0.5, this.cross[1] + arrows[e.key][1] * size)),
      ];
      this.touching = false;
      stage.reveal(...this.cross);
      return true;
    }
    if (e.key !== 'Enter') return false;
    if (this.byKeys) this.page.place(...this.cross);
    else {
      this.byKeys = true;
      this.page.touched = true;
      this.cross = this.startOfCross();
      stage.reveal(...this.cross);
      this.page.say('The arrow keys move the cross, Enter places the mark, Esc lets go.');
    }
    return true;
  }

  /** Where the cross of the keyboard starts: at the mark, else where it was in the nearest marked frame, else in the middle. */
  startOfCross() {
    if (this.page.step === 'marks' && this.page.active) {
      const frames = this.page.marks.frames().sort((a, b) => Math.abs(a - this.page.frame) - Math.abs(b - this.page.frame));
      for (const f of frames) {
        const at = this.page.marks.at(f, this.page.active);
        if (Array.isArray(at)) return [...at];
      }
    }
    return [this.page.stage.cx, this.page.stage.cy];
  }

  draw(pen) {
    const captions = new Captions(pen);
    if (this.page.step === 'ground') {
      this.page.ground.draw(pen, captions);
    } else if (this.page.stage.painted !== null) {
      // Marks belong to the frame that is on the screen, not to one that is on its way.
      this.page.proposals.draw(pen, this.page.stage.painted, captions);
      if (this.page.marks.view) this.drawMarks(pen, this.page.stage.painted, captions);
    }
    captions.write();
    if (this.cross) this.drawCross(pen);
  }

  drawMarks({ c, to, ratio }, frame, captions) {
    for (const landmark of landmarksFor(this.page.marks.view)) {
      let at = this.page.marks.at(frame, landmark);
      if (this.grabbed?.key === landmark && this.dragged) at = this.dragged;
      if (!Array.isArray(at)) continue;
      const [x, y] = to(...at);
      const side = sideOf(landmark);
      const r = (landmark === this.page.active ? 11 : 9) * ratio;
      drawSign(c, side, x, y, r, { colour: colours[side] });
      captions.keepClear(x, y, 1.2 * r);
      captions.add(landmarkNames[landmark].replace(' hoof', ''), x, y, { out: outward(side, this.page.marks.view), gap: 1.6 * r });
    }
  }

  drawCross(pen) {
    const { c, to, ratio } = pen;
    const [x, y] = to(...this.cross);
    const gap = 5 * ratio;
    const arm = 16 * ratio;
    const wanted = this.page.step === 'marks' && this.page.active ? colours[sideOf(this.page.active)] : '#111';
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
    if (!this.page.stage.bitmap) return;
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
    this.page.stage.canvas.dataset.loupe = `${place.right ? 'right' : 'left'} ${place.bottom ? 'bottom' : 'top'}`;
    c.save();
    c.beginPath();
    c.rect(left, top, side, side);
    c.clip();
    c.fillStyle = '#222';
    c.fillRect(left, top, side, side);
    const b = this.page.stage.bitmap;
    const toBitmap = b.width / this.page.clip.width;
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
}
