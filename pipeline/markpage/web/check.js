// The film check of one clip.

import { h, put, button } from './dom.js';
import { get } from './api.js';

const words = { good: '✓ good', usable: '~ usable', 'film again': '✕ film again', 'not known': '? not known' };

/** Opens the film check. Returns a function that leaves it. */
export async function openCheck(main, path, { setCrumbs }) {
  const clip = await get('/api/clip', { clip: path });
  setCrumbs(clip);
  const abort = new AbortController();
  const body = h('div', { 'aria-live': 'polite' });
  put(main, h('h1', {}, `Film check of ${clip.name}`), body);
  const run = async () => {
    put(body, h('p', { class: 'wait' }, 'Looking through the clip…'));
    try {
      const report = await get('/api/check', { clip: path }, { signal: abort.signal });
      put(body,
        h('p', { class: `verdict ${report.verdict.replace(' ', '-')}` }, h('strong', {}, `${words[report.verdict].slice(0, 1)} ${report.sentence}`)),
        h('table', { class: 'checks' },
          h('thead', {}, h('tr', {}, h('th', { scope: 'col' }, 'What'), h('th', { scope: 'col' }, 'Verdict'), h('th', { scope: 'col' }, 'Found'), h('th', { scope: 'col' }, 'What to do'))),
          h('tbody', {}, report.items.map((i) => h('tr', {}, h('th', { scope: 'row' }, i.title), h('td', { class: i.verdict.replace(' ', '-') }, words[i.verdict]), h('td', {}, i.found), h('td', {}, i.advice ?? ''))))),
        h('p', { class: 'hint' }, `Looked at ${report.frames} pictures in ${report.took_s.toFixed(1)} s; the clip lasts ${report.duration_s.toFixed(1)} s.`),
        h('div', { class: 'actions' }, h('a', { class: 'button primary', href: `#/mark/${encodeURIComponent(path)}` }, 'Mark this clip'), button('Check again', run),
          h('a', { class: 'button', href: '/guide', target: '_blank', rel: 'noopener' }, 'Film guide to print')));
    } catch (error) {
      if (error.name !== 'AbortError') put(body, h('p', { class: 'notice bad', role: 'alert' }, error.message));
    }
  };
  run();
  return () => abort.abort();
}
