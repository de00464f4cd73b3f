'use strict';
// Goes through a film by frames and by strides, and from a stride in a figure to the film.
for (const box of document.querySelectorAll('.film')) {
  const video = box.querySelector('video');
  const { rate, sections } = JSON.parse(box.dataset.film);
  const moments = sections.flatMap((s) => s.at);
  const parts = [...box.querySelectorAll('.moment')];
  const momentOf = (part) => Number(part.dataset.moment);
  // In the middle of a frame: at its edge a player may show the one before.
  const half = 0.5 / rate;
  let until = Infinity;
  const go = (t) => { until = Infinity; video.pause(); video.currentTime = Math.max(0, t) + half; };
  const here = () => video.currentTime - half + 1e-3;
  const index = () => moments.findLastIndex(([from]) => from <= here() + half);
  const play = (i) => {
    const m = moments[Math.max(0, Math.min(moments.length - 1, i))];
    go(m[0]);
    until = m[1];
    video.play();
  };
  const bar = document.createElement('div');
  bar.className = 'controls';
  const button = (words, title, act) => {
    const b = document.createElement('button');
    b.type = 'button';
    b.textContent = words;
    b.title = title;
    b.addEventListener('click', act);
    bar.append(b);
  };
  button('− stride', 'To the stride before (Shift and left arrow)', () => go(moments[Math.max(0, index() - (here() - moments[Math.max(0, index())][0] < 0.1 ? 1 : 0))][0]));
  button('− frame', 'One frame back (left arrow)', () => go(Math.round(here() * rate - 1) / rate));
  button('+ frame', 'One frame on (right arrow)', () => go(Math.round(here() * rate + 1) / rate));
  button('+ stride', 'To the next stride (Shift and right arrow)', () => go(moments[Math.min(moments.length - 1, index() + 1)][0]));
  button('this stride', 'Plays this stride alone', () => play(index()));
  if (sections.length > 1) for (const s of sections) button(s.title, 'Goes to this part', () => go(s.at[0][0]));
  video.addEventListener('loadedmetadata', () => { if (video.currentTime === 0) video.currentTime = moments.length ? moments[0][0] + half : half; });
  video.after(bar);
  const [backStride, backFrame, nextFrame, nextStride] = bar.children;
  box.addEventListener('keydown', (e) => {
    if (e.target.closest('button') && (e.key === ' ' || e.key === 'Enter')) return;
    const b = { ArrowLeft: [backFrame, backStride], ArrowRight: [nextFrame, nextStride] }[e.key];
    if (!b || e.ctrlKey || e.altKey || e.metaKey) return;
    e.preventDefault();
    b[e.shiftKey ? 1 : 0].click();
  }, true);
  video.addEventListener('timeupdate', () => {
    if (video.currentTime >= until) { video.pause(); until = Infinity; }
    const i = index();
    for (const p of parts) p.classList.toggle('now', momentOf(p) === i);
  });
  for (const p of parts) {
    const k = momentOf(p);
    p.setAttribute('tabindex', '0');
    p.setAttribute('role', 'button');
    p.setAttribute('aria-label', p.textContent);
    p.addEventListener('click', () => play(k));
    p.addEventListener('keydown', (e) => { if (e.key === 'Enter' || e.key === ' ') { e.preventDefault(); play(k); } });
  }
}
