// Pictures of a clip, kept ready around the frame that is looked at.

import { picture } from './api.js';

const blobBytes = 96 << 20; // Bound of compressed pictures kept.
const decodedPixels = 24e6; // Bound of decoded ones, px: about 12 at 1080p.

/** Frames fetches pictures of one clip in one size. */
export class Frames {
  constructor(clip, size) {
    this.clip = clip;
    this.size = size;
    this.blobs = new Map(); // Frame to promise of a blob, in the order of use.
    this.bytes = 0;
    this.decoded = new Map(); // Frame to promise of a bitmap, in the order of use.
    this.pixels = 0;
    this.closed = false;
    this.pending = new Map(); // Frame to what ends its request.
  }

  blob(frame) {
    let b = this.blobs.get(frame);
    if (b) {
      this.blobs.delete(frame); // To the end of the order.
    } else {
      const abort = new AbortController();
      this.pending.set(frame, abort);
      b = picture(this.clip, frame, this.size, abort.signal).finally(() => {
        if (this.pending.get(frame) === abort) this.pending.delete(frame);
      }).then((blob) => {
        this.bytes += blob.size;
        for (const [old, p] of this.blobs) {
          if (this.bytes <= blobBytes || old === frame) break;
          this.blobs.delete(old);
          p.then((o) => { this.bytes -= o.size; }, () => {});
        }
        return blob;
      });
      b.catch(() => { if (this.blobs.get(frame) === b) this.blobs.delete(frame); });
    }
    this.blobs.set(frame, b);
    return b;
  }

  /** Returns the picture of a frame as a bitmap. */
  async get(frame) {
    let d = this.decoded.get(frame);
    if (d) {
      this.decoded.delete(frame);
    } else {
      d = this.blob(frame).then((blob) => createImageBitmap(blob)).then((bitmap) => {
        this.pixels += bitmap.width * bitmap.height;
        for (const [old, p] of this.decoded) {
          if (this.pixels <= decodedPixels || old === frame) break;
          this.decoded.delete(old);
          p.then((o) => {
            this.pixels -= o.width * o.height;
            o.close();
          }, () => {});
        }
        return bitmap;
      });
      d.catch(() => { if (this.decoded.get(frame) === d) this.decoded.delete(frame); });
    }
    this.decoded.set(frame, d);
    return d;
  }

  /** Fetches the frames around one, nearest first, and decodes the nearest. */
  async around(frame, before = 6, after = 10) {
    const last = this.clip.times.length - 1;
    for (let k = 1; k <= Math.max(before, after); k += 1) {
      for (const f of [k <= after ? frame + k : -1, k <= before ? frame - k : -1]) {
        if (this.closed) return;
        if (f < 0 || f > last) continue;
        const got = k <= 2 ? this.get(f) : this.blob(f);
        await got.catch(() => {}); // eslint-disable-line no-await-in-loop
      }
      if (this.centre !== frame) return;
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

  close() {
    this.closed = true;
    for (const abort of this.pending.values()) abort.abort();
    for (const p of this.decoded.values()) p.then((b) => b.close(), () => {});
    this.decoded.clear();
    this.blobs.clear();
  }
}
