// The large picture: shows a frame, zooms and pans, and tells where in the
// clip's own picture a person points. Coordinates are those of the marks file:
// px of the upright picture, the centre of the top-left pixel is (0, 0).

import { h } from './dom.js';

const maxZoom = 24; // Screen px for a picture px.
const slack = { mouse: 4, pen: 6, touch: 10 }; // How far a pointer may stray in a click, screen px.
const dragSlack = { mouse: 1.5 }; // The same where it then drags a mark: one is moved by little, too.
const aimAfter = 350; // ms that a finger rests before it aims.

/**
 * Stage draws on a canvas. options:
 *   width, height   the clip's picture, px
 *   draw(pen)       draws over the picture; pen.to(x, y) gives canvas px
 *   point(kind, x, y, pointerType)  "hover", "down", "aim", "move", "up", "leave" or
 *                   "cancel". What "down" returns tells whether moving drags
 *                   something; else it moves the picture. "aim" is a finger that
 *                   rests: it then moves the cross and not the picture.
 *   label           what the picture is, for screen readers
 */
export class Stage {
  constructor(options) {
    Object.assign(this, options);
    this.canvas = h('canvas', { tabindex: '0', role: 'application', 'aria-label': this.label, class: 'picture' });
    Object.assign(this.canvas.dataset, { clipWidth: this.width, clipHeight: this.height });
    this.canvas.style.aspectRatio = `${this.width} / ${this.height}`;
    this.context = this.canvas.getContext('2d');
    this.zoom = 1; // Relative to showing the whole picture.
    this.cx = this.width / 2 - 0.5;
    this.cy = this.height / 2 - 0.5;
    this.pointers = new Map();
    this.bitmap = null;
    this.observer = new ResizeObserver(() => this.resize());
    this.observer.observe(this.canvas);
    for (const [name, f] of Object.entries({ pointerdown: 'down', pointermove: 'moved', pointerup: 'up', pointercancel: 'cancelled', pointerleave: 'left', wheel: 'wheeled' })) {
      this.canvas.addEventListener(name, (e) => this[f](e), { passive: false });
    }
    this.canvas.addEventListener('contextmenu', (e) => e.preventDefault());
  }

  resize() {
    const ratio = window.devicePixelRatio || 1;
    const box = this.canvas.getBoundingClientRect();
    this.canvas.width = Math.max(1, Math.round(box.width * ratio));
    this.canvas.height = Math.max(1, Math.round(box.height * ratio));
    this.ratio = ratio;
    this.paint();
  }

  /** Canvas px for a picture px. */
  get scale() {
    return this.zoom * Math.min(this.canvas.width / this.width, this.canvas.height / this.height);
  }

  /** Canvas position of a picture position. */
  to(x, y) {
    const s = this.scale;
    return [this.canvas.width / 2 + (x - this.cx) * s, this.canvas.height / 2 + (y - this.cy) * s];
  }

  /** Picture position of a mouse or touch position. */
  from(event) {
    const box = this.canvas.getBoundingClientRect();
    const s = this.scale;
    const px = (event.clientX - box.left) * (this.canvas.width / box.width);
    const py = (event.clientY - box.top) * (this.canvas.height / box.height);
    return [this.cx + (px - this.canvas.width / 2) / s, this.cy + (py - this.canvas.height / 2) / s];
  }

  /** Shows a picture; frame and sharp say of what it is. They hold once it is painted. */
  show(bitmap, frame = null, sharp = true) {
    if (this.closed) return;
    this.bitmap = bitmap;
    this.next = { frame, sharp };
    this.paint();
  }

  paint() {
    if (this.queued || this.closed) return;
    this.queued = requestAnimationFrame(() => {
      this.queued = 0;
      this.paintNow();
    });
  }

  paintNow() {
    const c = this.context;
    c.setTransform(1, 0, 0, 1, 0, 0);
    c.fillStyle = '#222';
    c.fillRect(0, 0, this.canvas.width, this.canvas.height);
    if (this.bitmap) {
      const [x0, y0] = this.to(-0.5, -0.5);
      const [x1, y1] = this.to(this.width - 0.5, this.height - 0.5);
      c.imageSmoothingEnabled = this.scale < 3;
      c.imageSmoothingQuality = 'high';
      c.drawImage(this.bitmap, x0, y0, x1 - x0, y1 - y0);
    }
    const { next } = this;
    this.next = null;
    if (next) {
      this.painted = next.frame;
      this.sharp = next.sharp;
    }
    // Where the picture lies, for whoever looks from outside.
    Object.assign(this.canvas.dataset, { zoom: String(Number(this.zoom.toFixed(3))), cx: this.cx.toFixed(3), cy: this.cy.toFixed(3), scale: (this.scale / (this.ratio ?? 1)).toFixed(5) });
    this.draw?.({ c, to: (x, y) => this.to(x, y), ratio: this.ratio ?? 1, scale: this.scale, width: this.canvas.width, height: this.canvas.height });
    if (next) this.onpainted?.();
  }

  /** Zooms by a factor and keeps the picture position (x, y) where it is. */
  zoomBy(factor, x = this.cx, y = this.cy) {
    const fit = Math.min(this.canvas.width / this.width, this.canvas.height / this.height);
    const zoom = Math.max(1, Math.min(Math.max(1, maxZoom / fit), this.zoom * factor));
    const k = this.zoom / zoom;
    this.cx = x + (this.cx - x) * k;
    this.cy = y + (this.cy - y) * k;
    this.zoom = zoom;
    this.keepInside();
    this.paint();
    this.zoomed?.(zoom);
  }

  fit() {
    this.zoom = 1;
    this.keepInside();
    this.paint();
    this.zoomed?.(1);
  }

  /** Shows a part of the picture as large as it fits. */
  zoomTo({ x0, y0, x1, y1 }) {
    const fit = Math.min(this.canvas.width / this.width, this.canvas.height / this.height);
    const zoom = Math.min(this.canvas.width / (x1 - x0), this.canvas.height / (y1 - y0)) / fit;
    this.zoom = Math.max(1, Math.min(Math.max(1, maxZoom / fit), zoom));
    this.cx = (x0 + x1) / 2;
    this.cy = (y0 + y1) / 2;
    this.keepInside();
    this.paint();
    this.zoomed?.(this.zoom);
  }

  keepInside() {
    const s = this.scale;
    const halfX = Math.min(this.width / 2, this.canvas.width / 2 / s);
    const halfY = Math.min(this.height / 2, this.canvas.height / 2 / s);
    this.cx = Math.max(halfX - 0.5, Math.min(this.width - halfX - 0.5, this.cx));
    this.cy = Math.max(halfY - 0.5, Math.min(this.height - halfY - 0.5, this.cy));
  }

  /** Moves the view so that (x, y) is in sight. */
  reveal(x, y) {
    const s = this.scale;
    const halfX = (this.canvas.width / 2 / s) * 0.85;
    const halfY = (this.canvas.height / 2 / s) * 0.85;
    this.cx = Math.max(x - halfX, Math.min(x + halfX, this.cx));
    this.cy = Math.max(y - halfY, Math.min(y + halfY, this.cy));
    this.keepInside();
    this.paint();
  }

  down(event) {
    this.canvas.focus({ preventScroll: true });
    event.preventDefault();
    try {
      this.canvas.setPointerCapture(event.pointerId);
    } catch {
      // A pointer that is gone already cannot be captured.
    }
    this.pointers.set(event.pointerId, event);
    clearTimeout(this.aimTimer);
    if (this.pointers.size === 2 || event.button === 1 || event.button === 2) {
      if (this.pointing) this.point('cancel', 0, 0, event.pointerType);
      this.pointing = false;
      this.panning = true;
      return;
    }
    if (this.pointers.size > 2) return;
    this.pointing = true;
    this.began = event;
    this.strayed = false;
    this.aiming = false;
    this.drags = this.point('down', ...this.from(event), event.pointerType) === true;
    clearTimeout(this.aimTimer);
    if (event.pointerType === 'touch') {
      this.aimTimer = setTimeout(() => {
        if (!this.pointing || this.strayed) return;
        this.aiming = true;
        this.point('aim', ...this.from(event), event.pointerType);
      }, aimAfter);
    }
  }

  moved(event) {
    if (!this.pointers.has(event.pointerId)) {
      this.point('hover', ...this.from(event), event.pointerType);
      return;
    }
    if (this.panning) {
      this.pinch(event);
      return;
    }
    // A browser that is busy may tell of a swipe's beginning after the time in which
    // a finger that rests would aim: what counts is when the finger moved.
    const early = this.aiming && event.timeStamp - this.began.timeStamp < aimAfter;
    if (this.pointing && !this.strayed && (!this.aiming || early)) {
      const kind = event.pointerType;
      if (Math.hypot(event.clientX - this.began.clientX, event.clientY - this.began.clientY) <= ((this.drags && dragSlack[kind]) || (slack[kind] ?? 6))) return;
      this.strayed = true;
      this.aiming = false;
      if (!this.drags) {
        // A drag or a swipe moves the picture and never places anything.
        this.point('cancel', 0, 0, event.pointerType);
        this.pointing = false;
        this.panning = true;
        this.pinch(event);
        return;
      }
    }
    this.pointers.set(event.pointerId, event);
    if (this.pointing) this.point('move', ...this.from(event), event.pointerType);
  }

  /** Pans and zooms with the pointers that are down. */
  pinch(event) {
    const measure = () => {
      const ps = [...this.pointers.values()];
      const mid = { clientX: ps.reduce((a, p) => a + p.clientX, 0) / ps.length, clientY: ps.reduce((a, p) => a + p.clientY, 0) / ps.length };
      const spread = ps.length > 1 ? Math.hypot(ps[0].clientX - ps[1].clientX, ps[0].clientY - ps[1].clientY) : 0;
      return { at: this.from(mid), spread };
    };
    const before = measure();
    this.pointers.set(event.pointerId, event);
    const after = measure();
    if (before.spread > 0 && after.spread > 0) this.zoomBy(after.spread / before.spread, ...before.at);
    const now = measure();
    this.cx += before.at[0] - now.at[0];
    this.cy += before.at[1] - now.at[1];
    this.keepInside();
    this.paint();
  }

  up(event) {
    clearTimeout(this.aimTimer);
    const had = this.pointers.delete(event.pointerId);
    if (had && this.pointing && !this.panning) this.point('up', ...this.from(event), event.pointerType);
    if (this.pointers.size === 0) {
      this.pointing = false;
      this.panning = false;
    }
  }

  cancelled(event) {
    clearTimeout(this.aimTimer);
    this.pointers.delete(event.pointerId);
    if (this.pointing) this.point('cancel', 0, 0, event.pointerType);
    this.pointing = false;
    if (this.pointers.size === 0) this.panning = false;
  }

  left(event) {
    if (event.pointerType === 'mouse' && this.pointers.size === 0) this.point('leave', 0, 0, 'mouse');
  }

  wheeled(event) {
    event.preventDefault();
    this.zoomBy(Math.exp(-event.deltaY / 300), ...this.from(event));
  }

  close() {
    this.closed = true;
    clearTimeout(this.aimTimer);
    this.bitmap = null;
    this.observer.disconnect();
    cancelAnimationFrame(this.queued);
  }
}

/** Draws the sign of a side around a canvas position, with a white rim. */
export function drawSign(c, side, x, y, r, { colour, hollow = false } = {}) {
  c.beginPath();
  if (side === 'left') {
    c.arc(x, y, r, 0, 2 * Math.PI);
  } else if (side === 'right') {
    c.moveTo(x, y - 1.3 * r);
    c.lineTo(x + 1.2 * r, y + 0.9 * r);
    c.lineTo(x - 1.2 * r, y + 0.9 * r);
    c.closePath();
  } else {
    c.rect(x - 0.85 * r, y - 0.85 * r, 1.7 * r, 1.7 * r);
  }
  c.lineWidth = Math.max(4, r * 0.62);
  c.strokeStyle = '#fff';
  c.stroke();
  c.lineWidth = Math.max(2, r * 0.3);
  c.strokeStyle = colour;
  c.stroke();
  if (!hollow) {
    c.beginPath();
    c.arc(x, y, Math.max(1.2, r * 0.16), 0, 2 * Math.PI);
    c.fillStyle = '#fff';
    c.fill();
    c.lineWidth = 1;
    c.strokeStyle = '#000';
    c.stroke();
  }
}

/** Writes words with a dark rim so that they are read on any picture. */
export function drawWords(c, words, x, y, size, colour = '#fff', align = 'left') {
  c.font = `600 ${size}px system-ui, sans-serif`;
  c.textAlign = align;
  c.textBaseline = 'middle';
  c.lineWidth = size / 3.5;
  c.lineJoin = 'round';
  c.strokeStyle = '#111';
  c.strokeText(words, x, y);
  c.fillStyle = colour;
  c.fillText(words, x, y);
}
