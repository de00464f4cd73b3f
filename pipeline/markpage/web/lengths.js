// Lengths as people type them: metric or in feet and inches, with a decimal point
// or a comma, and a horse's height in hands. What is kept is always metres.

import { h, wasGiven } from './dom.js';

const inch = 0.0254; // m, exactly (international yard and pound agreement, 1959).
const units = [
  { names: ['m', 'metre', 'metres', 'meter', 'meters'], m: 1 },
  { names: ['cm', 'centimetre', 'centimetres', 'centimeter', 'centimeters'], m: 0.01 },
  { names: ['mm', 'millimetre', 'millimetres', 'millimeter', 'millimeters'], m: 0.001 },
  { names: ['ft', 'foot', 'feet', '\''], m: 12 * inch },
  { names: ['in', 'ins', 'inch', 'inches', '"'], m: inch },
  { names: ['h', 'hh', 'hand', 'hands'], m: 4 * inch, hands: true },
];
const smaller = { 1: 0.01, [12 * inch]: inch, [4 * inch]: inch }; // The unit that follows one in "8 ft 2" and "2 m 50".

const vulgar = { '½': ' 1/2', '¼': ' 1/4', '¾': ' 3/4', '⅛': ' 1/8', '⅜': ' 3/8', '⅝': ' 5/8', '⅞': ' 7/8' };
const manner = 'Write it as 2.5, 2,5 m, 250 cm, 8 ft 2 in or 98 in.';

function plain(text) {
  return text.toLowerCase()
    .replace(/[½¼¾⅛⅜⅝⅞]/g, (c) => vulgar[c])
    .replace(/[’‘′´`]/g, '\'').replace(/''|[“”″]/g, '"')
    .replace(/\./g, (c, at, all) => (/[a-z]/.test(all[at - 1] ?? '') ? '' : c)) // "ft." and "in."
    .replace(/[\s ]+/g, ' ').trim();
}

/** Reads a number with a point or a comma, or with a fraction behind it. NaN where it is none. */
function amount(text) {
  const whole = /^(\d+)?(?:[.,](\d+))?$/.exec(text);
  if (whole && text !== '') return Number(`${whole[1] ?? '0'}.${whole[2] ?? '0'}`);
  const broken = /^(?:(\d+) )?(\d+)\/(\d+)$/.exec(text);
  if (broken && Number(broken[3]) > 0 && Number(broken[2]) < Number(broken[3])) return Number(broken[1] ?? 0) + Number(broken[2]) / Number(broken[3]);
  return NaN;
}

/**
 * Reads a length. Returns { m } in metres, or { problem } with what to do in
 * words. A number without a unit is metres. "15.2 hands" is 15 hands and 2
 * inches, as the trade writes it.
 */
export function parseLength(text) {
  const given = plain(text);
  if (given === '') return { problem: manner };
  if (/^[-−–]/.test(given)) return { problem: 'Write it without the minus.' };
  const parts = [...given.matchAll(/([\d.,/ ]+)([a-z'"]*)/g)];
  if (parts.length === 0 || parts.map((p) => p[0]).join('') !== given) return { problem: manner };
  let m = 0;
  let before = null;
  for (const [, number, name] of parts) {
    const n = amount(number.trim());
    if (Number.isNaN(n)) {
      const mixed = /\d[.,]\d+[.,]/.test(number);
      return { problem: mixed ? `“${number.trim()}” can be read in two ways: write it without a mark for thousands.` : manner };
    }
    const unit = units.find((u) => u.names.includes(name));
    if (!unit && name !== '') return { problem: `“${name}” is no unit that is known here. ${manner}` };
    let size = unit?.m;
    if (!unit) size = before === null ? 1 : smaller[before];
    if (size === undefined || (before !== null && size !== smaller[before])) return { problem: manner };
    // What follows feet is less than a foot; "2 m 5" could be 2.05 or 2.5.
    if (before !== null && n * size >= before - 1e-9) return { problem: `${number.trim()} is too much to stand behind ${before === 1 ? 'metres' : before === 4 * inch ? 'hands' : 'feet'}.` };
    if (before === 1 && !unit && !/^\d\d$/.test(number.trim())) return { problem: 'Write the centimetres with two digits, or with cm: 2 m 05, or 2 m 5 cm.' };
    if (unit?.hands) {
      const inches = /^(\d+)[.,](\d)$/.exec(number.trim());
      if (inches && Number(inches[2]) > 3) return { problem: 'A hand has four inches: behind the point of hands stands 0, 1, 2 or 3.' };
      if (!inches && !Number.isInteger(n)) return { problem: 'Write hands as 15.2, which is 15 hands and 2 inches.' };
      m += inches ? Number(inches[1]) * 4 * inch + Number(inches[2]) * inch : n * size;
    } else {
      m += n * size;
    }
    before = size;
  }
  return m > 0 ? { m: Math.round(m * 1e5) / 1e5 } : { problem: 'Write more than 0.' };
}

const trimmed = (v, decimals) => String(Number(v.toFixed(decimals)));

/** Writes metres as metres, "2.5 m". */
export const inMetres = (m) => `${trimmed(m, 3)} m`;

/** Writes metres in feet and inches, to a tenth of an inch: "8 ft 2.4 in". */
export function inFeet(m) {
  const tenths = Math.round((m / inch) * 10);
  const feet = Math.floor(tenths / 120);
  return [feet > 0 ? `${feet} ft` : '', tenths % 120 > 0 || feet === 0 ? `${trimmed((tenths % 120) / 10, 1)} in` : ''].filter(Boolean).join(' ');
}

/** Writes metres in hands and inches, "15.2 hands", to the nearest inch. */
export function inHands(m) {
  const inches = Math.round(m / inch);
  return `${Math.floor(inches / 4)}.${inches % 4} hands`;
}

let feetFirst = false;

/** Says how the yard reads lengths: "cm", or "in" for feet and inches. */
export function readIn(system) { feetFirst = system === 'in'; }

/** Writes a length as the yard reads it. */
export const inOwn = (m) => (feetFirst ? inFeet(m) : inMetres(m));

/** An example of a length, written in both systems, the yard's first. */
export const example = (metric, feet) => (feetFirst ? `${feet} or ${metric}` : `${metric} or ${feet}`);

/** Writes a length in both systems, the yard's first, for a person to see how it was read. */
export const inBoth = (m, hands = false) => `${inOwn(m)} = ${feetFirst ? inMetres(m) : inFeet(m)}${hands ? ` = ${inHands(m)}` : ''}`;

/** Reads a plain number, with a point or a comma. Returns { value } or { problem }. */
export function parseNumber(text) {
  const value = amount(plain(text));
  return Number.isNaN(value) ? { problem: 'Write it as a number, such as 42.5 or 42,5.' } : { value };
}

/**
 * A labelled field whose text is read while it is typed and counts when the
 * person leaves it or presses Enter. read(text) gives { value, shown } or
 * { problem }. What can't be taken over stays to be mended, and why beside it.
 */
function typedField(label, { id, text, placeholder, hint, onchange, read }) {
  const readId = `${id}-read`;
  const tell = (input, output, last) => {
    const got = input.value.trim() === '' ? { value: '' } : read(input.value);
    const wrong = Boolean(got.problem) && last;
    input.setCustomValidity(got.problem ?? '');
    if (wrong) input.setAttribute('aria-invalid', 'true');
    else input.removeAttribute('aria-invalid');
    output.classList.toggle('wrong', wrong);
    output.value = got.problem ? (last ? `Not taken over. ${got.problem}` : '…') : got.shown ?? '';
    return got;
  };
  // The elements that are on the page, which may be older than these; see renew.
  const told = (e, last) => tell(e.currentTarget, e.currentTarget.parentElement.querySelector('output'), last);
  const output = h('output', { id: readId, class: 'read', for: id });
  const input = h('input', {
    id, type: 'text', autocomplete: 'off', autocapitalize: 'off', spellcheck: 'false', 'aria-describedby': readId, placeholder, value: text,
    oninput: (e) => told(e, false),
    onchange: (e) => {
      const got = told(e, true);
      if (!got.problem) onchange(got.value);
    },
  });
  tell(input, output, false);
  const box = h('div', { class: 'field' }, h('label', { for: id }, label), input, output, hint ? h('small', { class: 'hint' }, hint) : null);
  box.keeps = (fresh) => input.matches('[aria-invalid]') && wasGiven(input) === wasGiven(fresh.querySelector('input'));
  return box;
}

/** Writes a length as the yard reads it where that keeps it to the millimetre, else in metres. */
const shownExactly = (m) => (feetFirst && Math.abs(parseLength(inFeet(m)).m - m) < 5e-4 ? inFeet(m) : inMetres(m));

/**
 * Returns a labelled field for a length between least and most, metres. It shows
 * how what is typed is read, in both systems; onchange gets metres, or '' for an
 * emptied field. What can't be read is told and does not count. hands adds the
 * height in hands.
 */
export function lengthField(label, { id, value = '', least, most, hands = false, placeholder, onchange, hint }) {
  const read = (text) => {
    const got = parseLength(text);
    if (got.problem) return got;
    if (got.m >= least && got.m <= most) return { value: got.m, shown: inBoth(got.m, hands) };
    const bare = /[a-z'"’”]/i.test(text) ? NaN : parseLength(`${text} cm`).m;
    const meant = bare >= least && bare <= most ? ` If centimetres are meant, write ${text.trim()} cm.` : '';
    return { problem: `${inBoth(got.m)} cannot be here: allowed are ${inOwn(least)} to ${inOwn(most)}.${meant}` };
  };
  return typedField(label, { id, text: value === '' ? '' : shownExactly(value), placeholder, hint, onchange, read });
}

/** Returns a labelled field for a number between least and most; see lengthField. */
export function numberField(label, { id, value = '', least, most, unit, placeholder, onchange, hint }) {
  const read = (text) => {
    const got = parseNumber(text);
    if (got.problem) return got;
    if (got.value >= least && got.value <= most) return { value: got.value, shown: `${got.value} ${unit}`.trim() };
    return { problem: `${`${got.value} ${unit}`.trim()} cannot be here: allowed are ${least} to ${most}.` };
  };
  return typedField(label, { id, text: value === '' ? '' : String(value), placeholder, hint, onchange, read });
}
