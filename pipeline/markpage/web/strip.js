// The scrubber: small pictures along the clip's time, with the marked frames on
// them, over a slider.

import { h, put, button } from './dom.js';
import { symbols } from './words.js';

/** Strip is the scrubber of one clip. options: scrub(frame), rest(), go(frame). */
export class Strip {
  constructor(clip, options) {
    Object.assign(this, options);
    this.clip = clip;
    this.last = Math.max(1, clip.times.length - 1);
    this.canvas = h('canvas', { class: 'thumbs', 'aria-hidden': 'true' });
    this.ticks = h('div', { class: 'ticks', role: 'group', 'aria-label': 'Marked frames' });
    this.here = h('div', { class: 'now', 'aria-hidden': 'true' });
    this.slider = h('input', {
      type: 'range', min: 0, max: clip.times.length - 1, step: 1, 'aria-label': 'Frame',
      oninput: () => this.scrub(Number(this.slider.value)), onchange: () => this.rest(),
    });
    this.element = h('div', { class: 'scrubber' }, h('div', { class: 'film' }, this.canvas, this.here, this.ticks), this.slider);
    const at = (e) => {
      const box = this.canvas.getBoundingClientRect();
      return Math.round(Math.max(0, Math.min(1, (e.clientX - box.left) / box.width)) * this.last);
    };
    this.canvas.addEventListener('pointerdown', (e) => {
      e.preventDefault();
      this.canvas.setPointerCapture(e.pointerId);
      this.dragging = true;
      this.scrub(at(e));
    });
    this.canvas.addEventListener('pointermove', (e) => { if (this.dragging) this.scrub(at(e)); });
    for (const name of ['pointerup', 'pointercancel']) {
      this.canvas.addEventListener(name, () => {
        if (this.dragging) this.rest();
        this.dragging = false;
      });
    }
    this.observer = new ResizeObserver(() => this.paint());
    this.observer.observe(this.canvas);
    this.shown = '';
  }

  /** Shows the small pictures of an overview. */
  async load(overview, address) {
    const image = new Image();
    image.src = address;
    await image.decode();
    this.overview = overview;
    this.image = image;
    this.paint();
  }

  paint() {
    if (!this.image) return;
    const ratio = window.devicePixelRatio || 1;
    const box = this.canvas.getBoundingClientRect();
    if (box.width === 0) return;
    this.canvas.width = Math.round(box.width * ratio);
    this.canvas.height = Math.round(box.height * ratio);
    const { frames, width, height } = this.overview;
    const c = this.canvas.getContext('2d');
    const w = (this.canvas.height * width) / height;
    const n = Math.max(1, Math.round(this.canvas.width / w));
    for (let i = 0; i < n; i += 1) {
      const f = ((i + 0.5) / n) * this.last;
      let best = 0;
      frames.forEach((g, k) => { if (Math.abs(g - f) < Math.abs(frames[best] - f)) best = k; });
      c.drawImage(this.image, best * width, 0, width, height, (i * this.canvas.width) / n, 0, Math.ceil(this.canvas.width / n), this.canvas.height);
    }
  }

  /** Tells where one is, and which frames are marked: { frame, side, proposed }. */
  refresh(frame, text, marked) {
    this.slider.value = String(frame);
    this.slider.setAttribute('aria-valuetext', text);
    const left = (f) => `${((100 * f) / this.last).toFixed(2)}%`;
    this.here.style.left = left(frame);
    const now = JSON.stringify([frame, marked]);
    if (now === this.shown) return;
    this.shown = now;
    const held = this.ticks.contains(document.activeElement) ? document.activeElement.id : null;
    put(this.ticks, marked.map((m) => {
      const tick = button(m.proposed ? '?' : symbols[m.side], () => this.go(m.frame), {
        id: `tick-${m.frame}`, class: `tick ${m.proposed ? 'proposed' : m.side}`, 'aria-pressed': String(m.frame === frame), title: `Frame ${m.frame}`,
        'aria-label': m.proposed ? `Go to frame ${m.frame}, with proposed marks` : `Go to marked frame ${m.frame}`,
      });
      tick.style.left = left(m.frame);
      return tick;
    }));
    if (held) document.getElementById(held)?.focus({ preventScroll: true });
  }

  close() { this.observer.disconnect(); }
}
