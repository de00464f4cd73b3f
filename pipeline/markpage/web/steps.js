// The steps of marking a clip: what is asked for in each, and what comes next.

import { h, renew, button, field, choice, number } from './dom.js';
import { lengthField, numberField, inOwn, example } from './lengths.js';
import { facing } from './horse.js';
import { landmarksFor, extrasFor, landmarkNames, placeOf, sideOf, opposite, symbols, levelWords } from './words.js';
import { stands } from './plan.js';

const names = [['horse', '1 Clip'], ['marks', '2 Marks'], ['ground', '3 Ground'], ['finish', '4 Finish']];

/** Shows the tabs, the way on and the panel of the page's step. */
export function showStep(page) {
  renew(page.tabs, names.map(([key, text]) => button(text, () => (key === 'finish' ? page.finish() : page.setStep(key)), {
    id: `step-${key}`, 'aria-pressed': String(page.step === key), disabled: key !== 'horse' && !page.marks.view,
  })));
  onward(page);
  panels[page.step](page);
}

const panels = {
  look: (page) => renew(page.task, h('h2', {}, 'Which way does the horse go?'), h('p', { class: 'wait' }, 'Looking whether the picture agrees with the file’s name…')),
  horse: horsePanel,
  marks: marksPanel,
  ground: (page) => renew(page.task, page.ground.task()),
  finish: finishPanel,
};

/** What comes next: { id, text, act, ready }; ready says that it is time for it. */
export function nextThing(page) {
  if (page.step === 'look') return { id: 'choose', text: 'Choose by hand', act: () => page.decided(null), ready: false };
  if (page.step === 'horse') return { id: 'go-marks', text: 'Go on to the marks', act: () => page.setStep('marks'), ready: Boolean(page.marks.view), off: !page.marks.view };
  const nextClip = { id: 'next-clip', text: 'Next clip', act: () => page.nextClip(), ready: true };
  if (page.step === 'finish') return page.marks.pair() ? nextClip : { id: 'go-marks', text: 'Back to the marks', act: () => page.setStep('marks'), ready: true };
  if (page.step === 'ground') {
    return { id: 'go-finish', text: 'Finish', act: () => page.finish(), ready: !page.ground.incomplete() && !page.ground.unsaved() };
  }
  if (page.proposals.at(page.frame).size > 0) {
    const n = page.proposals.at(page.frame).size;
    return { id: 'confirm', text: n === 1 ? 'Confirm the proposed mark' : `Confirm the ${n} proposed marks`, act: () => page.confirm(), ready: true };
  }
  const proposed = page.proposals.next(page.frame);
  const stop = page.marks.stop(page.frame);
  if (stop && proposed !== null) return { id: 'next-frame', text: 'Next frame with proposed marks', act: () => page.goToProposed(proposed), ready: page.enoughHere() };
  const limb = page.marks.view === 'toward' ? 'fore' : 'hind';
  if (stop) return { id: 'next-frame', text: `Next frame: ${stop.side} ${limb} stands`, act: () => page.goToStop(stop), ready: page.enoughHere() };
  if (!page.marks.parts.calibration && !page.carried?.calibration) return { id: 'go-ground', text: 'Go on to the ground', act: () => page.setStep('ground'), ready: true };
  return nextClip;
}

/** What to do now and the way on, always in sight. */
export function onward(page) {
  const thing = nextThing(page);
  const { active } = page;
  const proposed = page.step === 'marks' ? page.proposals.at(page.frame).size : 0;
  const missing = page.step === 'ground' ? page.ground.missing() : null;
  const ask = proposed > 0 ? [h('strong', { class: 'ask proposed' }, '? Do the proposed marks sit right?')]
    : page.step === 'marks' ? [active && (page.marks.stop(page.frame) || !page.enoughHere())
      ? h('strong', { class: `ask ${sideOf(active)}` }, h('span', { 'aria-hidden': 'true' }, `${symbols[sideOf(active)]} `), `Click the ${landmarkNames[active]}`)
      : h('strong', { class: 'ask middle' }, page.marks.stop(page.frame) ? 'This frame is done' : 'Enough frames are marked')]
      : missing ? [h('strong', { class: 'ask middle' }, `Click the ${missing}`)] : [];
  renew(page.onward, ask, h('div', { class: 'actions' },
    button(thing.text, () => thing.act(), { id: thing.id, class: thing.ready ? 'primary' : '', disabled: Boolean(thing.off) }),
    proposed > 0 ? button('Throw away', () => page.throwAway(), { id: 'throw-away' }) : null,
    page.step === 'marks' && active && proposed === 0 ? button('Not visible', () => page.hide(), { id: 'hide' }) : null,
    button('Undo', () => page.undo(), { id: 'undo', disabled: !page.marks.canUndo }),
    button('Redo', () => page.redo(), { id: 'redo', disabled: !page.marks.canRedo })));
}

function horsePanel(page) {
  const set = (name) => (value) => page.change({ [name]: value });
  renew(page.task,
    h('h2', {}, 'How was the clip filmed?'),
    choice('The horse', 'view', [
      ['toward', 'comes toward the camera', facing('toward')],
      ['away', 'goes away from the camera', facing('away')],
    ], page.marks.view, set('view')),
    !page.marks.view && page.clip.guess.view ? h('p', { class: 'hint' }, `The file’s name says “${page.clip.guess.view}”. Look at the picture and choose.`) : null,
    choice('Gait', 'gait', [['trot', 'trot'], ['walk', 'walk'], ['pace', 'pace']], page.marks.parts.gait, set('gait')),
    lengthField('Height at the withers', {
      id: 'withers', value: page.marks.parts.withers_m, least: 0.5, most: 2.2, hands: true,
      placeholder: page.clip.guess.withers_m ? inOwn(page.clip.guess.withers_m) : example('1.6 m', '15.3 hands'),
      onchange: (m) => page.change({ withers_m: m === '' ? undefined : m }),
      hint: 'Only where it is known and differs from the horse’s own page.',
    }),
    h('details', { open: Boolean(page.marks.parts.filmed_fps) }, h('summary', {}, 'Slow motion'),
      numberField('Filmed at', {
        id: 'filmed-fps', value: page.marks.parts.filmed_fps, least: 5, most: 2000, unit: 'frames a second', placeholder: '240',
        onchange: (v) => page.change({ filmed_fps: v === '' ? undefined : v }),
        hint: `Only where the clip plays slower than the horse went. The file says ${Math.round(page.clip.rate)} frames a second; most phones say by themselves what they filmed at.`,
      })));
}

function marksPanel(page) {
  const { active, marks } = page;
  const { view } = marks;
  const asked = page.asked();
  const least = page.least(asked);
  const done = [...page.marks.in(page.frame).keys()];
  const side = active ? sideOf(active) : 'middle';
  const stop = page.marks.stop(page.frame);
  const limb = view === 'toward' ? 'fore' : 'hind';
  const proposed = page.proposals.at(page.frame);
  const warnings = page.marks.swapped(page.frame).map((pair) => h('div', { class: 'notice warn', role: 'alert' },
    h('p', {}, pair.leftFrame === pair.rightFrame
      ? `The ${landmarkNames[pair.left]} is marked where the horse’s right is. Were left and right confused? Limbs may really cross while one swings past the other.`
      : `The ${landmarkNames[pair.left]} in frame ${pair.leftFrame} lies on the other side of the ${landmarkNames[opposite(pair.left)]} in frame ${pair.rightFrame}. Were left and right confused? A horse that plaits really puts them so.`),
    button('Exchange left and right', () => page.swap(pair), { id: `swap-${pair.left}` })));
  renew(page.task,
    proposed.size > 0
      ? h('p', { id: 'proposed' }, `The program proposes ${[...proposed.keys()].map((l) => landmarkNames[l]).join(', ')} here. C confirms them, a drag moves one, X throws them away. Nothing proposed is measured before you confirm it.`)
      : active
        ? [active.endsWith('-fore') || active.endsWith('-hind')
          ? h('p', { id: 'stand' }, h('strong', {}, 'While it stands: '), 'step (◀ ▶ or the arrow keys) to a frame in which it stays on one spot of the ground, best in the middle of that time.') : null,
        h('p', {}, placeOf(view, active), side === 'middle' ? '' : ` The horse’s ${side} is on the ${(view === 'toward') === (side === 'left') ? 'right' : 'left'} of the picture.`)]
        : null,
    page.agreed ? h('p', { class: 'hint' }, `The horse ${view === 'toward' ? 'comes toward the camera' : 'goes away from the camera'}: the file’s name says so, and ${view === 'toward' ? 'it grows' : 'it shrinks'} in the picture. `, button('Change', () => page.setStep('horse'), { class: 'link', id: 'change-view' })) : null,
    h('p', { class: 'plan' }, 'Frames marked at several distances: ', ['left', 'right'].map((s, i) => [i > 0 ? ', ' : '', h('span', { class: `sign-text ${s}`, 'aria-hidden': 'true' }, symbols[s]),
      ` ${s} ${limb} standing ${Math.min(page.marks.standing(s).length, stands)} of ${stands}`]), '.'),
    page.proposals.status ? h('p', { class: 'hint', id: 'proposals' }, page.proposals.status) : null,
    groundLine(page),
    warnings,
    facing(view, { wanted: active, done, title: active ? `Where the ${landmarkNames[active]} sits` : 'Landmarks marked in this frame' }),
    h('div', { class: 'chips', role: 'group', 'aria-label': 'Landmarks' }, landmarksFor(view).map((l) => {
      const at = page.marks.at(page.frame, l);
      const place = asked.indexOf(l);
      const state = at === 'hidden' ? 'not visible' : at !== undefined ? 'marked' : place < 0 ? (extrasFor(view).includes(l) ? 'if you want' : 'if it stands') : place < least ? 'to do' : 'if visible';
      return button([h('span', { class: `sign-text ${sideOf(l)}`, 'aria-hidden': 'true' }, symbols[sideOf(l)]), ` ${landmarkNames[l]} `, h('small', {}, state)], () => {
        page.active = l;
        page.chosen = l;
        page.pointing.cross = Array.isArray(at) ? [...at] : null;
        page.refresh();
      }, { id: `chip-${l}`, class: at === undefined ? 'chip' : 'chip done', 'aria-pressed': String(l === active) });
    })),
    stop && page.marks.standing('left').length + page.marks.standing('right').length > 0 ? h('div', { class: 'actions' }, button('Enough: on to the ground', () => page.setStep('ground'), { id: 'go-ground' })) : null,
    nudgePad(page));
}

/** Says from where ground marks are taken over, or why not. */
function groundLine(page) {
  if (page.marks.parts.calibration || !page.carried) return null;
  const { from, moved_px: moved, reason } = page.carried;
  if (from) return h('p', { class: 'hint', id: 'carried' }, `Ground marks come from ${from}: the camera stands as it did there (the picture lies within ${number(moved, 1)} px).`);
  return page.clip.same.length > 0 ? h('p', { class: 'hint', id: 'carried' }, `Ground marks are to be clicked here: ${reason}.`) : null;
}

function nudgePad(page) {
  const landmark = page.active && page.marks.at(page.frame, page.active) !== undefined ? page.active : page.lastPlaced;
  if (!landmark || !Array.isArray(page.marks.at(page.frame, landmark))) return null;
  const step = 0.25;
  return h('div', { class: 'nudge', role: 'group', 'aria-label': `Move the ${landmarkNames[landmark]} by a quarter of a pixel` },
    h('p', {}, `Fine adjustment: ${landmarkNames[landmark]}`),
    button('←', () => page.nudge(-step, 0), { 'aria-label': 'left', id: 'nudge-left' }), button('↑', () => page.nudge(0, -step), { 'aria-label': 'up', id: 'nudge-up' }),
    button('↓', () => page.nudge(0, step), { 'aria-label': 'down', id: 'nudge-down' }), button('→', () => page.nudge(step, 0), { 'aria-label': 'right', id: 'nudge-right' }));
}

function finishPanel(page) {
  const frames = page.marks.frames();
  const seen = page.marks.seen();
  const level = page.ground.level();
  const remarks = [];
  const pair = page.marks.pair();
  if (!pair) remarks.push(['bad', 'Both hooves of a pair are needed: without them sides cannot be compared.']);
  else if (page.marks.stop(page.frame)) {
    remarks.push(['', `Frames with a standing hoof marked: ${page.marks.standing('left').length} on the left, ${page.marks.standing('right').length} on the right. ${stands} of each, at several distances, make tracking surer. Fewer will do; the second look shows where another one helps.`]);
  }
  if (level === 'none') remarks.push(['warn', 'Without ground marks only times and the rhythm of head and croup are measured, no lengths.']);
  if (!seen.has('withers') && page.marks.view === 'toward' && !seen.has('croup')) remarks.push(['warn', 'Without withers or croup the report cannot tell a forelimb pattern from a hindlimb one.']);
  renew(page.task,
    h('h2', {}, 'Finish'),
    h('dl', { class: 'facts' },
      h('dt', {}, 'Filmed'), h('dd', {}, `${page.marks.view === 'toward' ? 'coming toward' : 'going away from'} the camera, ${page.marks.parts.gait}`),
      h('dt', {}, 'Landmarks'), h('dd', {}, seen.size === 0 ? 'none' : landmarksFor(page.marks.view).filter((l) => seen.has(l)).map((l) => landmarkNames[l]).join(', ')),
      h('dt', {}, 'Frames marked'), h('dd', {}, frames.length === 0 ? 'none' : frames.join(', ')),
      h('dt', {}, 'Calibration'), h('dd', {}, levelWords[level], page.ground.saved() ? `, measured with ${page.ground.saved()}` : '')),
    remarks.map(([kind, text]) => h('p', { class: `notice ${kind}` }, text)),
    field('Note', h('textarea', { id: 'note', rows: 2, value: page.marks.parts.note ?? '', oninput: (e) => page.type('note', e.target.value.trim() || undefined) })),
    h('div', { class: 'actions' },
      page.clip.measures ? button('Measure now', () => page.measureNow(), { id: 'measure-now', disabled: !pair }) : null,
      h('a', { class: 'button', href: `#/check/${encodeURIComponent(page.clip.path)}` }, 'Film check'),
      h('a', { class: 'button', href: `#/visit/${encodeURIComponent(page.clip.group)}` }, 'Visit record'),
      h('a', { class: 'button', href: '#/' }, 'All clips')));
}
