// Saves the marks of a page as they change; see Saver.

import { h, button } from './dom.js';
import { landmarkNames } from './words.js';
import { Saver } from './saver.js';
import { partsOf, packMarks } from './marks.js';

/** Returns the saver of a clip's marks; adopt takes what another window has saved. */
export function marksSaver(clip, { marks, show, adopt }) {
  const saver = new Saver({
    kind: 'marks', id: clip.path, path: '/api/marks', query: { clip: clip.path }, version: clip.version, base: structuredClone(marks.parts), show,
    pack: (parts) => packMarks(parts, { ...clip, version: saver.version }),
    unpack: (answer) => partsOf(answer.marks),
    adopt,
    ask: askConflict,
  });
  return saver;
}

/** Asks which values to keep where two windows changed the same. */
function askConflict(names) {
  return new Promise((resolve) => {
    const words = names.map((n) => {
      const [, frame, landmark] = n.split(':');
      return landmark ? `${landmarkNames[landmark]} in frame ${frame}` : n;
    });
    const dialog = h('dialog', { 'aria-labelledby': 'conflict' },
      h('h2', { id: 'conflict' }, 'Another window changed the same'),
      h('p', {}, `${words.join(', ')}. Which one holds?`),
      h('div', { class: 'actions' },
        button('This window’s', () => dialog.close('mine'), { class: 'primary' }),
        button('The other window’s', () => dialog.close('theirs'))));
    dialog.addEventListener('close', () => {
      dialog.remove();
      resolve(dialog.returnValue !== 'theirs');
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}
