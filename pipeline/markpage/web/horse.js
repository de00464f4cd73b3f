// Line drawings of a horse from the front, from behind and from both sides,
// showing where landmarks and regions sit.

import { svg } from './dom.js';
import { symbols } from './words.js';

/** Returns a path through points: smooth, with a corner where a point says so (third value). */
function through(points, closed = true) {
  const n = points.length;
  const at = (i) => (closed ? points[(i + n) % n] : points[Math.max(0, Math.min(n - 1, i))]);
  let d = `M${points[0][0]},${points[0][1]}`;
  for (let i = 0; i < (closed ? n : n - 1); i += 1) {
    const [p0, p1, p2, p3] = [at(i - 1), at(i), at(i + 1), at(i + 2)];
    const k = 1 / 6;
    const c1 = p1[2] ? [p1[0], p1[1]] : [p1[0] + (p2[0] - p0[0]) * k, p1[1] + (p2[1] - p0[1]) * k];
    const c2 = p2[2] ? [p2[0], p2[1]] : [p2[0] - (p3[0] - p1[0]) * k, p2[1] - (p3[1] - p1[1]) * k];
    d += `C${[...c1, ...c2, p2[0], p2[1]].map((v) => Math.round(v * 10) / 10).join(',')}`;
  }
  return closed ? `${d}Z` : d;
}

const mirrored = (points) => points.map(([x, y, c]) => [-x, y, c]);
const both = (points) => [through(points), through(mirrored(points))];
const bothLines = (points) => [through(points, false), through(mirrored(points), false)];

// Half outlines, x from the midline outward, y down.
const legFront = [[12, 150], [14, 185], [12, 206], [13, 222], [16, 236], [16, 256], [14, 266], [15, 275], [12, 292, 1], [33, 292, 1], [29, 275], [31, 265], [28, 256], [27, 236], [31, 220], [31, 206], [36, 178], [44, 140]];
const legFarFront = [[34, 165], [38, 200], [36, 214], [39, 240], [38, 254], [36, 276, 1], [53, 276, 1], [49, 256], [49, 240], [51, 214], [49, 200], [50, 160]];

function front() {
  return {
    far: [...both(legFarFront), through([[-50, 110], [-54, 140], [-46, 178], [46, 178], [54, 140], [50, 110], [30, 88], [-30, 88]])],
    near: [
      ...both(legFront),
      through([[0, 66], [16, 62], [25, 92], [44, 112], [49, 138], [42, 160], [22, 176], [0, 182], [-22, 176], [-42, 160], [-49, 138], [-44, 112], [-25, 92], [-16, 62]]),
      ...both([[5, 28, 1], [6, 16], [11, 5, 1], [16, 17], [14, 33, 1]]),
      through([[0, 26], [13, 31], [16, 48], [13, 72], [11, 96], [13, 108], [8, 118], [0, 120], [-8, 118], [-13, 108], [-11, 96], [-13, 72], [-16, 48], [-13, 31]]),
    ],
    lines: [
      ...bothLines([[15, 50], [11, 53], [13, 57]]), ...bothLines([[9, 109], [6, 107], [6, 112]]),
      through([[-15, 44], [0, 41], [15, 44]], false), ...bothLines([[4, 150], [12, 142], [26, 140], [36, 128]]),
      ...bothLines([[15, 212], [22, 216], [29, 212]]), ...bothLines([[15, 276], [22, 278], [29, 276]]),
    ],
    at: { 'left-fore': [22, 292], 'right-fore': [-22, 292], 'left-hind': [45, 276], 'right-hind': [-45, 276], head: [0, 45], withers: [0, 16], croup: [0, 88], chest: [0, 138], 'left-hip': [48, 108], 'right-hip': [-48, 108], 'left-shoulder': [34, 128], 'right-shoulder': [-34, 128] },
  };
}

const legBack = [[4, 160], [9, 182], [15, 196], [17, 212], [18, 240], [17, 258], [16, 270], [15, 280], [13, 292, 1], [35, 292, 1], [31, 280], [31, 268], [28, 258], [28, 240], [31, 216], [33, 200], [38, 180], [47, 150]];
const legFarBack = [[32, 180], [36, 214], [36, 242], [34, 276, 1], [50, 276, 1], [47, 244], [48, 214], [48, 170]];

function back() {
  return {
    far: [
      ...both(legFarBack),
      through([[0, 62], [14, 60], [17, 40], [13, 26], [0, 22], [-13, 26], [-17, 40], [-14, 60]]),
      ...both([[5, 26, 1], [7, 12], [12, 4, 1], [16, 15], [14, 30, 1]]),
    ],
    near: [
      ...both(legBack),
      through([[0, 62], [20, 66], [37, 80], [47, 104], [50, 134], [44, 162], [24, 172], [0, 150], [-24, 172], [-44, 162], [-50, 134], [-47, 104], [-37, 80], [-20, 66]]),
      through([[0, 92], [7, 100], [9, 140], [11, 184], [6, 226], [0, 240], [-6, 226], [-11, 184], [-9, 140], [-7, 100]]),
    ],
    lines: [
      ...bothLines([[33, 84], [39, 88], [38, 96]]), ...bothLines([[14, 112], [22, 136], [22, 164]]),
      ...bothLines([[18, 206], [25, 201], [31, 206]]), ...bothLines([[16, 280], [24, 283], [31, 280]]),
      through([[-12, 70], [0, 66], [12, 70]], false), through([[0, 100], [2, 140], [0, 200]], false),
    ],
    at: { 'left-hind': [-24, 292], 'right-hind': [24, 292], 'left-fore': [-42, 276], 'right-fore': [42, 276], croup: [0, 64], withers: [0, 44], head: [0, 22], 'left-hip': [-37, 86], 'right-hip': [37, 86], chest: [0, 150] },
  };
}

const sideOf = (landmark) => (landmark.startsWith('left') ? 'left' : landmark.startsWith('right') ? 'right' : 'middle');

/** Returns the sign of a side: a circle, a triangle or a square around (x, y). */
export function sign(side, x, y, r, attributes = {}) {
  const c = { class: `sign ${side}`, ...attributes };
  if (side === 'left') return svg('circle', { cx: x, cy: y, r, ...c });
  if (side === 'right') return svg('path', { d: `M${x},${y - 1.25 * r}L${x + 1.2 * r},${y + 0.85 * r}H${x - 1.2 * r}Z`, ...c });
  return svg('rect', { x: x - 0.85 * r, y: y - 0.85 * r, width: 1.7 * r, height: 1.7 * r, ...c });
}

/**
 * Returns the drawing of a horse that comes toward the camera or goes away from
 * it, with the landmark asked for shown large and those done shown small.
 */
export function facing(view, { wanted, done = [], title } = {}) {
  const shape = view === 'toward' ? front() : back();
  const leftX = view === 'toward' ? 1 : -1;
  const root = svg('svg', { viewBox: '-98 -6 196 316', class: 'horse', role: 'img', 'aria-label': title ?? (view === 'toward' ? 'Horse from the front' : 'Horse from behind') });
  root.append(
    svg('path', { d: 'M-70,293H70', class: 'ground' }),
    ...shape.far.map((d) => svg('path', { d, class: 'far' })),
    ...shape.near.map((d) => svg('path', { d, class: 'near' })),
    ...shape.lines.map((d) => svg('path', { d, class: 'fine' })),
  );
  for (const [side, x] of [['left', 72 * leftX], ['right', -72 * leftX]]) {
    root.append(sign(side, x, 196, 5), svg('text', { x, y: 214, class: `side ${side}` }, side));
  }
  for (const landmark of done) {
    const p = shape.at[landmark];
    if (p && landmark !== wanted) root.append(sign(sideOf(landmark), p[0], p[1], 4, { class: `sign ${sideOf(landmark)} done` }));
  }
  if (wanted && shape.at[wanted]) {
    const [x, y] = shape.at[wanted];
    root.append(svg('circle', { cx: x, cy: y, r: 15, class: 'halo' }), sign(sideOf(wanted), x, y, 7.5));
  }
  return root;
}

// The side view, the horse's head to the left: its own left side.
const outline = [
  [17, 86], [22, 72], [36, 52], [48, 36], [56, 30], [58, 20, 1], [65, 28], [76, 34], [92, 46], [108, 58], [120, 62], [136, 68], [156, 70], [176, 66], [196, 60], [214, 62], [228, 70], [237, 84], [240, 100], [236, 116], [228, 128], [229, 140], [236, 146], [233, 156], [229, 172], [230, 186], [233, 194], [235, 210, 1], [212, 210, 1], [221, 196], [219, 186], [219, 170], [220, 154], [216, 142], [206, 128], [198, 118], [186, 122], [160, 128], [136, 126], [118, 122], [113, 130], [109, 146], [108, 156], [106, 168], [103, 184], [104, 194], [105, 210, 1], [83, 210, 1], [92, 196], [92, 186], [93, 168], [92, 156], [93, 142], [90, 128], [80, 114], [76, 100], [78, 86], [74, 72], [66, 64], [54, 66], [42, 76], [34, 90], [26, 96], [19, 94],
];
const sideFar = [
  [[116, 122], [124, 146], [122, 158], [124, 186], [126, 196], [128, 208, 1], [110, 208, 1], [114, 196], [112, 160], [104, 128]],
  [[196, 116], [206, 132], [214, 146], [208, 160], [206, 186], [208, 196], [210, 208, 1], [192, 208, 1], [197, 194], [197, 158], [202, 146], [186, 124]],
];
const sideLines = [
  [[70, 60], [84, 72], [94, 88], [88, 104], [82, 110]], [[118, 66], [106, 82], [92, 96], [84, 104]], [[110, 118], [104, 108], [98, 104]], [[196, 116], [204, 108], [212, 98]], [[232, 72], [246, 88], [250, 120], [244, 158], [248, 170]],
  [[92, 154], [100, 157], [107, 154]], [[90, 196], [97, 199], [104, 196]], [[221, 197], [227, 200], [233, 197]], [[40, 50], [44, 49], [43, 53]], [[24, 82], [27, 80], [28, 84]],
];

// The parts of the horse that are felt, each with the piece of the side view that
// shows it and where its regions sit there. Spots are as large as a finger and
// keep clear of each other: their centres lie at least 2 × spotRadius apart.
const spotRadius = 8.2;
const spotGap = 16.4;
export const felt = {
  'Shoulder and forehand': {
    view: [66, 48, 84, 168],
    at: {
      withers: [121, 66], trapezius: [104, 69], 'shoulder blade, front': [98, 87], 'shoulder blade, rear': [115, 85], 'behind the shoulder blade': [133, 83],
      'base of the neck': [83, 78], 'point of shoulder': [82, 104], triceps: [107, 104], girth: [126, 108], 'chest muscles': [90, 120],
      forearm: [99, 136], knee: [99, 153], 'fore tendons': [100, 170], 'fore fetlock': [97, 187], 'fore foot': [94, 204],
    },
  },
  'Head and neck': {
    view: [8, 14, 104, 90],
    at: { poll: [64, 34], 'jaw joint': [50, 55], 'upper neck': [80, 50], 'neck crest': [98, 58], 'underside of the neck': [80, 74] },
  },
  'Back and trunk': {
    view: [108, 52, 96, 88],
    at: { 'saddle region': [140, 78], loin: [178, 76], ribs: [152, 102], belly: [162, 120], flank: [186, 104] },
  },
  Hindquarters: {
    view: [176, 54, 76, 164],
    at: {
      'sacroiliac region': [199, 68], croup: [216, 74], 'point of hip': [189, 84], 'tail head': [233, 80], 'biceps femoris': [213, 96], hamstrings: [232, 100],
      stifle: [195, 113], 'inner thigh': [212, 116], gaskin: [220, 132], hock: [226, 149], 'hind tendons': [225, 166], 'hind fetlock': [226, 183], 'hind foot': [225, 200],
    },
  },
};

/** Returns the spots of a part that touch each other; there are none. */
export function touching(part) {
  const spots = Object.entries(felt[part].at);
  return spots.flatMap(([a, p], i) => spots.slice(i + 1).filter(([, q]) => Math.hypot(p[0] - q[0], p[1] - q[1]) < spotGap).map(([b]) => `${a} and ${b}`));
}

/**
 * Returns the drawing of a part of one side of the horse with a numbered spot for
 * each of its regions, px screen pixels to a unit of the drawing. gradeOf(region)
 * gives the grade felt there, or undefined; pick(region) is called for a spot
 * that is chosen; chosen is the region that is asked for.
 */
export function silhouette(part, side, { px, chosen, gradeOf, pick }) {
  const [vx, vy, vw, vh] = felt[part].view;
  const width = 264;
  const turn = (x) => (side === 'left' ? x : width - x);
  const left = side === 'left' ? vx : width - vx - vw;
  const root = svg('svg', { viewBox: `${left} ${vy} ${vw} ${vh}`, width: vw * px, height: vh * px, class: 'horse silhouette', role: 'group', 'aria-label': `${part}, horse’s ${side}` });
  const body = svg('g', side === 'left' ? {} : { transform: `translate(${width} 0) scale(-1 1)` });
  body.append(
    svg('path', { d: 'M4,210H258', class: 'ground' }),
    ...sideFar.map((p) => svg('path', { d: through(p), class: 'far' })),
    svg('path', { d: through(outline), class: 'near' }),
    ...sideLines.map((p) => svg('path', { d: through(p, false), class: 'fine' })),
  );
  root.append(body);
  Object.entries(felt[part].at).forEach(([region, [x, y]], i) => {
    const grade = gradeOf(region);
    const is = grade !== undefined;
    const words = is ? `${grade}: soreness of ${region}, horse’s ${side}` : `${i + 1}: ${region}, horse’s ${side}, not felt yet`;
    const choose = (e) => {
      if (e.type === 'keydown' && e.key !== 'Enter' && e.key !== ' ') return;
      e.preventDefault();
      pick(region);
    };
    root.append(svg('g', {
      class: `spot ${is ? `grade-${grade}` : 'open'}${region === chosen ? ' chosen' : ''}`, role: 'button', tabindex: region === chosen ? '0' : '-1',
      'aria-label': words, 'aria-pressed': region === chosen ? 'true' : 'false', 'data-region': region, onclick: choose, onkeydown: choose,
    }, svg('title', {}, words), svg('circle', { cx: turn(x), cy: y, r: spotRadius }), svg('text', { x: turn(x), y: y + 3 }, is ? String(grade) : ''), is ? null : svg('text', { x: turn(x), y: y + 2.4, class: 'count' }, String(i + 1))));
  });
  return root;
}

/** Returns the word and sign of a side for a line of text. */
export function sideLabel(side) {
  return side === 'middle' ? '' : `${symbols[side]} ${side}`;
}
