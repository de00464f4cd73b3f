// The keys of the marking page.

import { arrows } from './pointing.js';

export const keyHelp = [
  ['← and →', 'one frame back, one forward (with Shift: ten); , and . do the same'],
  ['Space', 'play and stop'],
  ['S', 'slow motion on and off'],
  ['[ and ]', 'previous and next marked frame'],
  ['G', 'go on: next frame to mark, then the ground, then the next clip'],
  ['C', 'confirm the proposed marks of this frame'],
  ['X', 'throw the proposed marks of this frame away'],
  ['N', 'the landmark is not visible in this frame'],
  ['Delete', 'remove the mark of this landmark in this frame'],
  ['U', 'undo; with Shift: redo'],
  ['Z', 'zoom to the horse'],
  ['+, - and 0', 'zoom in, zoom out, whole picture'],
  ['Enter', 'on the picture: take the cross with the keys; the arrow keys then move it by 1 px (Shift: 10 px, Alt: 0.1 px), Enter places the mark, Esc lets go'],
];

/** Does what a key asks for on a marking page. */
export function pressed(page, e) {
  const on = e.target;
  const typing = on.matches('input:not([type=range]):not([type=radio]), textarea, select') || on.closest('dialog');
  if (typing) return;
  if (e.ctrlKey || e.metaKey) {
    const act = { z: () => (e.shiftKey ? page.redo() : page.undo()), y: () => page.redo() }[e.key.toLowerCase()];
    if (act) {
      e.preventDefault();
      act();
    }
    return;
  }
  if (page.pointing.key(e)) {
    e.preventDefault();
    return;
  }
  if (e.altKey) return;
  // Sliders and groups of choices have uses of their own for these.
  if (arrows[e.key] && on.matches('input')) return;
  if (e.key === ' ' && on.matches('button, a, summary, input')) return;
  const frames = page.marks.frames();
  const by = (n) => () => (e.repeat ? page.film.run(n) : page.goTo(page.frame + n));
  const ten = e.shiftKey ? 10 : 1;
  const actions = {
    ArrowLeft: by(-ten), ArrowRight: by(ten), ',': by(-1), '.': by(1), '<': by(-10), '>': by(10),
    '[': () => page.goTo(frames.filter((f) => f < page.frame).at(-1) ?? page.frame),
    ']': () => page.goTo(frames.find((f) => f > page.frame) ?? page.frame),
    ' ': () => page.film.toggle(), s: () => page.slow(), c: () => page.confirm(), x: () => page.throwAway(),
    n: () => page.hide(), g: () => page.goOn(), u: () => (e.shiftKey ? page.redo() : page.undo()), Delete: () => page.remove(), Backspace: () => page.remove(),
    z: () => page.zoomToHorse(), Escape: () => page.pointing.letGo(),
    '+': () => page.stage.zoomBy(2, ...(page.pointing.cross ?? [])), '=': () => page.stage.zoomBy(2, ...(page.pointing.cross ?? [])),
    '-': () => page.stage.zoomBy(0.5, ...(page.pointing.cross ?? [])), 0: () => page.stage.fit(),
  };
  const stepping = /^(Arrow(Left|Right)|[,.<>])$/.test(e.key);
  const act = actions[e.key] ?? actions[e.key.toLowerCase()];
  if (act && (stepping || !e.repeat || '+-='.includes(e.key))) {
    e.preventDefault();
    if (stepping) page.pointing.letGo();
    act();
  }
}
