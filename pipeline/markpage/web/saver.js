// Saves a document as it changes. Every state goes into the browser's own
// storage first and to the program next; what the program has not confirmed
// stays in the browser and is sent once the program is back.

import { send, Away, Refused } from './api.js';

const prefix = 'jogstrip:kept:';
// Each window keeps its own, so that two on one document do not overwrite each
// other's while the program is away.
const own = [...crypto.getRandomValues(new Uint8Array(8))].map((b) => b.toString(16).padStart(2, '0')).join('');
let count = 0;

/** Lists what the browser keeps of one kind: { key, raw, id, base, parts, at }, the oldest first. */
function kept(kind) {
  const start = `${prefix}${kind}:`;
  const found = [];
  for (const key of Object.keys(localStorage).filter((k) => k.startsWith(start))) {
    const rest = key.slice(start.length);
    const colon = rest.indexOf(':');
    const raw = localStorage.getItem(key);
    try {
      const { base, sent, parts, at } = JSON.parse(raw);
      if (base && parts) found.push({ key, raw, id: rest.slice(colon + 1), base, sent, parts, at });
    } catch {
      // Not written by this page, or broken off: it holds nothing that can be used.
    }
  }
  return found.sort((a, b) => a.at - b.at);
}

/**
 * Lists the documents of one kind that the program has not got yet and that hold
 * something to save.
 */
export function unsent(kind, worth) {
  return [...new Set(kept(kind).filter((left) => worth({ ...left.base, ...left.parts })).map((left) => left.id))];
}

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

/** Reports whether two documents hold the same parts, in whatever order. */
const equal = (a, b) => [...new Set([...Object.keys(a), ...Object.keys(b)])].every((name) => same(a[name], b[name]));

/** Returns target with the named parts as they are in source. */
function taking(target, source, names) {
  const out = { ...target };
  for (const name of names) {
    if (source[name] === undefined) delete out[name];
    else out[name] = source[name];
  }
  return out;
}

/**
 * Merges two changed copies of a document, each a plain object of values, that
 * come from one base. Returns the merged object, where mine wins, and the names
 * of those that both changed differently.
 */
export function merge(base, mine, theirs) {
  const merged = {};
  const conflicts = [];
  for (const name of new Set([...Object.keys(base), ...Object.keys(mine), ...Object.keys(theirs)])) {
    const mineChanged = !same(base[name], mine[name]);
    const theirsChanged = !same(base[name], theirs[name]);
    if (mineChanged && theirsChanged && !same(mine[name], theirs[name])) conflicts.push(name);
    const value = mineChanged ? mine[name] : theirs[name];
    if (value !== undefined) merged[name] = value;
  }
  return { merged, conflicts };
}

/** Those of names that hold on disk nothing that was sent there from here: an answer may have been lost. */
const foreign = (names, sent, theirs) => names.filter((name) => !(sent ?? []).some((parts) => same(parts[name], theirs[name])));

const mostSent = 5; // How many of what was sent without an answer are kept: any one of them may be on disk.

/**
 * Saver keeps one document saved. options:
 *   kind, id      name it among what the browser keeps
 *   path, query   where it is put
 *   version       the version on disk
 *   base          what is on disk, in parts (see merge)
 *   pack(parts)   the body to send for parts; null while there is nothing to save
 *   unpack(answer) the parts in a refusal's answer
 *   adopt(parts)  takes over parts that another window changed
 *   ask(conflicts) resolves to true to keep this window's values
 *   show(state, text) tells the person: "saved", "saving", "kept" or "refused"
 */
export class Saver {
  constructor(options) {
    Object.assign(this, options);
    count += 1;
    this.key = `${prefix}${this.kind}:${own}${count}:${this.id}`;
    this.parts = this.base;
    this.busy = false;
    this.closed = false;
    this.retry = 0;
    this.sent = []; // What was sent and not answered: it may be on disk.
    this.taken = []; // What other windows kept and this one saves with its own.
    this.asking = false;
    this.waiters = [];
  }

  /** Resolves once what is under way has been saved, or could not be. */
  done() {
    this.flush();
    return this.busy ? new Promise((resolve) => { this.waiters.push(resolve); }) : Promise.resolve();
  }

  /**
   * Takes up what other windows left unsent. Returns the parts to go on with, or
   * null where there are none. What was changed on disk as well since then stays
   * as it is there until the person has been asked.
   */
  takeUp() {
    const left = kept(this.kind).filter((l) => l.id === this.id && l.key !== this.key);
    if (left.length === 0) return null;
    let parts = this.base;
    let doubtful = {};
    for (const { key, raw, base, sent, parts: theirs } of left) {
      const { merged, conflicts: both } = merge(base, theirs, parts);
      const conflicts = foreign(both, sent, parts);
      parts = taking(merged, parts, conflicts);
      doubtful = Object.fromEntries([...Object.entries(doubtful), ...conflicts.map((name) => [name, theirs[name]])]);
      this.taken.push({ key, raw });
      this.sent.push(...(sent ?? []).slice(-mostSent)); // What was on its way may still arrive.
    }
    const names = Object.keys(doubtful);
    if (names.length > 0) this.askOnce(names, doubtful);
    else if (equal(parts, this.base)) {
      this.drop();
      return null;
    }
    return structuredClone(parts);
  }

  async askOnce(names, values) {
    this.asking = true;
    await null; // The page is built first.
    const mine = await this.ask(names);
    this.asking = false;
    if (mine) {
      this.parts = taking(this.parts, values, names);
      this.adopt(structuredClone(this.parts));
      this.keep();
    }
    this.flush();
  }

  /** Saves parts; returns at once. */
  save(parts) {
    this.parts = structuredClone(parts);
    this.keep();
    this.flush();
  }

  keep() {
    try {
      localStorage.setItem(this.key, JSON.stringify({ base: this.base, sent: this.sent, parts: this.parts, at: Date.now() }));
    } catch {
      // A full or forbidden store: the program still gets every change.
    }
  }

  /** Forgets what is saved: this window's, and what it took up and nobody changed since. */
  drop() {
    localStorage.removeItem(this.key);
    if (this.asking) return;
    for (const { key, raw } of this.taken) if (localStorage.getItem(key) === raw) localStorage.removeItem(key);
    this.taken = [];
  }

  async flush() {
    if (this.busy) return;
    clearTimeout(this.retry);
    this.busy = true;
    try {
      while (!equal(this.parts, this.base)) {
        const sent = structuredClone(this.parts);
        const body = this.pack(sent);
        if (body === null) return; // Nothing to save yet; the browser keeps it.
        this.tell('saving', 'Saving…');
        this.sent.push(sent);
        if (this.sent.length > 2 * mostSent) this.sent.splice(mostSent, 1); // The first ones are the likeliest.
        this.keep();
        try {
          const done = await send('PUT', this.path, this.query, body, { 'If-Match': this.version });
          this.version = done.version;
          this.base = done.parts ?? sent;
          this.sent = [];
          if (done.parts && equal(this.parts, sent)) this.parts = done.parts;
        } catch (error) {
          if (!(error instanceof Refused) || error.status !== 412) throw error;
          if (!(await this.settle(error.answer))) return;
        }
        if (!equal(this.parts, this.base)) this.keep();
      }
      this.drop();
      this.tell('saved', 'Saved');
    } catch (error) {
      const later = error instanceof Away || error.status >= 500 || error.status === 429;
      if (later) {
        this.tell('kept', `Not saved yet: ${error.message}. Your work is kept in this browser and saved ${error instanceof Away ? 'when the program is back' : 'as soon as that is possible'}.`);
        this.retry = setTimeout(() => this.flush(), error instanceof Away ? 1500 : 3000);
      } else {
        this.tell('refused', `Not saved: ${error.message}. It is kept in this browser.`);
      }
    } finally {
      this.busy = false;
      for (const resolve of this.waiters.splice(0)) resolve();
    }
  }

  tell(state, text) { if (!this.closed) this.show(state, text); }

  /**
   * Another window was faster: merges, and asks only where both changed the same.
   * Returns whether to go on; a document that was left asks nobody.
   */
  async settle(answer) {
    const theirs = this.unpack(answer);
    let { merged, conflicts } = merge(this.base, this.parts, theirs);
    conflicts = foreign(conflicts, this.sent, theirs);
    if (conflicts.length > 0) {
      if (this.closed) return false; // It stays kept, and is asked about when the document is opened again.
      if (!(await this.ask(conflicts))) merged = taking(merged, theirs, conflicts);
    }
    this.base = theirs;
    this.sent = [];
    this.version = answer.version;
    this.parts = merged;
    if (!this.closed) this.adopt(structuredClone(merged));
    return true;
  }

  /** Ends showing; what is unsent is still sent while the page is open, and stays kept until then. */
  close() { this.closed = true; }
}
