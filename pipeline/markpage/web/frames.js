// Pictures of a clip, kept ready around the frame that is looked at.

import { picture, pictureAtHand } from './api.js';

const blobBytes = 96 << 20; // Bound of compressed pictures kept.
const decodedPixels = 24e6; // Bound of decoded ones, px: about 12 at 1080p.

/**
 * Returns the promise that a map holds for a frame, or makes it. The map's order
 * is the order of use. came(value) runs once, as soon as the value is there.
 */
function kept(map, frame, make, came) {
  let entry = map.get(frame);
  if (entry) {
    map.delete(frame);
  } else {
    entry = { value: null };
    entry.promise = make().then((value) => {
      if (map.get(frame) === entry) entry.value = value;
      came(value);
      return value;
    });
    entry.promise.catch(() => { if (map.get(frame) === entry) map.delete(frame); });
  }
  map.set(frame, entry);
  return entry.promise;
}

/**
 * Frames fetches pictures of one clip in one size. inUse(bitmap) tells whether
 * a bitmap is on the screen: one that is stays open however many came after it.
 */
export class Frames {
  constructor(clip, size, inUse = () => false) {
    this.clip = clip;
    this.size = size;
    this.inUse = inUse;
    this.wanted = -1; // The frame last asked for: who asked may be about to show it.
    this.blobs = new Map(); // Frame to { promise, value }, in the order of use.
    this.bytes = 0;
    this.decoded = new Map(); // The same of bitmaps.
    this.pixels = 0;
    this.pixelLimit = decodedPixels;
    this.closed = false;
    this.pending = new Map(); // Frame to what ends its request.
  }

  blob(frame, beside = false) {
    const abort = new AbortController();
    return kept(this.blobs, frame, () => {
      this.pending.set(frame, abort);
      return picture(this.clip, frame, this.size, abort.signal, beside).finally(() => {
        if (this.pending.get(frame) === abort) this.pending.delete(frame);
      });
    }, (blob) => {
      this.bytes += blob.size;
      for (const [old, { value }] of this.blobs) {
        if (this.bytes <= blobBytes) break;
        if (old === frame || !value) continue;
        this.blobs.delete(old);
        this.bytes -= value.size;
      }
    });
  }

  /** Returns the picture of a frame as a bitmap, for showing it. */
  get(frame) {
    this.wanted = frame;
    return this.decode(frame);
  }

  decode(frame, beside = false) {
    return kept(this.decoded, frame, () => this.blob(frame, beside).then((blob) => createImageBitmap(blob)), (bitmap) => {
      if (this.closed) {
        bitmap.close();
        throw new Error('the clip was left');
      }
      this.pixels += bitmap.width * bitmap.height;
      for (const [old, { value }] of this.decoded) {
        if (this.pixels <= this.pixelLimit) break;
        // Whoever asked for the wanted one may be about to show it.
        if (old === frame || old === this.wanted || !value || this.inUse(value)) continue;
        this.decoded.delete(old);
        this.pixels -= value.width * value.height;
        value.close();
      }
    });
  }

  /** Returns the picture of a frame if it costs no time, else null. */
  async atHand(frame) {
    const { blobs, decoded } = this;
    if (decoded.get(frame)?.value || blobs.get(frame)?.value) return this.get(frame);
    const blob = await pictureAtHand(this.clip, frame, this.size);
    if (!blob || this.closed) return null;
    kept(blobs, frame, async () => blob, (b) => { this.bytes += b.size; });
    return this.get(frame);
  }

  /** Fetches the frames around one, nearest first, and decodes the nearest. */
  async around(frame, before = 6, after = 10) {
    const last = this.clip.times.length - 1;
    for (let k = 1; k <= Math.max(before, after); k += 1) {
      for (const f of [k <= after ? frame + k : -1, k <= before ? frame - k : -1]) {
        if (f < 0 || f > last) continue;
        if (this.closed || this.centre !== frame) return;
        const got = k <= 2 ? this.decode(f, true) : this.blob(f, true);
        await got.catch(() => {}); // eslint-disable-line no-await-in-loop
      }
    }
  }

  /** Returns the picture of a frame and has its neighbours fetched. */
  async show(frame) {
    this.centre = frame;
    // A browser asks for a few things at a time: what is far away now makes room.
    for (const [other, abort] of this.pending) if (Math.abs(other - frame) > 16) abort.abort();
    const bitmap = await this.get(frame);
    if (this.centre === frame) this.around(frame);
    return bitmap;
  }

  /** Gives up what was asked for and has not come. */
  halt() {
    this.centre = -1;
    for (const abort of this.pending.values()) abort.abort();
  }

  close() {
    this.closed = true;
    this.halt();
    for (const { value } of this.decoded.values()) value?.close();
    this.decoded.clear();
    this.blobs.clear();
  }
}
