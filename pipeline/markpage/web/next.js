// The way to the next clip that needs a person.

import { get } from './api.js';

/** The clip after one that still needs marks, or else ground marks; null where none does. */
export function nextToMark(clips, path) {
  const at = clips.findIndex((c) => c.path === path);
  const order = [...clips.slice(at + 1), ...clips.slice(0, Math.max(0, at))];
  return order.find((c) => c.needs.includes('marks')) ?? order.find((c) => c.needs.includes('calibration')) ?? null;
}

/** Opens the next clip, or the list where nothing is left to mark. */
export async function openNext(path) {
  const { clips } = await get('/api/clips');
  const next = nextToMark(clips, path);
  location.hash = next ? `#/mark/${encodeURIComponent(next.path)}` : '#/';
}
