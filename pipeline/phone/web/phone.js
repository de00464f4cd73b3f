// The handlers' page: sends clips in pieces, goes on after any interruption, and
// tells what the film check found.

const store = 'jogstrip-phone';
const $ = (id) => document.getElementById(id);
const wait = (ms) => new Promise((r) => { setTimeout(r, ms); });

function h(tag, attributes, ...children) {
  const e = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === undefined || value === false) continue;
    if (name.startsWith('on')) e.addEventListener(name.slice(2), value);
    else e.setAttribute(name, value === true ? '' : value);
  }
  e.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  return e;
}

function kept() {
  try {
    return { guideRead: false, horse: '', sends: [], ...JSON.parse(localStorage.getItem(store)) };
  } catch {
    return { guideRead: false, horse: '', sends: [] };
  }
}
const memory = kept();
function keep() {
  try {
    memory.sends = memory.sends.slice(-40);
    localStorage.setItem(store, JSON.stringify(memory));
  } catch {
    // Without a store the phone forgets what it sent; the computer does not.
  }
}

// CRC-32 (IEEE 802.3, reflected, as in zip and PNG).
const table = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c;
});
export function crc32(bytes) {
  let c = 0xffffffff;
  for (let i = 0; i < bytes.length; i += 1) c = table[(c ^ bytes[i]) & 255] ^ (c >>> 8);
  return (c ^ 0xffffffff) >>> 0;
}
const read = async (file, from, to) => new Uint8Array(await file.slice(from, to).arrayBuffer());

/** The computer refused for good, or the code was taken back. */
class Never extends Error {}
class ShutOut extends Error {}
/** The file can't be read any more: the phone cleared it away, or it was changed. */
class Unreadable extends Error {}

/**
 * Asks the computer until it answers. later(text) is told why it takes longer.
 * Returns { status, body } for 200 and 409.
 */
async function ask(method, path, body, later) {
  for (let pause = 1000; ; pause = Math.min(pause * 1.5, 8000)) {
    let response = null;
    try {
      response = await fetch(path, { method, body, credentials: 'same-origin', redirect: 'error' }); // eslint-disable-line no-await-in-loop
    } catch {
      later('No connection to the computer. It goes on by itself when it is back: stay in the yard’s network, and keep this page open.');
    }
    if (response) {
      const answer = await response.json().catch(() => null); // eslint-disable-line no-await-in-loop
      if ((response.status === 200 || response.status === 409) && answer) return { status: response.status, body: answer };
      if (response.status === 401) throw new ShutOut('The code was taken back. Scan the code on the computer again.');
      if ([400, 403, 404, 413, 421, 422].includes(response.status)) throw Object.assign(new Never(answer?.error ?? `the computer answered with ${response.status}`), { status: response.status });
      later(answer?.error ? `${answer.error}. It goes on by itself.` : 'The computer is busy. It goes on by itself.');
    }
    await wait(pause); // eslint-disable-line no-await-in-loop
  }
}

const sized = (n) => (n >= 1e9 ? `${(n / 1e9).toFixed(2)} GB` : n >= 1e6 ? `${Math.round(n / 1e6)} MB` : `${Math.max(1, Math.round(n / 1e3))} kB`);
const wayWords = { toward: 'toward the camera', away: 'away from the camera' };

let settings = { piece: 1 << 20, sample: 65536 };

/** One clip on the page. */
class Send {
  constructor(about, file) {
    Object.assign(this, { about, file });
    this.box = h('section', { class: 'sent', tabindex: '-1' });
    $('sends').prepend(this.box);
  }

  show(kind, ...content) {
    this.box.className = `sent ${kind}`;
    this.box.replaceChildren(h('h3', {}, `${this.about.horse}, ${wayWords[this.about.view]}`), h('p', { class: 'hint' }, `${this.about.name}, ${sized(this.about.size)}`), ...content.flat(Infinity).filter(Boolean));
  }

  showProgress(received, note) {
    const share = received / this.about.size;
    const text = note ?? (received === this.about.size ? 'Sent. The computer puts it in place…' : `${sized(received)} of ${sized(this.about.size)} sent`);
    if (this.bar?.isConnected && !note === !this.noted) {
      this.bar.value = share;
      this.text.textContent = text;
    } else {
      this.bar = h('progress', { max: 1, 'aria-label': `Sending ${this.about.name}` });
      this.bar.value = share;
      this.text = h('p', { role: 'status' }, text);
      this.show(note ? 'waits' : '', this.bar, this.text);
    }
    this.noted = Boolean(note);
  }

  remember(changes) {
    Object.assign(this.about, changes);
    const at = memory.sends.findIndex((s) => s.id === this.about.id);
    if (at >= 0) memory.sends[at] = this.about;
    else memory.sends.push(this.about);
    keep();
  }

  async run() {
    try {
      await this.send();
      await this.verdict();
    } catch (error) {
      if (error instanceof Unreadable) {
        this.show('waits', h('p', {}, 'The phone no longer gives this file. Choose it again: what was sent already is not sent twice.'));
      } else if (error instanceof ShutOut) {
        this.show('waits', h('p', { role: 'alert' }, error.message));
      } else {
        this.remember({ done: true });
        this.show('again', h('p', { class: 'verdict' }, 'Not taken'), h('p', { role: 'alert' }, `${error.message}.`));
      }
    }
  }

  /** Sends what the computer has not got yet. */
  async send() {
    const { file } = this;
    const bytes = (from, to) => read(file, from, to).catch(() => { throw new Unreadable('read'); });
    this.showProgress(0, null);
    let received = 0;
    const later = (text) => this.showProgress(received, text);
    const offer = {
      horse: this.about.horse, date: this.about.date, visit: this.about.visit, view: this.about.view, name: file.name, size: file.size,
      head: crc32(await bytes(0, settings.sample)), tail: crc32(await bytes(Math.max(0, file.size - settings.sample), file.size)),
    };
    let { body: state } = await ask('POST', '/phone/api/sends', JSON.stringify(offer), later);
    this.remember({ id: state.id });
    for (;;) {
      received = state.received;
      this.showProgress(received);
      while (state.stage === 'sending' && received < file.size) {
        const piece = await bytes(received, Math.min(file.size, received + settings.piece)); // eslint-disable-line no-await-in-loop
        const answer = await ask('POST', `/phone/api/sends/${state.id}/pieces?at=${received}&sum=${crc32(piece)}`, piece, later); // eslint-disable-line no-await-in-loop
        received = answer.body.received;
        this.showProgress(received);
      }
      const ended = await ask('POST', `/phone/api/sends/${state.id}/end`, undefined, later); // eslint-disable-line no-await-in-loop
      if (ended.status === 200) {
        this.remember({ done: true, as: ended.body.name });
        return;
      }
      state = { ...state, stage: 'sending', received: ended.body.received };
    }
  }

  /** Waits for the film check and shows what it found. */
  async verdict() {
    for (;;) {
      const { body } = await ask('GET', `/phone/api/sends/${this.about.id}`, undefined, (text) => this.show('waits', h('p', {}, text))); // eslint-disable-line no-await-in-loop
      if (body.check) {
        this.tell(body.check, body.name);
        return;
      }
      if (body.stage !== 'received') return;
      this.show('', h('p', { role: 'status' }, `Received as ${body.name}. Checking the film…`), h('progress', { 'aria-label': 'Checking the film' }));
      await wait(700); // eslint-disable-line no-await-in-loop
    }
  }

  tell(check, name) {
    const list = (reasons) => h('ul', {}, reasons.map((r) => h('li', {}, `${r.what}: ${r.found}.`, r.do ? h('span', { class: 'do' }, r.do) : null)));
    const received = h('p', {}, `Received as ${name}.`);
    if (check.verdict === 'film again') {
      this.show('again', h('p', { class: 'verdict', role: 'status' }, 'Film again'), h('p', {}, 'because:'), list(check.again), received);
    } else if (check.problem) {
      this.show('waits', h('p', { class: 'verdict', role: 'status' }, 'Received'), h('p', {}, `The film could not be checked (${check.problem}). Ask whoever runs the computer to look at it.`), received);
    } else {
      this.show('good', h('p', { class: 'verdict', role: 'status' }, 'Good'), check.better?.length ? [h('p', {}, 'It can be measured. Better next time:'), list(check.better)] : null,
        check.look?.length ? [h('p', {}, 'The check can’t judge these:'), list(check.look)] : null, received);
    }
  }
}

// Clips are sent one after the other: a yard's network is faster so.
let queue = Promise.resolve();
let open = 0;
async function awake() {
  try {
    return await navigator.wakeLock?.request('screen');
  } catch {
    return null; // Then the person keeps the screen on.
  }
}

function enqueue(send) {
  open += 1;
  send.showProgress(0, null);
  send.show('', h('p', {}, 'Waits for its turn.'));
  queue = queue.then(async () => {
    const lock = await awake();
    await send.run();
    await lock?.release();
    open -= 1;
  });
}
window.addEventListener('beforeunload', (e) => { if (open > 0) e.preventDefault(); });

/** Today as the phone has it, yyyy-mm-dd. */
function today() {
  const d = new Date();
  return [d.getFullYear(), d.getMonth() + 1, d.getDate()].map((n) => String(n).padStart(2, '0')).join('-');
}

const ordinal = (n) => (n === '' ? 'the first' : `number ${n}`);
const another = ' new';

let loaded = 0;
async function loadHorses() {
  loaded += 1;
  const mine = loaded;
  const say = (text) => { $('missing').textContent = text; };
  try {
    const { body } = await ask('GET', `/phone/api/horses?date=${encodeURIComponent($('date').value)}`, undefined, say);
    if (mine !== loaded) return;
    say('');
    settings = body;
    const chosen = $('horse').value || memory.horse;
    $('horse').replaceChildren(h('option', { value: '' }, 'Choose…'), ...body.horses.map((k) => h('option', { value: k.horse, selected: k.horse === chosen }, k.horse)), h('option', { value: another, selected: chosen === another }, 'Another horse…'));
    showVisits();
  } catch (error) {
    say(error.message);
  }
}

function showVisits() {
  const horse = $('horse').value;
  $('new-field').hidden = horse !== another;
  const visits = settings.horses?.find((k) => k.horse === horse)?.visits ?? [];
  $('visit-field').hidden = visits.length < 2;
  $('visit').replaceChildren(...visits.map((v) => h('option', { value: v, selected: v === visits.at(-1) }, ordinal(v))));
  if (visits.length === 1) $('visit').value = visits[0];
}

function picked(view, input) {
  const files = [...input.files];
  input.value = ''; // The same file may be chosen again.
  const horse = $('horse').value === another ? $('new-horse').value.trim() : $('horse').value;
  const missing = !horse ? 'Choose the horse first.' : !$('date').value ? 'Say on which day it was filmed.' : '';
  $('missing').textContent = missing;
  if (missing) {
    ($('horse').value === another ? $('new-horse') : !horse ? $('horse') : $('date')).focus();
    return;
  }
  memory.horse = $('horse').value === another ? '' : horse;
  memory.guideRead = true;
  keep();
  $('guide').open = false;
  for (const file of files) enqueue(new Send({ horse, date: $('date').value, visit: $('visit').value, view, name: file.name, size: file.size }, file));
}

$('date').value = today();
$('date').max = today();
$('date').addEventListener('change', loadHorses);
$('horse').addEventListener('change', showVisits);
$('form').addEventListener('submit', (e) => e.preventDefault());
for (const view of ['toward', 'away']) {
  $(view).addEventListener('click', (e) => {
    // Told before the phone's chooser opens, not after.
    if ($('horse').value === '' || ($('horse').value === another && $('new-horse').value.trim() === '')) {
      e.preventDefault();
      $('missing').textContent = 'Choose the horse first.';
      ($('horse').value === another ? $('new-horse') : $('horse')).focus();
    }
  });
  $(view).addEventListener('change', (e) => picked(view, e.target));
}
$('guide').open = !memory.guideRead;
$('guide').addEventListener('toggle', () => {
  memory.guideRead = !$('guide').open;
  keep();
});
// What this phone sent before: verdicts that came after the page was closed, and
// clips that are not whole yet.
for (const about of memory.sends.slice(-12)) {
  const send = new Send(about, null);
  if (about.done && about.as) send.verdict().catch((error) => send.show('waits', h('p', {}, error.message)));
  else if (!about.done) send.show('waits', h('p', {}, 'Not sent whole. Choose the same film again with the button above: it goes on from where it stopped.'));
  else send.box.remove();
}
loadHorses();
