// The second look: the clip with what was followed drawn on it, where quality
// fell, and the frames that win most if marked.

import { h, put, button, svg } from './dom.js';
import { get, send, reportAddress } from './api.js';
import { Film } from './film.js';
import { Stage, drawSign, drawWords } from './stage.js';
import { landmarkNames, sideOf, symbols, colours } from './words.js';
import { watch } from './progress.js';

const trailFrames = 24;
const stretchesShown = 3;
const worstSpread = 4; // px at which the line of a strip reaches the bottom.

const cap = (text) => text[0].toUpperCase() + text.slice(1);

/** Opens the second look. Returns a function that leaves it. */
export async function openLook(main, path, { setCrumbs, frame }) {
  const clip = await get('/api/clip', { clip: path });
  setCrumbs(clip);
  const page = new LookPage(main, clip, frame);
  await page.start();
  return () => page.close();
}

class LookPage {
  constructor(main, clip, frame) {
    this.main = main;
    this.clip = clip;
    this.asked = frame;
    this.hidden = new Set();
  }

  async start() {
    const { clip } = this;
    this.stage = new Stage({ width: clip.width, height: clip.height, draw: (pen) => this.draw(pen), point: () => {}, label: 'The clip with what was followed drawn on it' });
    this.waitSign = h('p', { class: 'wait-sign', role: 'status', hidden: true });
    this.film = new Film(clip, this.stage, {
      moved: () => this.movedOn(),
      painted: () => { this.stage.canvas.dataset.shown = String(this.stage.painted); },
      wait: (text) => {
        this.waitSign.hidden = text === '';
        this.waitSign.textContent = text;
      },
      failed: (f, error) => { this.status.textContent = `Frame ${f} can’t be shown: ${error.message}`; },
    });
    this.film.speed = 0.25;
    this.slider = h('input', { type: 'range', min: 0, max: clip.times.length - 1, step: 1, 'aria-label': 'Frame', oninput: () => this.film.pass(Number(this.slider.value)), onchange: () => this.film.rest() });
    this.where = h('output', { class: 'where' });
    this.play = button('Play', () => this.film.toggle(), { id: 'play', class: 'primary' });
    this.strips = h('div', { class: 'strips' });
    this.side = h('aside', { class: 'side', 'aria-label': 'Findings' });
    this.status = h('p', { class: 'message', role: 'status', 'aria-live': 'polite' });
    this.bar = h('progress', { max: 1, value: 0, hidden: true, 'aria-label': 'Progress of measuring' });
    put(this.main, h('h1', { class: 'quiet' }, `Second look at ${clip.name}`),
      h('div', { class: 'workbench' },
        h('section', { class: 'sight', 'aria-label': 'Clip' },
          h('div', { class: 'frame' }, this.stage.canvas, this.waitSign),
          h('div', { class: 'transport' },
            this.play,
            button('◀', () => this.goTo(this.film.frame - 1), { 'aria-label': 'One frame back' }), this.slider,
            button('▶', () => this.goTo(this.film.frame + 1), { 'aria-label': 'One frame forward' }),
            h('label', { class: 'inline' }, 'Speed ', h('select', { id: 'speed', onchange: (e) => this.setSpeed(Number(e.target.value)) },
              [[0.1, '1/10'], [0.25, '1/4'], [0.5, '1/2'], [1, 'real']].map(([v, t]) => h('option', { value: v, selected: v === this.film.speed }, t)))),
            this.where),
          this.strips),
        this.side));
    this.keys = (e) => {
      if (e.target.matches('input:not([type=range]), select, textarea, button, a') && e.key === ' ') return;
      const step = (by) => (e.repeat ? this.film.run(by) : this.goTo(this.film.frame + by));
      const act = { ',': () => step(-1), '.': () => step(1), '<': () => step(-10), '>': () => step(10), ' ': () => this.film.toggle() }[e.key];
      if (act) {
        e.preventDefault();
        act();
      }
    };
    this.rested = () => this.film.rest();
    document.addEventListener('keydown', this.keys);
    document.addEventListener('keyup', this.rested);
    await this.load();
    if (!this.look || this.asked !== undefined) this.goTo(this.asked ?? 0);
    this.stopWatching = watch((jobs) => this.progress(jobs.find((j) => j.clip === clip.path)));
  }

  close() {
    this.stopWatching?.();
    this.film.close();
    this.stage.close();
    document.removeEventListener('keydown', this.keys);
    document.removeEventListener('keyup', this.rested);
  }

  async load() {
    const { look, state } = await get('/api/look', { clip: this.clip.path });
    const first = !this.look && look;
    this.look = look;
    this.state = state;
    this.refresh();
    // What needs a person most is on the screen first.
    if (first && this.asked === undefined) this.goTo(look.advice[0]?.frame ?? this.stretches()[0]?.first ?? 0);
  }

  progress(job) {
    const was = this.phase;
    this.phase = job?.phase;
    const busy = job && (job.phase === 'running' || job.phase === 'waiting');
    this.bar.hidden = !busy;
    if (busy) {
      const p = job.progress;
      if (p.total > 0) this.bar.value = p.done / p.total;
      else this.bar.removeAttribute('value');
      this.status.textContent = job.phase === 'waiting' ? 'Waiting for other clips to be measured.' : `Measuring: ${p.stage || 'beginning'}${p.total > 0 ? `, ${Math.round((100 * p.done) / p.total)} %` : ''}.`;
    }
    if (job?.phase === 'failed') this.status.textContent = `Measuring failed: ${job.error}`;
    if (job?.phase === 'done' && was !== 'done') {
      // Where nothing was seen to run, it ended while this page asked for what is there.
      if (was) this.status.textContent = 'Measured anew.';
      if (was || !this.look) this.load();
    }
    if (this.again) this.again.disabled = Boolean(busy);
  }

  async measure() {
    this.status.textContent = 'Asked for.';
    await send('POST', '/api/measure', { clip: this.clip.path });
  }

  /** Writes into the marks that what is doubted has been looked at and is so. */
  async confirm(kind) {
    await send('POST', '/api/confirm', { clip: this.clip.path, kind });
    await this.load();
  }

  refresh() {
    const { look, clip } = this;
    const path = encodeURIComponent(clip.path);
    this.again = button(look ? 'Measure again' : 'Measure now', () => this.measure(), { id: 'measure', class: look && !this.state.stale ? '' : 'primary' });
    const head = [this.status, this.bar];
    if (!look) {
      put(this.side, h('h2', {}, 'Not measured yet'), h('p', {}, 'Mark the clip, then measure it: this page shows what was followed and where to help.'), head, h('div', { class: 'actions' }, this.again, h('a', { class: 'button', href: `#/mark/${path}` }, 'Mark')));
      put(this.strips);
      return;
    }
    const stretches = this.stretches();
    const [best, ...more] = look.advice;
    const few = (items, shown, draw, ordered) => {
      const list = (part, start) => h(ordered ? 'ol' : 'ul', { class: 'advice', start: ordered ? start : undefined }, part.map(draw));
      return [list(items.slice(0, shown), 1), items.length > shown ? h('details', {}, h('summary', {}, `${items.length - shown} more`), list(items.slice(shown), shown + 1)) : null];
    };
    put(this.side,
      this.state.stale ? h('p', { class: 'notice warn' }, 'Marks or clip have changed since: measure again.') : null,
      (look.doubts ?? []).map((d) => h('div', { class: 'notice warn doubt' }, h('p', {}, h('strong', {}, d.sentence), ` ${d.check}`),
        button('I have looked: it is so', () => this.confirm(d.kind), { class: 'confirm' }))),
      h('h2', {}, 'What was found'), look.finding.map((sentence, i) => h('p', { class: i === 0 ? 'finding' : undefined }, sentence)),
      h('h2', {}, 'Where to help'),
      // Marks that are added to swapped ones mend nothing.
      (look.doubts ?? []).some((d) => d.kind === 'sides') ? [
        h('p', {}, 'Check left and right in the marks, then measure again.'),
        h('div', { class: 'actions' }, h('a', { class: 'button', id: 'check-sides', href: `#/mark/${path}` }, 'Open the marks')),
      ] : best ? [
        h('p', {}, h('span', { class: `sign-text ${sideOf(best.landmark)}`, 'aria-hidden': 'true' }, symbols[sideOf(best.landmark)]), ` ${cap(landmarkNames[best.landmark])}, frame ${best.frame} at ${this.seconds(best.frame)}: a mark there may gain ${best.wins} frames.`, h('small', { class: 'block' }, `${cap(best.reason)}.`)),
        h('div', { class: 'actions' }, h('a', { class: this.state.stale ? 'button' : 'button primary', id: 'best-advice', href: this.toMark(best) }, `Mark the ${landmarkNames[best.landmark]} there`),
          button('Show', () => this.goTo(best.frame), { 'aria-label': `Show frame ${best.frame}` })),
        more.length > 0 ? h('details', {}, h('summary', {}, `${more.length} further ${more.length === 1 ? 'frame gains' : 'frames gain'} less`), h('ol', { class: 'advice', start: 2 }, more.map((a) => this.advised(a)))) : null,
      ] : h('p', {}, 'No further mark is needed: every landmark was followed well enough.'),
      h('div', { class: 'actions' }, this.again,
        this.state.report ? h('a', { class: 'button', id: 'report', href: reportAddress(clip.group, this.state.report), target: '_blank', rel: 'noopener' }, 'Report') : null),
      head,
      h('h2', {}, 'Stretches not seen'),
      stretches.length === 0 ? h('p', {}, 'None.') : few(stretches, stretchesShown, (l) => this.stretch(l)),
      look.notes.length > 0 ? h('details', {}, h('summary', {}, `Remarks (${look.notes.length})`), h('ul', {}, look.notes.map((n) => h('li', {}, n)))) : null,
      h('details', {}, h('summary', {}, 'Show and hide landmarks'), look.tracks.map((t) => h('label', { class: 'tick' },
        h('input', { type: 'checkbox', checked: !this.hidden.has(t.landmark), onchange: (e) => { this.hidden[e.target.checked ? 'delete' : 'add'](t.landmark); this.stage.paint(); } }),
        h('span', { class: `sign-text ${sideOf(t.landmark)}`, 'aria-hidden': 'true' }, symbols[sideOf(t.landmark)]), ` ${landmarkNames[t.landmark]}`))));
    this.drawStrips();
    this.stage.paint();
  }

  seconds(frame) { return `${this.clip.times[Math.max(0, Math.min(this.clip.times.length - 1, frame))].toFixed(2)}\u00a0s`; }

  toMark(a) { return `#/mark/${encodeURIComponent(this.clip.path)}?frame=${a.frame}&landmark=${a.landmark}`; }

  /** Where landmarks were not seen, worst first: lost before filled in, long before short. */
  stretches() {
    const length = (l) => l.last - l.first + 1;
    return [...this.look.losses].sort((a, b) => Number(a.bridged) - Number(b.bridged) || length(b) - length(a) || a.first - b.first);
  }

  stretch(l) {
    const side = sideOf(l.landmark);
    const n = l.last - l.first + 1;
    return h('li', {},
      button([h('span', { class: `sign-text ${side}`, 'aria-hidden': 'true' }, symbols[side]), `${cap(landmarkNames[l.landmark])}, ${n} ${n === 1 ? 'frame' : 'frames'} from ${this.seconds(l.first)}`], () => this.goTo(l.first), { class: 'link' }), h('small', { class: 'block' }, `${cap(l.reason)}${l.bridged ? '; filled in between' : ''}.`));
  }

  /** One frame that wins if marked. */
  advised(a) {
    const side = sideOf(a.landmark);
    return h('li', {},
      h('p', {}, h('span', { class: `sign-text ${side}`, 'aria-hidden': 'true' }, symbols[side]), ` ${cap(landmarkNames[a.landmark])}, frame ${a.frame}: may gain ${a.wins} frames.`, h('small', { class: 'block' }, `${cap(a.reason)}.`)),
      h('div', { class: 'actions' }, button('Show', () => this.goTo(a.frame), { 'aria-label': `Show frame ${a.frame}` }),
        h('a', { class: 'button', href: this.toMark(a) }, `Mark the ${landmarkNames[a.landmark]} here`)));
  }

  /** A strip for every landmark: how well it was followed, and its contacts. */
  drawStrips() {
    const n = this.clip.times.length;
    const { times } = this.clip;
    const span = times[n - 1] || 1;
    const gone = (t) => t.status.filter((s) => s === 'lost').length;
    put(this.strips, [...this.look.tracks].sort((a, b) => gone(b) - gone(a)).map((t) => {
      const side = sideOf(t.landmark);
      const runs = [];
      for (let i = 0; i < n; i += 1) {
        const last = runs.at(-1);
        if (last && last.status === t.status[i]) last.to = i;
        else runs.push({ status: t.status[i], from: i, to: i });
      }
      const seen = t.status.filter((s) => s === 'tracked' || s === 'marked' || s === 'across').length;
      const lost = t.status.filter((s) => s === 'lost').length;
      const quality = t.sd.map((sd, i) => (sd === null ? null : `${i + 0.5},${(2 + (16 * Math.min(sd, worstSpread)) / worstSpread).toFixed(1)}`));
      const lines = [];
      let line = [];
      for (const p of [...quality, null]) {
        if (p !== null) line.push(p);
        else if (line.length > 0) {
          lines.push(line.join(' '));
          line = [];
        }
      }
      return h('div', { class: 'strip' },
        h('span', { class: 'name' }, h('span', { class: `sign-text ${side}`, 'aria-hidden': 'true' }, symbols[side]), ` ${landmarkNames[t.landmark]}`),
        svg('svg', {
          viewBox: `0 0 ${n} 28`, preserveAspectRatio: 'none', role: 'img', 'aria-label': `${landmarkNames[t.landmark]}: seen in ${seen} of ${n} frames, lost in ${lost}`,
          onclick: (e) => { const b = e.currentTarget.getBoundingClientRect(); this.goTo(Math.floor(((e.clientX - b.left) / b.width) * n)); },
        },
        runs.map((r) => svg('rect', { x: r.from, y: 0, width: r.to - r.from + 1, height: 20, class: `run ${r.status}` })),
        lines.map((points) => svg('polyline', { points, class: 'quality' })),
        this.look.contacts.filter((c) => c.limb === t.landmark).map((c) => svg('rect', { x: (c.on_s / span) * (n - 1), y: 22, width: Math.max(0.5, ((c.off_s - c.on_s) / span) * (n - 1)), height: 6, class: `contact ${side}` }))));
    }),
    h('p', { class: 'hint' }, 'White: seen. Pale: seen while it turns, so its height is unsure. Yellow: marked. Grey: bridged. Dark: lost. The line is how sure the place is: at the top 0 px, at the bottom 4 px or more (one standard deviation). Bars below are ground contacts. Click into a strip to go there.'));
  }

  goTo(frame) { this.film.goTo(frame); }

  setSpeed(speed) {
    this.film.speed = speed;
    if (this.film.playing) this.film.play();
  }

  /** The frame named has changed, or playing has. */
  movedOn() {
    const { frame, playing } = this.film;
    this.slider.value = String(frame);
    this.where.value = `frame ${frame}, ${this.clip.times[frame].toFixed(3)} s`;
    this.slider.setAttribute('aria-valuetext', this.where.value);
    put(this.play, playing ? 'Pause' : 'Play');
  }

  draw({ c, to, ratio }) {
    const f = this.stage.painted; // What is drawn belongs to the picture that is shown.
    if (!this.look || f === null || f === undefined) return;
    const time = this.clip.times[f];
    for (const t of this.look.tracks) {
      if (this.hidden.has(t.landmark)) continue;
      const side = sideOf(t.landmark);
      const colour = colours[side];
      for (const [style, width] of [['rgba(255,255,255,.85)', 4], [colour, 2]]) {
        c.strokeStyle = style;
        c.lineWidth = width * ratio;
        c.setLineDash(side === 'right' ? [7 * ratio, 4 * ratio] : []);
        c.beginPath();
        let open = false;
        for (let i = Math.max(0, f - trailFrames); i <= f; i += 1) {
          if (t.x[i] === null) {
            open = false;
            continue;
          }
          const [x, y] = to(t.x[i], t.y[i]);
          if (open) c.lineTo(x, y);
          else c.moveTo(x, y);
          open = true;
        }
        c.stroke();
      }
      c.setLineDash([]);
      if (t.x[f] === null) continue;
      const [x, y] = to(t.x[f], t.y[f]);
      const down = this.look.contacts.some((k) => k.limb === t.landmark && k.on_s <= time && time <= k.off_s);
      drawSign(c, side, x, y, (down ? 11 : 8) * ratio, { colour, hollow: t.status[f] === 'bridged' });
      if (down) drawWords(c, 'on the ground', x, y + 20 * ratio, 10 * ratio, '#fff', 'center');
      if (t.status[f] === 'bridged') drawWords(c, 'bridged', x, y - 18 * ratio, 10 * ratio, '#ffe58a', 'center');
    }
    const lost = this.look.tracks.filter((t) => t.status[f] === 'lost' && !this.hidden.has(t.landmark));
    lost.forEach((t, i) => drawWords(c, `lost: ${landmarkNames[t.landmark]}`, 10 * ratio, (18 + 18 * i) * ratio, 13 * ratio, '#ffe58a'));
  }
}
