// How much of the night's work is done, and the next clip made ready meanwhile.

import { h, renew } from './dom.js';
import { get, send } from './api.js';
import { nextToMark } from './next.js';
import { openingFrame, partsOf } from './marks.js';

/** How much of the night's work is done. */
export function showNight(page) {
  if (!page.clips) return;
  const readable = page.clips.filter((c) => !c.needs.includes('copy'));
  const enough = page.marks.pair() && (page.marks.parts.calibration || page.carried?.calibration);
  const open = readable.filter((c) => (c.path === page.clip.path ? !enough : c.needs.includes('marks') || c.needs.includes('calibration')));
  const done = readable.length - open.length;
  renew(page.night, h('progress', { max: readable.length, value: done, id: 'night', 'aria-label': 'Clips marked' }), h('span', {}, `${done} of ${readable.length} clips marked`));
  const next = nextToMark(page.clips, page.clip.path);
  if (enough && next && !page.warmed) {
    page.warmed = true;
    warm(page, next);
  }
}

/** Has the next clip's first picture made while this one is finished. */
async function warm(page, next) {
  try {
    const clip = await get('/api/clip', { clip: next.path }, { signal: page.ends.signal });
    await send('POST', '/api/prepare', { clip: next.path, frame: openingFrame(clip, { ...partsOf(clip.marks), gait: clip.guess.gait }), size: 'step' });
    await get('/api/overview', { clip: next.path }, { signal: page.ends.signal });
    // Going by this clip's marks as they are saved. Once asked for they are worked out,
    // whether this page is still open or not.
    await page.saver.done();
    if (clip.proposes) await get('/api/proposals', { clip: next.path }, { signal: page.ends.signal });
  } catch {
    // It then takes a moment when it is opened.
  }
}
