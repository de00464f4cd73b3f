// The clip list: what each clip still needs.

import { h, put, button } from './dom.js';
import { get, send, reportAddress } from './api.js';
import { unsent } from './saver.js';
import { needWords, levelWords } from './words.js';
import { watch } from './progress.js';

const phases = { waiting: 'waiting to be measured', running: 'being measured', done: 'measured', failed: 'measuring failed' };

/** Opens the list. Returns a function that leaves it. */
export async function openList(main, _path, { show, reopen }) {
  const { folder, clips, more, measures, looking } = await get('/api/clips');
  // What was said of a clip before its first mark is no work that could be lost.
  const records = unsent('visit', () => true);
  const waiting = unsent('marks', (parts) => Object.keys(parts).some((name) => name.startsWith('mark:') || name === 'calibration'));
  const groups = new Map();
  for (const c of clips) {
    if (!groups.has(c.group)) groups.set(c.group, []);
    groups.get(c.group).push(c);
  }
  // Visits that need a person come first, in the order of the work; then the latest.
  const asks = ([, list]) => list.some((c) => c.needs.includes('marks'));
  const order = [...groups].sort((a, b) => asks(b) - asks(a) || (asks(a) ? 0 : a[0] < b[0] ? 1 : -1));
  const lines = new Map();
  const first = clips.find((c) => c.needs.includes('marks'));
  const ready = () => clips.filter((c) => c.needs.includes('measuring'));
  const count = (need) => clips.filter((c) => c.needs.includes(need)).length;
  const measureAll = measures ? button('', async () => {
    for (const c of ready()) await send('POST', '/api/measure', { clip: c.path }); // eslint-disable-line no-await-in-loop
  }, { id: 'measure-all' }) : null;
  const summary = h('p', { id: 'summary' });
  const bar = h('progress', { max: 1, value: 0, 'aria-label': 'Clips marked' });
  const told = h('span', {});
  const night = h('div', { class: 'night' }, bar, told);
  const sum = () => {
    const n = ready().length;
    const readable = clips.filter((c) => !c.needs.includes('copy'));
    const marked = readable.filter((c) => !c.needs.includes('marks')).length;
    bar.max = Math.max(1, readable.length);
    bar.value = marked;
    night.hidden = readable.length === 0;
    put(told, marked === readable.length ? 'All clips are marked' : `${marked} of ${readable.length} clips marked`);
    const parts = [
      [count('marks'), (k) => `${k} ${k === 1 ? 'needs' : 'need'} marks`], [count('calibration'), (k) => `${k} ${k === 1 ? 'has' : 'have'} no ground marks`],
      [n, (k) => `${k} ${k === 1 ? 'is' : 'are'} ready to be measured`], [count('second look'), (k) => `${k} ${k === 1 ? 'wants' : 'want'} a second look`], [count('copy'), (k) => `${k} can’t be read`],
    ].filter(([k]) => k > 0).map(([k, words]) => words(k));
    summary.textContent = clips.length === 0 ? '' : `${clips.length} ${clips.length === 1 ? 'clip' : 'clips'}${parts.length > 0 ? `: ${parts.join(', ')}` : ': nothing is left to do here'}.`;
    if (!measureAll) return;
    measureAll.textContent = n === 0 ? 'No clip is ready to be measured' : n === 1 ? 'Measure the clip that is ready' : `Measure the ${n} clips that are ready`;
    measureAll.disabled = n === 0;
  };
  sum();
  const asked = h('div', { class: 'actions' },
    first ? h('a', { class: 'button primary', id: 'first', href: `#/mark/${encodeURIComponent(first.path)}` }, `Mark the next clip: ${first.name}`) : null,
    clips.length > 0 ? measureAll : null,
    h('a', { class: 'button', href: '#/help' }, 'How to mark'),
    h('a', { class: 'button', href: '/guide', target: '_blank', rel: 'noopener' }, 'Film guide to print'));
  put(main,
    h('h1', {}, `Clips in ${folder}`),
    night, summary,
    clips.length === 0 ? emptyList() : null,
    more ? h('p', { class: 'notice warn' }, 'There are more clips in this folder than the list shows. Open a folder inside it.') : null,
    records.length > 0 ? h('div', { class: 'notice warn' }, h('p', {}, 'This browser keeps parts of a visit’s record that were not saved because the program was away. Open the record to save them:'),
      h('ul', {}, records.map((p) => h('li', {}, h('a', { href: `#/visit/${encodeURIComponent(p)}` }, p))))) : null,
    waiting.length > 0 ? h('div', { class: 'notice warn' }, h('p', {}, 'This browser keeps marks that were not saved because the program was away. Open the clip to save them:'),
      h('ul', {}, waiting.map((p) => h('li', {}, h('a', { href: `#/mark/${encodeURIComponent(p)}` }, p))))) : null,
    asked,
    clips.some((c) => !c.horse) ? h('p', { class: 'hint', id: 'loose' },
      'Clips outside a visit’s folder are marked, recorded and measured where they lie. To follow a horse from visit to visit, keep the clips of each visit in a folder of its own: horses/NAME/YYYY-MM-DD.') : null,
    order.map(([group, list]) => {
      const id = `group-${list[0].path}`;
      const [c] = list;
      return h('section', { class: 'group', 'aria-labelledby': id },
        h('div', { class: 'grouphead' },
          h('h2', { id }, c.horse ? `${c.horse}, visit of ${c.visit}` : group === '.' ? folder : group),
          h('a', { class: 'button', href: `#/visit/${encodeURIComponent(group)}`, 'aria-label': `Visit record of ${c.horse ? `${c.horse}, ${c.visit}` : group}` }, 'Visit record')),
        h('ul', { class: 'clips' }, list.map((k) => {
          const line = h('li', { class: 'clip' });
          lines.set(k.path, line);
          return fillLine(line, k, measures, null);
        })));
    }));
  show('', '');
  const phase = new Map();
  let open = true;
  let again = 0;
  // Clips that are still being looked into may turn out to be unreadable, and others
  // come and go: phones send them, somebody copies them.
  const names = (list) => list.map((c) => c.path).join('\n');
  const lookAgain = (soon) => {
    again = setTimeout(async () => {
      let busy = false;
      try {
        const fresh = await get('/api/clips');
        if (!open) return;
        if (names(fresh.clips) !== names(clips)) {
          reopen();
          return;
        }
        for (const c of clips) {
          const now = fresh.clips.find((k) => k.path === c.path);
          if (!now || JSON.stringify(now.needs) === JSON.stringify(c.needs)) continue;
          Object.assign(c, now);
          fillLine(lines.get(c.path), c, measures, null);
        }
        sum();
        busy = fresh.looking;
      } catch {
        // The list is loaded anew when the program is back.
      }
      if (open) lookAgain(busy);
    }, soon ? 2000 : 5000);
  };
  lookAgain(looking);
  const stop = measures ? watch(async (jobs) => {
    const ended = jobs.some((j) => j.phase === 'done' && ['waiting', 'running'].includes(phase.get(j.clip)));
    for (const j of jobs) phase.set(j.clip, j.phase);
    const fill = (now) => {
      for (const j of jobs) {
        const c = now.find((k) => k.path === j.clip);
        if (c && lines.has(j.clip)) fillLine(lines.get(j.clip), c, measures, j);
      }
    };
    fill(clips);
    if (!ended) return;
    // What was measured has a report now, and perhaps wants a second look.
    try {
      const fresh = await get('/api/clips');
      for (const c of clips) Object.assign(c, fresh.clips.find((k) => k.path === c.path));
      if (!open) return;
      fill(clips);
      sum();
    } catch {
      // The list is loaded anew when the program is back.
    }
  }) : null;
  return () => {
    open = false;
    clearTimeout(again);
    stop?.();
  };
}

/** What to do where there is nothing yet. */
function emptyList() {
  return h('div', { class: 'card empty' },
    h('h2', {}, 'No clips yet'),
    h('p', {}, 'Copy the phone’s video files into this folder and load this page again. To follow a horse from visit to visit, give each visit a folder of its own: horses/NAME/YYYY-MM-DD.'),
    h('p', {}, 'Not filmed yet? The film guide is one page to print and hand to whoever films.'));
}

function fillLine(line, c, measures, job) {
  const path = encodeURIComponent(c.path);
  const needs = job?.phase === 'done' ? c.needs.filter((n) => n !== 'measuring') : c.needs;
  const held = line.contains(document.activeElement) ? document.activeElement.textContent : null;
  put(line,
    h('a', { class: 'thumb', href: `#/mark/${path}`, tabindex: '-1', 'aria-hidden': 'true' },
      needs.includes('copy') ? h('span', { class: 'nothing' }, '?') : h('img', {
        src: `/picture?clip=${path}&size=thumb`, alt: '', loading: 'lazy', width: 160, height: 90,
        onerror: (e) => e.target.replaceWith(h('span', { class: 'nothing' }, '?')),
      })),
    h('div', { class: 'about' },
      h('h3', {}, c.name),
      h('p', { class: 'needs' }, needs.length === 0 ? h('span', { class: 'tag good' }, '✓ nothing needed') : needs.map((n) => h('span', { class: `tag need-${n.replace(' ', '-')}` }, n === 'copy' ? 'can’t be read' : `needs ${needWords[n]}`))),
      h('p', { class: 'facts' }, [
        needs.includes('copy') ? null : c.view ? `${c.view === 'toward' ? 'toward' : 'away'}, ${c.gait}` : 'not marked yet',
        c.marks > 0 ? `${c.marks} landmarks in ${c.frames} ${c.frames === 1 ? 'frame' : 'frames'}` : null,
        c.view ? `calibration: ${levelWords[c.calibration]}` : null,
      ].filter(Boolean).join(' · ')),
      c.state.second_look && (!job || job.phase === 'done') ? h('p', { class: 'facts' }, `Second look: ${c.state.second_look}`) : null,
      job ? h('p', { class: job.phase === 'failed' ? 'notice bad' : 'facts', role: 'status' }, `${phases[job.phase]}${job.phase === 'running' && job.progress.stage ? `: ${job.progress.stage}${job.progress.total > 0 ? ` ${Math.round((100 * job.progress.done) / job.progress.total)} %` : ''}` : ''}${job.error ? `: ${job.error}` : ''}`) : null,
      c.error ? h('p', { class: 'notice bad' }, c.error) : null),
    needs.includes('copy') ? h('div', { class: 'ways' }) : h('div', { class: 'ways' },
      h('a', { class: 'button', href: `#/mark/${path}`, 'aria-label': `Mark ${c.name}` }, 'Mark'),
      measures && (c.state.measured || job?.phase === 'done') ? h('a', { class: 'button', href: `#/look/${path}`, 'aria-label': `Second look at ${c.name}` }, 'Second look') : null,
      c.state.report ? h('a', { class: 'button', href: reportAddress(c.group, c.state.report), target: '_blank', rel: 'noopener', 'aria-label': `Report of ${c.name}` }, 'Report') : null,
      h('a', { class: 'button', href: `#/check/${path}`, 'aria-label': `Film check of ${c.name}` }, 'Film check')));
  if (held) [...line.querySelectorAll('a')].find((a) => a.textContent === held)?.focus();
  return line;
}
