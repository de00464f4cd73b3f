// Saves a document as it changes. Every state goes into the browser's own
// storage first and to the program next; what the program has not confirmed
// stays in the browser and is sent once the program is back.

import { send, Away, Refused } from './api.js';

const prefix = 'jogstrip:';

/** What the browser keeps for this document, or null. */
function kept(key) {
  try {
    return JSON.parse(localStorage.getItem(prefix + key));
  } catch {
    return null;
  }
}

/**
 * Lists the documents of one kind that the program has not got yet and that hold
 * something to save.
 */
export function unsent(kind, worth) {
  const start = `${prefix}${kind}:`;
  return Object.keys(localStorage).filter((k) => k.startsWith(start)).map((k) => k.slice(start.length)).filter((id) => {
    const left = kept(`${kind}:${id}`);
    return left !== null && worth({ ...left.base, ...left.parts });
  });
}

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

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
    this.key = `${this.kind}:${this.id}`;
    this.parts = this.base;
    this.busy = false;
    this.closed = false;
    this.retry = 0;
  }

  /** Takes up what an earlier window left unsent. Returns its parts, or null. */
  takeUp() {
    const left = kept(this.key);
    if (!left?.parts) return null;
    const { merged } = merge(left.base, left.parts, this.base);
    if (same(merged, this.base)) {
      localStorage.removeItem(prefix + this.key);
      return null;
    }
    return merged;
  }

  /** Saves parts; returns at once. */
  save(parts) {
    this.parts = structuredClone(parts);
    this.keep();
    this.flush();
  }

  keep() {
    try {
      localStorage.setItem(prefix + this.key, JSON.stringify({ base: this.base, parts: this.parts }));
    } catch {
      // A full or forbidden store: the program still gets every change.
    }
  }

  async flush() {
    if (this.busy || this.closed) return;
    clearTimeout(this.retry);
    this.busy = true;
    try {
      while (!same(this.parts, this.base)) {
        const sent = structuredClone(this.parts);
        const body = this.pack(sent);
        if (body === null) return; // Nothing to save yet; the browser keeps it.
        this.show('saving', 'Saving…');
        try {
          const done = await send('PUT', this.path, this.query, body, { 'If-Match': this.version });
          this.version = done.version;
          this.base = done.parts ?? sent;
          if (done.parts && same(this.parts, sent)) this.parts = done.parts;
        } catch (error) {
          if (!(error instanceof Refused) || error.status !== 412) throw error;
          await this.settle(error.answer);
        }
        if (!same(this.parts, this.base)) this.keep();
      }
      localStorage.removeItem(prefix + this.key);
      this.show('saved', 'Saved');
    } catch (error) {
      if (error instanceof Away) {
        this.show('kept', `Not saved yet: ${error.message}. Your work is kept in this browser and saved when the program is back.`);
        this.retry = setTimeout(() => this.flush(), 1500);
      } else {
        this.show('refused', `Not saved: ${error.message}`);
      }
    } finally {
      this.busy = false;
    }
  }

  /** Another window was faster: merges, and asks only where both changed the same. */
  async settle(answer) {
    const theirs = this.unpack(answer);
    let { merged, conflicts } = merge(this.base, this.parts, theirs);
    if (conflicts.length > 0 && !(await this.ask(conflicts))) {
      merged = { ...merged };
      for (const name of conflicts) {
        if (theirs[name] === undefined) delete merged[name];
        else merged[name] = theirs[name];
      }
    }
    this.base = theirs;
    this.version = answer.version;
    this.parts = merged;
    this.adopt(structuredClone(merged));
  }

  /** Ends saving; what is unsent stays kept. */
  close() {
    this.closed = true;
    clearTimeout(this.retry);
  }
}

