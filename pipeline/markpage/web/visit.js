// The record of one visit: why, what was felt, what was done, how the horse does.

import { h, put, button, field, choice } from './dom.js';
import { get, send, resultAddress } from './api.js';
import { Saver } from './saver.js';
import { silhouette } from './horse.js';
import { numberField } from './lengths.js';
import { symbols } from './words.js';

const texts = ['reason', 'surface', 'shoeing', 'presented', 'followed', 'graded_by', 'next_check', 'notes'];

/** Turns a visit into the parts that are saved and merged one by one. */
export function partsOf(visit) {
  const parts = {};
  for (const name of texts) if (visit[name]) parts[name] = visit[name];
  for (const name of ['barn', 'field', 'work']) if (visit.function[name]) parts[`function:${name}`] = visit.function[name];
  if (visit.aaep_grade !== null) parts.aaep_grade = visit.aaep_grade;
  const seen = {};
  const add = (key, value) => {
    seen[key] = (seen[key] ?? 0) + 1;
    parts[`${key}|${seen[key]}`] = value;
  };
  for (const { region, side, ...value } of visit.palpation) add(`felt:${region}|${side}`, value);
  for (const { limb, side, direction, ...value } of visit.motion) add(`moved:${limb}|${side}|${direction}`, value);
  if (visit.treatment.length > 0) parts.treatment = visit.treatment;
  return parts;
}

/** Returns what the name of a part of felt: or moved: says. A region may hold any sign. */
function placeOf(key) {
  const at = key.slice(key.indexOf(':') + 1).split('|');
  const n = at.pop();
  if (key.startsWith('moved:')) return { limb: at[0], side: at[1], direction: at[2], n };
  const side = at.pop();
  return { region: at.join('|'), side, n };
}

/** Names a spot that was felt. */
function spotName(key) {
  const { region, side, n } = placeOf(key);
  return `${region}, ${side || 'middle'}${n === '1' ? '' : `, entry ${n}`}`;
}

/** Turns parts back into a visit. */
export function packVisit(parts) {
  const visit = { function: {}, palpation: [], motion: [], treatment: parts.treatment ?? [], aaep_grade: parts.aaep_grade ?? null };
  for (const name of texts) visit[name] = parts[name] ?? '';
  for (const name of ['barn', 'field', 'work']) visit.function[name] = parts[`function:${name}`] ?? '';
  for (const [name, value] of Object.entries(parts)) {
    const { n, ...place } = placeOf(name);
    if (name.startsWith('felt:')) visit.palpation.push({ ...place, ...value });
    if (name.startsWith('moved:')) visit.motion.push({ ...place, ...value });
  }
  return visit;
}

/** Opens the visit record of a folder. Returns a function that leaves it. */
export async function openVisit(main, group, { show, setCrumbs }) {
  const answer = await get('/api/visit', { visit: group });
  setCrumbs(null, answer.horse ? `Visit of ${answer.date}, ${answer.horse}` : `Visit record, ${group === '.' ? 'this folder' : group}`);
  if (answer.error) {
    put(main, h('h1', {}, 'Visit record'), h('div', { class: 'notice bad', role: 'alert' }, h('p', {}, answer.error), h('p', {}, 'The file is left as it is. Repair it, then load this page again.')));
    return null;
  }
  const page = new VisitPage(main, group, answer, show);
  page.build();
  return () => page.saver.close();
}

class VisitPage {
  constructor(main, group, answer, show) {
    Object.assign(this, { main, group, answer, show });
    this.parts = partsOf(answer.visit);
    this.saver = new Saver({
      kind: 'visit', id: group, path: '/api/visit', query: { visit: group }, version: answer.version, base: structuredClone(this.parts), show,
      pack: packVisit,
      unpack: (a) => partsOf(a.visit),
      adopt: (parts) => {
        this.parts = parts;
        // Whoever is typing goes on typing.
        const { id, selectionStart, selectionEnd } = document.activeElement ?? {};
        this.build();
        const again = id && document.getElementById(id);
        again?.focus({ preventScroll: true });
        if (again && typeof selectionStart === 'number') again.setSelectionRange(selectionStart, selectionEnd);
      },
      ask: (conflicts) => this.askConflict(conflicts),
    });
    const left = this.saver.takeUp();
    if (left) {
      this.parts = left;
      this.saver.save(left);
    }
  }

  set(name, value) {
    if (value === '' || value === undefined || value === null) delete this.parts[name];
    else this.parts[name] = value;
    this.saver.save(this.parts);
    this.warn();
  }

  /** Whether a part of felt: says that the hand must stop: the highest grade, or a threat. */
  stops(key) {
    const is = this.parts[key];
    return Boolean(is) && (is.soreness === this.answer.grades.length - 1 || (is.behaviour ?? '').includes('threatens'));
  }

  /** Warns beside what was entered of what must wait for a veterinarian. */
  warn() {
    const { forbids, grades } = this.answer;
    const say = (box, text) => {
      if (box.textContent !== text) put(box, text ? h('p', { class: 'notice bad', role: 'alert' }, text) : null);
    };
    const parts = Object.entries(this.parts);
    const spots = parts.filter(([k, v]) => k.startsWith('felt:') && v.soreness === grades.length - 1).map(([k]) => spotName(k));
    say(this.warnings.grade, this.parts.aaep_grade >= forbids.no_trot_from ? forbids.no_trot : '');
    say(this.warnings.motion, parts.some(([k, v]) => k.startsWith('moved:') && v.ease === forbids.refused) ? forbids.no_trot : '');
    say(this.warnings.treatment, spots.length > 0 ? `Felt as not to be touched: ${spots.join('; ')}. ${forbids.no_treatment}` : '');
  }

  /** What the ground is called: the horse's own words first, and whether it is another than last time. */
  surface() {
    const { surfaces } = this.answer;
    const [last] = surfaces;
    const words = [...new Set([...surfaces.map((s) => s.word), 'concrete', 'asphalt', 'firm sand', 'deep sand', 'grass', 'rubber'])];
    const told = h('output', { id: 'surface-told', class: 'read', for: 'visit-surface' });
    const tell = (word) => { told.value = last && word !== '' && word !== last.word ? `Other ground than on ${last.day}? It was “${last.word}”.` : ''; };
    tell(this.parts.surface ?? '');
    const box = this.text('surface', 'Surface', { list: 'surfaces' }, 'The same word every time: visits on other surfaces are not compared.');
    box.addEventListener('input', (e) => tell(e.target.value.trim()));
    box.append(told, h('datalist', { id: 'surfaces' }, words.map((s) => h('option', { value: s }))));
    return box;
  }

  /** The date of the next check, which lies after the visit. */
  nextCheck() {
    const [day] = /^\d{4}-\d\d-\d\d/.exec(this.answer.date ?? '') ?? [];
    const told = h('output', { id: 'next-told', class: 'read wrong', for: 'visit-next_check' });
    const early = (date) => Boolean(day) && date !== '' && date < day;
    const tell = (date) => { told.value = early(date) ? 'This date is before the visit: it does not count.' : ''; };
    tell(this.parts.next_check ?? '');
    const box = this.text('next_check', 'Date', { type: 'date', min: day });
    box.addEventListener('input', (e) => {
      tell(e.target.value);
      if (early(e.target.value)) this.set('next_check', undefined);
    });
    box.append(told);
    return box;
  }

  /** Saves a field with every letter: what is typed is never only on the screen. */
  text(name, label, attributes = {}, hint = undefined) {
    const tag = attributes.rows ? 'textarea' : 'input';
    const save = (e) => {
      const { value, validity } = e.target;
      if (validity.valid && (this.parts[name] ?? '') !== value) this.set(name, value);
    };
    return field(label, h(tag, { id: `visit-${name.replace(':', '-')}`, value: this.parts[name] ?? '', ...attributes, oninput: save }), hint);
  }

  build() {
    const { answer } = this;
    const kept = window.scrollY;
    this.part = this.part ?? 0;
    this.side = this.side ?? 'left';
    this.region = this.region ?? answer.regions[0].regions[0].name;
    this.ways = h('div', { class: 'actions' });
    this.palpation = h('div', {});
    this.warnings = { grade: h('div', { id: 'warn-grade' }), motion: h('div', { id: 'warn-motion' }), treatment: h('div', { id: 'warn-treatment' }) };
    this.list = h('div', {});
    put(this.main,
      h('h1', {}, answer.horse ? `${answer.horse}: visit of ${answer.date}` : 'Visit record'),
      this.ways,
      h('p', { class: 'hint' }, `Every letter is saved at once to ${answer.path}. You may edit that file by hand, too: comments and keys of your own stay.`),
      h('section', { class: 'card', 'aria-labelledby': 'v-horse' }, h('h2', { id: 'v-horse' }, 'Why and how'),
        this.text('reason', 'Reason for the visit', { rows: 2 }),
        h('div', { class: 'row' },
          this.surface(),
          this.text('shoeing', 'Shoeing', {}, 'Shod or barefoot, when last, anything special.')),
        choice('Presented', 'presented', [['led', 'led'], ['ridden', 'ridden']], this.parts.presented ?? 'led', (v) => this.set('presented', v)),
        h('p', { class: 'hint' }, 'A visit at which the horse was ridden is not compared with one at which it was led.'),
        field('Followed measure', h('select', { id: 'visit-followed', onchange: (e) => this.set('followed', e.target.value) },
          h('option', { value: '' }, 'the asymmetry score'), [['usual', true], ['others', false]].map(([label, usual]) => h('optgroup', { label },
            answer.measures.filter((m) => m.usual === usual).map((m) => h('option', { value: m.name, selected: m.name === this.parts.followed }, m.title))))),
        'The one measure declared beforehand to judge the treatment by. Choose it before you measure.')),
      h('section', { class: 'card', 'aria-labelledby': 'v-felt' }, h('h2', { id: 'v-felt' }, 'Soreness on palpation'),
        h('div', { class: 'notice warn' }, h('p', {}, answer.caution)),
        choice('Which side is sore, as far as anybody knows? The hand begins on the other.', 'sore', [['left', 'left'], ['right', 'right'], ['', 'not known']], this.sore ?? '', (sore) => {
          this.sore = sore;
          if (sore) this.choose(this.part, this.region, sore === 'left' ? 'right' : 'left');
        }),
        this.palpation, this.list),
      h('section', { class: 'card', 'aria-labelledby': 'v-moved' }, h('h2', { id: 'v-moved' }, 'Range of motion'),
        h('div', { class: 'notice warn' }, h('p', {}, answer.motion.caution)), this.warnings.motion, this.motion()),
      h('section', { class: 'card', 'aria-labelledby': 'v-done' }, h('h2', { id: 'v-done' }, 'Treatment given'),
        h('div', { class: 'notice warn' }, h('p', {}, answer.forbids.treatment)), this.warnings.treatment, this.treatments()),
      h('section', { class: 'card', 'aria-labelledby': 'v-function' }, h('h2', { id: 'v-function' }, 'Function'),
        h('p', { class: 'hint' }, 'How the horse does where it lives and works, as told or seen.'),
        this.text('function:barn', 'In the barn', { rows: 2 }), this.text('function:field', 'In the field', { rows: 2 }), this.text('function:work', 'At work', { rows: 2 })),
      h('section', { class: 'card', 'aria-labelledby': 'v-vet' }, h('h2', { id: 'v-vet' }, 'A veterinarian’s grade'),
        h('p', { class: 'hint' }, 'Only where a veterinarian gave one. It is entered here, never derived from measures.'),
        h('div', { class: 'row' },
          field('AAEP grade', h('select', { id: 'visit-aaep', onchange: (e) => this.set('aaep_grade', e.target.value === '' ? '' : Number(e.target.value)) },
            h('option', { value: '' }, 'none given'), [0, 1, 2, 3, 4, 5].map((g) => h('option', { value: g, selected: g === this.parts.aaep_grade }, String(g))))),
          this.text('graded_by', 'Given by')), this.warnings.grade),
      h('section', { class: 'card', 'aria-labelledby': 'v-next' }, h('h2', { id: 'v-next' }, 'Next check'),
        this.nextCheck(), this.text('notes', 'Notes', { rows: 3 })));
    this.drawWays(answer.ways);
    this.draw();
    this.drawList();
    this.warn();
    if (kept) window.scrollTo(0, kept);
  }

  /** Links to the pages about this visit, or what is missing for them. */
  drawWays(ways) {
    const link = (label, path) => h('a', { class: 'button', href: resultAddress(path), target: '_blank', rel: 'noopener' }, label);
    const status = h('span', { role: 'status', class: 'hint' });
    const make = (label, what) => (ways.makes && ways.measured > 0 ? button(label, async (e) => {
      e.target.disabled = true;
      status.textContent = 'Being made…';
      try {
        this.drawWays(await send('POST', '/api/visit/make', { visit: this.group, what }));
        this.ways.querySelector(`[data-way="${what}"]`)?.focus();
      } catch (error) {
        status.textContent = error.message;
        e.target.disabled = false;
      }
    }, { id: `make-${what}` }) : null);
    const clips = ways.clips === 0 ? 'No clip lies in this visit’s folder yet.' : ways.measured === 0 ? `${ways.clips} ${ways.clips === 1 ? 'clip' : 'clips'}, none measured yet: reports and comparisons follow once they are marked and measured.` : '';
    const made = (element, what) => {
      element.dataset.way = what;
      return element;
    };
    put(this.ways,
      ways.report ? link('Report of this visit', ways.report) : null,
      ways.comparison ? made(link(`Compared with ${ways.before}`, ways.comparison), 'comparison') : null,
      ways.before ? make(ways.comparison ? 'Compare anew' : `Compare with the visit before, ${ways.before}`, 'comparison') : null,
      ways.history ? made(link('History of this horse', ways.history), 'history') : null,
      ways.before || ways.history ? make(ways.history ? 'Make the history anew' : 'Make the history of all visits', 'history') : null,
      clips ? h('span', { class: 'hint' }, clips, ' ', h('a', { href: '#/' }, 'All clips')) : null, status);
  }

  keyOf(region, side, n = 1) { return `felt:${region}|${side}|${n}`; }

  gradeOf(region, side) { return this.parts[this.keyOf(region, side)]?.soreness; }

  /** Chooses what is felt next; the focus follows where it was among the spots. */
  choose(part, region, side = this.side) {
    const held = this.palpation.contains(document.activeElement);
    Object.assign(this, { part, region, side });
    this.draw();
    if (held) {
      this.palpation.querySelector('.grader .asked').focus({ preventScroll: true });
      this.palpation.querySelector('.grader').scrollIntoView({ block: 'nearest' });
    }
  }

  /** The region after this one, or before it: through all parts of the side. */
  beside(step) {
    const all = this.answer.regions.flatMap((g, part) => g.regions.map((r) => ({ part, region: r.name })));
    const at = all.findIndex((r) => r.region === this.region);
    return all[Math.max(0, Math.min(all.length - 1, at + step))];
  }

  go(step) {
    const { part, region } = this.beside(step);
    this.choose(part, region);
  }

  grade(soreness) {
    const { region, side } = this;
    const key = this.keyOf(region, side);
    const now = this.parts[key] ?? { soreness: 0, pressure: 0, pressure_unit: '', behaviour: '', note: '' };
    this.set(key, { ...now, soreness });
    this.last = key;
    this.drawList();
    if (this.stops(key)) this.choose(this.part, region, side); // Only the person goes on.
    else this.go(1);
  }

  draw() {
    const { answer, side } = this;
    const group = answer.regions[this.part];
    const wide = window.matchMedia('(min-width: 1100px)').matches;
    const px = wide ? 3.4 : 2.75;
    const { under } = group.regions.find((r) => r.name === this.region);
    const count = (g) => g.regions.filter((r) => ['left', 'right'].some((s) => this.gradeOf(r.name, s) !== undefined)).length;
    const now = this.gradeOf(this.region, side);
    const stop = this.stops(this.keyOf(this.region, side));
    put(this.palpation,
      h('div', { class: 'parts', role: 'group', 'aria-label': 'Part of the horse' }, answer.regions.map((g, i) => button([g.part, count(g) > 0 ? ` (${count(g)} felt)` : ''].join(''), () => this.choose(i, g.regions[0].name), { 'aria-pressed': i === this.part ? 'true' : 'false' }))),
      h('div', { class: 'felting' }, h('div', { class: 'both-sides' }, ['left', 'right'].map((s) => h('div', { class: `flank ${s === side ? 'chosen' : ''}` },
        button([h('span', { class: `sign-text ${s}`, 'aria-hidden': 'true' }, symbols[s]), ` horse’s ${s}`], () => this.choose(this.part, this.region, s), { 'aria-pressed': s === side ? 'true' : 'false', class: 'flank-name', id: `side-${s}` }),
        h('div', { class: 'scroll' }, silhouette(group.part, s, { px, chosen: s === side ? this.region : null, gradeOf: (r) => this.gradeOf(r, s), pick: (r) => this.choose(this.part, r, s) }))))),
      h('div', { class: 'grader', role: 'group', 'aria-label': 'Grade', onkeydown: (e) => this.graderKey(e) },
        h('div', { class: 'asked', tabindex: '-1' },
          h('p', { class: 'what', 'aria-live': 'polite' }, h('span', { class: `sign-text ${side}`, 'aria-hidden': 'true' }, symbols[side]), ` ${this.region}, horse’s ${side}`, under ? h('small', {}, ` — ${under}`) : null)),
        stop ? h('div', { class: 'notice bad', role: 'alert', id: 'felt-stop' }, h('p', {}, h('strong', {}, answer.forbids.stop)), now === answer.grades.length - 1 ? h('p', {}, answer.forbids.no_treatment) : null)
          : h('div', { class: 'grades-row' }, answer.grades.map((g, i) => button([h('strong', {}, String(i)), h('span', {}, g.name)], () => this.grade(i), { class: `grade-button grade-${i}`, 'aria-pressed': now === i ? 'true' : 'false', title: g.meaning, id: `grade-${i}` }))),
        h('div', { class: 'actions' },
          button('← Back', () => this.go(-1), { id: 'felt-back' }), stop ? button('Go on →', () => this.go(1), { id: 'felt-on' }) : button('Leave out →', () => this.go(1), { id: 'felt-skip' }),
          now !== undefined ? button('Take this grade back', () => {
            this.set(this.keyOf(this.region, side), undefined);
            this.draw();
            this.drawList();
          }, { id: 'felt-undo' }) : null),
        this.afterthought(),
        h('details', { class: 'spots', open: this.namesShown ?? wide, ontoggle: (e) => { this.namesShown = e.target.open; } }, h('summary', {}, 'Names of the spots'), h('ol', { class: 'names' }, group.regions.map((r) => h('li', {}, button([r.name, r.under ? h('small', {}, ` ${r.under}`) : null], () => this.choose(this.part, r.name), { class: 'link', 'aria-current': r.name === this.region ? 'true' : null }))))))),
      h('details', {}, h('summary', {}, 'What the grades mean'), h('dl', { class: 'grades' }, answer.grades.map((g, i) => [h('dt', {}, `${i} — ${g.name}`), h('dd', {}, g.meaning)])),
        h('p', { class: 'hint' }, 'Common practice, not a published scale. Feel both sides alike, the sore side last.')));
  }

  /** Digits grade, arrows go on and back. */
  graderKey(e) {
    if (e.target.matches('input') || e.ctrlKey || e.metaKey || e.altKey) return;
    const act = { ArrowRight: () => this.go(1), ArrowDown: () => this.go(1), ArrowLeft: () => this.go(-1), ArrowUp: () => this.go(-1) }[e.key]
      ?? (/^[0-4]$/.test(e.key) && !this.stops(this.keyOf(this.region, this.side)) ? () => this.grade(Number(e.key)) : null);
    if (!act) return;
    e.preventDefault();
    e.stopPropagation();
    act();
  }

  /** What the horse did at the spot that was graded last. */
  afterthought() {
    const is = this.last && this.parts[this.last];
    if (!is || is.soreness === 0) return null;
    const { region, side } = placeOf(this.last);
    return h('div', { class: 'after' }, h('p', {}, `${region}, ${side}: ${is.soreness} ${this.answer.grades[is.soreness].name}. What did the horse do?`), this.behaviours(this.last));
  }

  /** Buttons for what the horse did, on top of words written by hand. */
  behaviours(key) {
    const words = () => (this.parts[key]?.behaviour ?? '').split(/\s*,\s*/).filter(Boolean);
    const { region, side } = placeOf(key);
    return h('div', { class: 'chips', role: 'group', 'aria-label': `What the horse did, ${region}, ${side || 'middle'}` }, this.answer.behaviours.map((w) => button(w, () => {
      const now = words();
      const next = now.includes(w) ? now.filter((o) => o !== w) : [...now, w];
      this.set(key, { ...this.parts[key], behaviour: next.join(', ') });
      // Back to a spot at which the horse threatens: only the person goes on.
      const part = this.partOf(key);
      if (part >= 0 && next.length > now.length && this.stops(key)) Object.assign(this, { part, region, side });
      const at = this.palpation.contains(document.activeElement) ? '.after' : `[data-felt="${CSS.escape(key)}"]`;
      this.draw();
      this.drawList();
      [...this.main.querySelectorAll(`${at} .chip`)].find((c) => c.textContent === w)?.focus({ preventScroll: true });
    }, { class: 'chip', 'aria-pressed': words().includes(w) ? 'true' : 'false' })));
  }

  /** What was felt, worst first; where nothing was, what to do. */
  drawList() {
    const found = Object.entries(this.parts).filter(([k]) => k.startsWith('felt:'));
    const rank = ([, v]) => -v.soreness;
    found.sort((a, b) => rank(a) - rank(b));
    const sore = found.filter(([, v]) => v.soreness > 0 || v.note || v.pressure || v.behaviour);
    const even = found.filter((f) => !sore.includes(f));
    put(this.list, h('h3', {}, 'What was felt'),
      found.length === 0 ? h('p', { class: 'hint' }, 'Nothing yet. Choose a spot on the drawing, or begin with the one that is asked for, and give it a grade; the next spot follows by itself. Spots that are left out count as not felt.') : null,
      sore.map(([key, v]) => this.feltEntry(key, v, spotName(key))),
      even.length > 0 ? h('p', { class: 'hint' }, `No reaction: ${even.map(([k]) => spotName(k)).join('; ')}.`) : null);
  }

  /** The part of the drawing in which a spot lies; -1 where it has no place there. */
  partOf(key) {
    const { region, side, n } = placeOf(key);
    return n === '1' && side ? this.answer.regions.findIndex((g) => g.regions.some((r) => r.name === region)) : -1;
  }

  feltEntry(key, v, name) {
    const change = (changes) => this.set(key, { ...this.parts[key], ...changes });
    const { region, side } = placeOf(key);
    const part = this.partOf(key);
    const unit = h('select', { 'aria-label': `Unit of the reading, ${name}`, onchange: (e) => { if (this.parts[key].pressure > 0) change({ pressure_unit: e.target.value }); } },
      [['N', 'N'], ['kg/cm2', 'kg/cm²']].map(([u, t]) => h('option', { value: u, selected: v.pressure_unit === u }, t)));
    return h('div', { class: 'found', 'data-felt': key },
      h('div', { class: 'foundhead' }, h('span', { class: `grade-tag grade-${v.soreness}` }, `${v.soreness} ${this.answer.grades[v.soreness].name}`), h('strong', {}, name),
        part >= 0 ? button('Grade again', () => {
          this.choose(part, region, side);
          this.palpation.scrollIntoView({ block: 'start' });
          this.palpation.querySelector('.asked').focus({ preventScroll: true });
        }, { 'aria-label': `Grade again: ${name}` }) : null,
        button('Remove', () => {
          this.set(key, undefined);
          this.draw();
          this.drawList();
        }, { 'aria-label': `Remove ${name}` })),
      v.behaviour ? h('p', {}, v.behaviour) : null,
      h('div', { class: 'row' },
        h('div', { class: 'field' }, h('label', { for: `note-${key}` }, 'Note'), h('input', { id: `note-${key}`, 'data-note': key.slice(5), value: v.note, oninput: (e) => change({ note: e.target.value }) })),
        numberField('Algometer reading', {
          id: `pressure-${key}`, value: v.pressure || '', least: 0.01, most: 1000, unit: '',
          onchange: (p) => change({ pressure: p === '' ? 0 : p, pressure_unit: p === '' ? '' : unit.value }),
        }), h('div', { class: 'field unit' }, h('span', { class: 'unseen' }, 'Unit'), unit)),
      h('details', { open: this.opened === key, ontoggle: (e) => { if (e.target.open) this.opened = key; } }, h('summary', {}, 'What the horse did', h('span', { class: 'unseen' }, ` at ${name}`)), this.behaviours(key)));
  }

  /** Every limb in every direction: free, less, refused, on each side. */
  motion() {
    const { limbs, directions, eases } = this.answer.motion;
    const ways = { forward: 'forward', back: 'back', across: 'across' };
    const box = h('div', { class: 'motions' });
    const refill = () => {
      const held = document.activeElement?.dataset?.motion;
      put(box, h('p', { class: 'hint' }, 'How freely each limb lets itself be moved by hand. What is not touched counts as not tried.'),
        limbs.map((limb) => h('div', { class: 'scroll' }, h('table', { class: 'motion' },
          h('caption', {}, limb === 'fore' ? 'Forelimbs' : 'Hindlimbs'),
          h('thead', {}, h('tr', {}, h('td', {}), ['left', 'right'].map((s) => h('th', { scope: 'col' }, h('span', { class: `sign-text ${s}`, 'aria-hidden': 'true' }, symbols[s]), ` ${s}`)))),
          h('tbody', {}, directions.map((d) => h('tr', {}, h('th', { scope: 'row' }, ways[d] ?? d), ['left', 'right'].map((s) => {
            const key = `moved:${limb}|${s}|${d}|1`;
            const now = this.parts[key];
            return h('td', {},
              h('div', { class: 'eases', role: 'group', 'aria-label': `${s} ${limb} ${d}` }, eases.map((ease) => button(ease, () => {
                this.set(key, now?.ease === ease ? undefined : { note: '', ...this.parts[key], ease });
                refill();
              }, { class: `ease ${ease}`, 'data-motion': `${key}|${ease}`, 'aria-pressed': now?.ease === ease ? 'true' : 'false' }))),
              now && now.ease !== 'free' ? h('input', { 'aria-label': `Note, ${s} ${limb} ${d}`, placeholder: 'note', value: now.note, oninput: (e) => this.set(key, { ...this.parts[key], note: e.target.value }) }) : null);
          }))))))));
      if (held) [...box.querySelectorAll('[data-motion]')].find((e) => e.dataset.motion === held)?.focus({ preventScroll: true });
    };
    refill();
    return box;
  }

  treatments() {
    const box = h('div', {});
    const change = (list) => this.set('treatment', list.length > 0 ? list : undefined);
    const refill = () => {
      const list = this.parts.treatment ?? [];
      put(box,
        list.map((t, i) => h('fieldset', { class: 'treatment' }, h('legend', {}, `Treatment ${i + 1}`),
          h('div', { class: 'row' }, ['what', 'who', 'note'].map((name) => field({ what: 'What', who: 'By whom', note: 'Note' }[name], h('input', {
            id: `treatment-${i}-${name}`, value: t[name], oninput: (e) => {
              const copy = structuredClone(this.parts.treatment);
              copy[i][name] = e.target.value;
              change(copy);
            },
          })))),
          button('Remove', () => {
            change((this.parts.treatment ?? []).filter((_, k) => k !== i));
            refill();
          }, { 'aria-label': `Remove treatment ${i + 1}` }))),
        button('Add a treatment', () => {
          change([...(this.parts.treatment ?? []), { what: '', who: '', note: '' }]);
          refill();
          document.getElementById(`treatment-${this.parts.treatment.length - 1}-what`).focus();
        }, { id: 'add-treatment' }),
        h('p', { class: 'hint' }, 'Who may treat animals, and what is allowed before competition, is set by local law and the rules of the sport.'));
    };
    refill();
    return box;
  }

  askConflict(names) {
    return new Promise((resolve) => {
      const dialog = h('dialog', { 'aria-labelledby': 'conflict' }, h('h2', { id: 'conflict' }, 'Another window changed the same'),
        h('p', {}, `${names.map((n) => n.replace(/^(felt|moved|function):|\|1$/g, '').replaceAll('|', ', ')).join('; ')}. Which one holds?`),
        h('div', { class: 'actions' }, button('This window’s', () => dialog.close('mine'), { class: 'primary' }), button('The other window’s', () => dialog.close('theirs'))));
      dialog.addEventListener('close', () => {
        dialog.remove();
        resolve(dialog.returnValue !== 'theirs');
      });
      document.body.append(dialog);
      dialog.showModal();
    });
  }
}

