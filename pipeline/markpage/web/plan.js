// Which frames are to be marked. What stands on the ground holds tracking fast,
// so hooves are asked for while they stand: at three distances one frame with
// the left leading hoof on the ground and one with the right. Leading are the
// forelimbs from in front and the hindlimbs from behind.

import { landmarksFor, opposite } from './words.js';

export const stands = 3; // Frames asked for on each side.

// Where along the clip, as shares of its length: away from its ends, where a
// horse is far off, starts, or leaves the picture.
const places = { toward: [0.3, 0.55, 0.8], away: [0.2, 0.45, 0.7] };

// Half a stride, s (common practice); the clip's own takes over once a left and
// a right stance are marked.
const usual = { trot: 0.36, pace: 0.36, walk: 0.56 };

export const leading = (view, side) => `${side}-${view === 'toward' ? 'fore' : 'hind'}`;

/** The landmarks asked for in a frame in which the leading hoof of a side stands. */
export function landmarksStanding(view, gait, side) {
  const lead = leading(view, side);
  const [limb, other] = view === 'toward' ? ['fore', 'hind'] : ['hind', 'fore'];
  // At a trot the diagonal hoof stands with it, at a pace that of the same side.
  const mate = { trot: opposite(lead), pace: lead }[gait]?.replace(limb, other);
  const order = view === 'toward' ? [lead, 'head', 'withers', mate, 'chest'] : [lead, 'croup', mate, 'left-hip', 'right-hip', 'withers', 'head'];
  return order.filter((l) => landmarksFor(view).includes(l));
}

/** How many landmarks of a frame must be marked before going on: the leading hoof and the head, or the croup. */
export const neededStanding = 2;

function nearest(times, t) {
  let best = 0;
  for (let i = 1; i < times.length; i += 1) if (Math.abs(times[i] - t) < Math.abs(times[best] - t)) best = i;
  return best;
}

function halfStride(gait, times, left, right) {
  const guess = usual[gait] ?? usual.trot;
  const found = left.map((f) => Math.min(...right.map((g) => Math.abs(times[f] - times[g])))).filter((d) => d > 0.5 * guess && d < 1.6 * guess).sort((a, b) => a - b);
  return found.length > 0 ? found[Math.floor(found.length / 2)] : guess;
}

/**
 * Returns the side whose hoof is wanted standing next and the frame in which it
 * probably does, { side, frame, near }; near says that this is the other side of
 * a pair. null where all are marked, or all that a short clip has. left and right are the frames in which the
 * leading hooves are marked.
 */
export function nextStop({ view, gait, times, frame, left, right }) {
  if (left.length >= stands && right.length >= stands) return null;
  const half = halfStride(gait, times, left, right);
  const end = times.at(-1);
  const side = left.length <= right.length ? 'left' : 'right';
  const [mine, others] = side === 'left' ? [left, right] : [right, left];
  const alone = others.filter((f) => mine.every((g) => Math.abs(times[f] - times[g]) > 1.6 * half));
  if (alone.length > 0) {
    const from = times[alone.reduce((a, b) => (Math.abs(b - frame) < Math.abs(a - frame) ? b : a))];
    const t = from + half <= end ? from + half : from - half;
    return { side, frame: nearest(times, t), near: true };
  }
  const marked = [...left, ...right].map((f) => times[f]);
  let t = times[frame];
  if (marked.length > 0) {
    const room = (at) => Math.min(...marked.map((m) => Math.abs(m - at)));
    t = places[view].map((p) => p * end).reduce((a, b) => (room(b) > room(a) ? b : a));
    // Whole strides from the nearest stance that is known, but not to one that is
    // marked; a short clip may have no other.
    if (mine.length > 0) {
      const known = times[mine.reduce((a, b) => (Math.abs(times[b] - t) < Math.abs(times[a] - t) ? b : a))];
      const free = [];
      for (let at = known - Math.floor(known / (2 * half)) * 2 * half; at <= end; at += 2 * half) {
        if (mine.every((f) => Math.abs(times[f] - at) > half)) free.push(at);
      }
      if (free.length === 0) return null;
      t = free.reduce((a, b) => (Math.abs(b - t) < Math.abs(a - t) ? b : a));
    }
  }
  return { side, frame: nearest(times, t), near: false };
}
