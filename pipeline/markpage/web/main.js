// The page's frame: which view is shown, and where one is.

import { h, put, button } from './dom.js';
import { openList } from './list.js';
import { openMark } from './mark.js';
import { openLook } from './look.js';
import { openCheck } from './check.js';
import { openVisit } from './visit.js';
import { openHelp } from './help.js';
import { openNext } from './next.js';
import { openPhones } from './phones.js';

const main = document.getElementById('main');
const crumbs = document.getElementById('crumbs');
const saved = document.getElementById('saved');

let leave = null;
let turn = 0;

function show(state, text) {
  saved.className = state;
  saved.textContent = text;
}

function setCrumbs(clip, here) {
  document.title = here ?? clip?.name ?? 'jogstrip';
  const path = clip && encodeURIComponent(clip.path);
  put(crumbs,
    h('a', { href: '#/' }, 'All clips'),
    clip ? [
      h('span', { 'aria-hidden': 'true' }, ' › '),
      h('span', { class: 'here' }, clip.horse ? `${clip.horse}, ${clip.visit}, ${clip.name}` : clip.name),
      h('span', { class: 'ways' },
        h('a', { href: `#/mark/${path}` }, 'Mark'),
        clip.measures ? h('a', { href: `#/look/${path}` }, 'Second look') : null,
        h('a', { href: `#/check/${path}` }, 'Film check'),
        h('a', { href: `#/visit/${encodeURIComponent(clip.group)}` }, 'Visit'),
        nextLink(clip.path)),
    ] : here ? [h('span', { 'aria-hidden': 'true' }, ' › '), h('span', { class: 'here' }, here), h('span', { class: 'ways' }, nextLink(''))] : h('span', { class: 'ways' }, h('a', { href: '#/phones' }, 'Handlers’ phones')));
  for (const a of crumbs.querySelectorAll('a')) if (a.getAttribute('href') === location.hash.split('?')[0]) a.setAttribute('aria-current', 'page');
}

/** The way to the next clip that needs marks, from wherever one is. */
const nextLink = (path) => h('button', { type: 'button', class: 'link', id: 'crumb-next', title: 'The next clip that needs marks', onclick: () => openNext(path) }, 'Next clip ›');

const views = { mark: openMark, look: openLook, check: openCheck, visit: openVisit, help: openHelp, phones: openPhones };

/** Opens the view anew, where its focus and its place on the page are kept. */
async function reopen() {
  const held = document.activeElement;
  const key = held?.id ? `#${CSS.escape(held.id)}` : held?.getAttribute('href') ? `main a[href="${CSS.escape(held.getAttribute('href'))}"]` : null;
  const top = window.scrollY;
  await route(true);
  window.scrollTo({ top, behavior: 'instant' });
  if (key) document.querySelector(key)?.focus({ preventScroll: true });
}

async function route(quietly) {
  turn += 1;
  const mine = turn;
  leave?.();
  leave = null;
  show('', '');
  const [where, query] = location.hash.replace(/^#\/?/, '').split('?');
  const [name, ...rest] = where.split('/');
  const open = views[name] ?? openList;
  const asked = new URLSearchParams(query);
  const options = {
    show, setCrumbs, reopen,
    frame: asked.has('frame') ? Number(asked.get('frame')) : undefined,
    landmark: asked.get('landmark') ?? undefined,
  };
  if (quietly !== true) put(main, h('p', { class: 'wait' }, 'Loading…'));
  const page = h('div', { class: 'page' });
  try {
    if (open === openList) setCrumbs(null);
    const left = await open(page, decodeURIComponent(rest.join('/')), options);
    if (mine !== turn) {
      left?.();
      return;
    }
    leave = left;
    put(main, page);
  } catch (error) {
    if (mine !== turn) return;
    put(main, error.answer?.unreadable ? unreadable(decodeURIComponent(rest.join('/')), error)
      : h('div', { class: 'notice bad', role: 'alert' }, h('p', {}, error.message), h('p', {}, h('a', { href: '#/' }, 'All clips'))));
  }
  main.focus({ preventScroll: true });
  window.scrollTo(0, 0);
}

/** What to do about a clip that cannot be read. */
function unreadable(path, error) {
  setCrumbs(null, path.split('/').at(-1));
  return h('div', { class: 'card', role: 'alert' },
    h('h1', {}, path.split('/').at(-1)), h('p', {}, error.message),
    h('p', {}, 'The file is left where it is. It holds up nothing: the other clips are marked and measured without it.'),
    h('div', { class: 'actions' }, button('Next clip', () => openNext(path), { class: 'primary', id: 'next-clip' }), h('a', { class: 'button', href: '#/' }, 'All clips')),
    h('details', {}, h('summary', {}, 'What reading it said'), h('p', { class: 'facts' }, error.answer.detail)));
}

window.addEventListener('hashchange', route);
route();
