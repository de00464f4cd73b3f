// The record of one visit: why, what was felt, what was done, how the horse does.

import { h, put, button, field, choice } from './dom.js';
import { get } from './api.js';
import { Saver } from './saver.js';
import { silhouette } from './horse.js';
import { symbols } from './words.js';

const texts = ['reason', 'surface', 'shoeing', 'presented', 'followed', 'graded_by', 'next_check', 'notes'];

/** Turns a visit into the parts that are saved and merged one by one. */
export function partsOf(visit) {
  const parts = {};
  for (const name of texts) if (visit[name]) parts[name] = visit[name];
  for (const name of ['barn', 'field', 'work']) if (visit.function[name]) parts[`function:${name}`] = visit.function[name];
  if (visit.aaep_grade !== null) parts.aaep_grade = visit.aaep_grade;
  const seen = {};
  for (const p of visit.palpation) {
    const key = `${p.region}|${p.side}`;
    seen[key] = (seen[key] ?? 0) + 1;
    parts[`felt:${key}|${seen[key]}`] = { soreness: p.soreness, pressure: p.pressure, pressure_unit: p.pressure_unit, note: p.note };
  }
  if (visit.treatment.length > 0) parts.treatment = visit.treatment;
  return parts;
}

/** Turns parts back into a visit. */
export function packVisit(parts) {
  const visit = { function: {}, palpation: [], treatment: parts.treatment ?? [], aaep_grade: parts.aaep_grade ?? null };
  for (const name of texts) visit[name] = parts[name] ?? '';
  for (const name of ['barn', 'field', 'work']) visit.function[name] = parts[`function:${name}`] ?? '';
  for (const [name, value] of Object.entries(parts)) {
    if (!name.startsWith('felt:')) continue;
    const [region, side] = name.slice(5).split('|');
    visit.palpation.push({ region, side, ...value });
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
        this.build();
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
    this.drawings = h('div', { class: 'both-sides' });
    put(this.main,
      h('h1', {}, answer.horse ? `${answer.horse}: visit of ${answer.date}` : 'Visit record'),
      h('p', { class: 'hint' }, `Saved to ${answer.path} as you type; the file can be edited by hand as well, comments and further keys stay.`),
      h('section', { class: 'card', 'aria-labelledby': 'v-horse' }, h('h2', { id: 'v-horse' }, 'Why and how'),
        this.text('reason', 'Reason for the visit', { rows: 2 }),
        h('div', { class: 'row' },
          this.text('surface', 'Surface', { list: 'surfaces' }, 'The same word every time: visits on other surfaces are not compared.'),
          h('datalist', { id: 'surfaces' }, ['concrete', 'asphalt', 'firm sand', 'deep sand', 'grass', 'rubber'].map((s) => h('option', { value: s }))),
          this.text('shoeing', 'Shoeing', {}, 'Shod or barefoot, when last, anything special.')),
        choice('Presented', 'presented', [['led', 'led'], ['ridden', 'ridden']], this.parts.presented ?? 'led', (v) => this.set('presented', v)),
        field('Followed measure', h('select', { id: 'visit-followed', onchange: (e) => this.set('followed', e.target.value) },
          h('option', { value: '' }, 'the asymmetry score'), answer.measures.map((m) => h('option', { value: m.name, selected: m.name === this.parts.followed }, m.title))),
        'The one measure declared beforehand to judge the treatment by. Choose it before you measure.')),
      h('section', { class: 'card', 'aria-labelledby': 'v-felt' }, h('h2', { id: 'v-felt' }, 'Palpation'),
        h('div', { class: 'notice warn' }, h('p', {}, answer.caution)),
        h('details', {}, h('summary', {}, 'What the grades mean'), h('dl', { class: 'grades' }, answer.grades.map((g, i) => [h('dt', {}, `${i} — ${g.name}`), h('dd', {}, g.meaning)])),
          h('p', { class: 'hint' }, 'Common practice, not a published scale. Feel both sides alike, the sore side last. Pressure: where the horse first reacts, with an algometer; note the tip and use the same one every time.')),
        this.drawings,
        this.feltTable()),
      h('section', { class: 'card', 'aria-labelledby': 'v-done' }, h('h2', { id: 'v-done' }, 'Treatment given'), this.treatments()),
      h('section', { class: 'card', 'aria-labelledby': 'v-function' }, h('h2', { id: 'v-function' }, 'Function'),
        h('p', { class: 'hint' }, 'How the horse does where it lives and works, as told or seen.'),
        this.text('function:barn', 'In the barn', { rows: 2 }), this.text('function:field', 'In the field', { rows: 2 }), this.text('function:work', 'At work', { rows: 2 })),
      h('section', { class: 'card', 'aria-labelledby': 'v-vet' }, h('h2', { id: 'v-vet' }, 'A veterinarian’s grade'),
        h('p', { class: 'hint' }, 'Only where a veterinarian gave one. It is entered here, never derived from measures.'),
        h('div', { class: 'row' },
          field('AAEP grade', h('select', { id: 'visit-aaep', onchange: (e) => this.set('aaep_grade', e.target.value === '' ? '' : Number(e.target.value)) },
            h('option', { value: '' }, 'none given'), [0, 1, 2, 3, 4, 5].map((g) => h('option', { value: g, selected: g === this.parts.aaep_grade }, String(g))))),
          this.text('graded_by', 'Given by'))),
      h('section', { class: 'card', 'aria-labelledby': 'v-next' }, h('h2', { id: 'v-next' }, 'Next check'),
        this.text('next_check', 'Date', { type: 'date' }), this.text('notes', 'Notes', { rows: 3 })));
    this.draw();
    if (kept) window.scrollTo(0, kept);
  }

  keyOf(region, side, n = 1) { return `felt:${region}|${side}|${n}`; }

  draw() {
    put(this.drawings, ['left', 'right'].map((side) => silhouette(side, (region) => this.parts[this.keyOf(region, side)]?.soreness, (region) => {
      const cell = document.getElementById(this.cellId(region, side));
      cell?.focus();
      cell?.scrollIntoView({ block: 'center' });
    })));
  }

  cellId(region, side, n = 1) { return `felt-${region}-${side || 'middle'}-${n}`.replace(/[^a-z0-9-]+/gi, '_'); }

  feltTable() {
    const known = new Set(this.answer.regions.flatMap((g) => g.regions));
    const others = Object.keys(this.parts).filter((k) => k.startsWith('felt:')).map((k) => k.slice(5).split('|')).filter(([region, side, n]) => !known.has(region) || side === '' || n !== '1');
    const heads = h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, 'Region'), ['left', 'right'].map((s) => h('th', { scope: 'col' }, h('span', { class: `sign-text ${s}`, 'aria-hidden': 'true' }, symbols[s]), ` horse’s ${s}`))));
    return h('div', { class: 'scroll', tabindex: '0', role: 'region', 'aria-label': 'Palpation by region' }, h('table', { class: 'felt' }, heads,
      this.answer.regions.map((g) => h('tbody', {}, h('tr', {}, h('th', { colspan: 3, scope: 'rowgroup', class: 'part' }, g.part)),
        g.regions.map((region) => h('tr', {}, h('th', { scope: 'row' }, region), ['left', 'right'].map((side) => this.feltCell(region, side)))))),
      others.length > 0 ? h('tbody', {}, h('tr', {}, h('th', { colspan: 3, scope: 'rowgroup', class: 'part' }, 'Other entries of the file')),
        others.map(([region, side, n]) => h('tr', {}, h('th', { scope: 'row' }, `${region}${side ? `, ${side}` : ', middle'}${n !== '1' ? `, entry ${n}` : ''}`), this.feltCell(region, side, Number(n), 2)))) : null));
  }

  feltCell(region, side, n = 1, columns = 1) {
    const cell = h('td', { colspan: columns > 1 ? columns : undefined });
    const key = this.keyOf(region, side, n);
    const words = `${region}, ${side || 'middle'}`;
    const change = (changes) => {
      const now = this.parts[key] ?? { soreness: 0, pressure: 0, pressure_unit: '', note: '' };
      this.set(key, { ...now, ...changes });
    };
    const refill = () => {
      const felt = this.parts[key];
      const select = h('select', {
        id: this.cellId(region, side, n), 'aria-label': `Soreness, ${words}`, class: felt ? `grade grade-${felt.soreness}` : 'grade',
        onchange: (e) => {
          if (e.target.value === '') this.set(key, undefined);
          else change({ soreness: Number(e.target.value) });
          refill();
          this.draw();
          document.getElementById(this.cellId(region, side, n)).focus();
        },
      }, h('option', { value: '' }, 'not felt'), this.answer.grades.map((g, i) => h('option', { value: i, selected: felt?.soreness === i }, `${i} ${g.name}`)));
      put(cell, select, felt ? h('details', { open: true }, h('summary', {}, 'More', h('span', { class: 'unseen' }, ` about ${words}`)),
        h('div', { class: 'row' },
          h('input', { type: 'number', min: 0, max: 1000, step: 'any', 'aria-label': `Algometer reading, ${words}`, placeholder: 'reading', value: felt.pressure || '', onchange: (e) => {
            if (!e.target.validity.valid) return;
            const pressure = Number(e.target.value);
            change({ pressure, pressure_unit: pressure > 0 ? (this.parts[key].pressure_unit || 'N') : '' });
          } }),
          h('select', { 'aria-label': `Unit of the reading, ${words}`, onchange: (e) => { if (this.parts[key].pressure > 0) change({ pressure_unit: e.target.value }); } },
            [['N', 'N'], ['kg/cm2', 'kg/cm²']].map(([v, t]) => h('option', { value: v, selected: felt.pressure_unit === v }, t)))),
        h('input', { 'aria-label': `Note, ${words}`, 'data-note': key.slice(5), placeholder: 'note', value: felt.note, oninput: (e) => change({ note: e.target.value }) })) : null);
    };
    refill();
    return cell;
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
        h('p', {}, `${names.map((n) => n.replace(/^felt:|\|1$/g, '').replace('|', ', ')).join('; ')}. Which one holds?`),
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

