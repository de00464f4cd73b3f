// Words beside the signs that are drawn on a picture.

import { drawWords } from './stage.js';

const edgeWidth = 36; // What the words at the picture's left and right edge cover, screen px.
const farthest = 8; // How many lines up or down words may go from their sign.

/**
 * Captions places words so that none covers a sign or other words, none is cut off, and
 * none lies below the words at the picture's edges. keepClear tells of a sign, add of words;
 * write writes them all.
 */
export class Captions {
  constructor({ c, ratio, width, height }) {
    Object.assign(this, { c, ratio, width, height });
    this.taken = []; // Boxes of signs and words, canvas px.
    this.wanted = [];
  }

  /** r is how far the sign reaches from its middle, canvas px. */
  keepClear(x, y, r) { this.taken.push({ left: x - r, right: x + r, top: y - r, bottom: y + r }); }

  /**
   * Words for what lies at (x, y). out is the side on which they stand rather, 1 for right, -1
   * for left; gap is kept free between; dispensable words are left out where there is no room.
   */
  add(words, x, y, { out = 1, gap = 0, colour = '#fff', dispensable = false } = {}) { this.wanted.push({ words, x, y, out, gap, colour, dispensable }); }

  write() {
    const { c, ratio } = this;
    const size = 12 * ratio;
    const line = 15 * ratio;
    c.font = `600 ${size}px system-ui, sans-serif`;
    for (const w of this.wanted) {
      const wide = c.measureText(w.words).width + 4 * ratio;
      const box = this.place(w, wide, line);
      if (!box) continue;
      this.taken.push(box);
      if (Math.abs(box.top + line / 2 - w.y) > line) this.lead(w, box);
      drawWords(c, w.words, box.left + 2 * ratio, box.top + line / 2, size, w.colour);
    }
  }

  /** The free box nearest to the sign, first on the wanted side; where none is free, the nearest. */
  place(w, wide, line) {
    const edge = edgeWidth * this.ratio;
    let first = null;
    for (let n = 0; n <= 2 * farthest; n += 1) {
      const top = w.y - line / 2 + Math.ceil(n / 2) * (n % 2 ? 1 : -1) * line;
      for (const out of [w.out, -w.out]) {
        const left = Math.max(edge, Math.min(this.width - edge - wide, out > 0 ? w.x + w.gap : w.x - w.gap - wide));
        const box = { left, right: left + wide, top, bottom: top + line };
        first ??= box;
        // In the way of nothing, and in sight.
        if (top >= 0 && box.bottom <= this.height && !this.taken.some((t) => t.left < box.right && t.right > box.left && t.top < box.bottom && t.bottom > top)) return box;
        if (w.dispensable) return null;
      }
    }
    return first;
  }

  /** Leads from words that stand away from their sign to it. */
  lead(w, box) {
    const { c, ratio } = this;
    const x = Math.max(box.left, Math.min(box.right, w.x));
    const y = box.top > w.y ? box.top : box.bottom;
    for (const [colour, wide] of [['#111', 3 * ratio], [w.colour, 1.2 * ratio]]) {
      c.strokeStyle = colour;
      c.lineWidth = wide;
      c.beginPath();
      c.moveTo(w.x, w.y);
      c.lineTo(x, y);
      c.stroke();
    }
  }
}
