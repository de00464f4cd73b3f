// The page's words for landmarks, sides and needs.

export const landmarkNames = {
  'left-fore': 'left fore hoof', 'right-fore': 'right fore hoof',
  'left-hind': 'left hind hoof', 'right-hind': 'right hind hoof',
  head: 'head', withers: 'withers', croup: 'croup',
  'left-hip': 'left point of hip', 'right-hip': 'right point of hip', chest: 'chest',
  'left-shoulder': 'left point of shoulder', 'right-shoulder': 'right point of shoulder',
};

/** Where exactly a landmark is clicked, by view. */
export const landmarkPlaces = {
  toward: {
    fore: 'Toe of the hoof, where it meets the ground.',
    hind: 'Toe of the hoof, where it meets the ground, between or beside the forelimbs.',
    head: 'Middle of the forehead, or of the browband between the eyes.',
    withers: 'Highest point of the withers behind the neck, if it can be seen.',
    chest: 'Middle of the chest, between the points of the shoulders.',
    shoulder: 'Point of the shoulder, the bony corner at the side of the chest. Take the same spot in every frame.',
    croup: 'Highest point of the croup, if it can be seen.',
    hip: 'Point of the hip, if it can be seen.',
  },
  away: {
    fore: 'Heel of the hoof, where it meets the ground, between or beside the hindlimbs.',
    hind: 'Heel of the hoof, where it meets the ground.',
    head: 'Poll, between the ears, if it can be seen over the croup.',
    withers: 'Highest point of the withers, if it can be seen over the croup.',
    chest: 'Not to be seen from behind.',
    shoulder: 'Not to be seen from behind.',
    croup: 'Highest point of the croup, on the midline.',
    hip: 'Point of the hip, the bony corner at the side.',
  },
};

const asked = {
  toward: ['left-fore', 'right-fore', 'head', 'withers', 'left-hind', 'right-hind', 'chest'],
  away: ['left-hind', 'right-hind', 'croup', 'left-hip', 'right-hip', 'withers', 'head', 'left-fore', 'right-fore'],
};
/** The landmarks asked for in a view, those that matter most first. */
export const askedFor = (view) => asked[view];

/** Landmarks that nobody is asked for, until one is marked in the clip. */
const extras = { toward: ['left-shoulder', 'right-shoulder'], away: [] };
export const extrasFor = (view) => extras[view];

/** All landmarks of a view. */
export const landmarksFor = (view) => [...asked[view], ...extras[view]];

export function sideOf(landmark) {
  if (landmark.startsWith('left-')) return 'left';
  if (landmark.startsWith('right-')) return 'right';
  return 'middle';
}

/** The picture's side on which a side's landmarks lie: 1 for right, -1 for left. What has no side counts as right. */
export const outward = (side, view) => (side === 'middle' || (side === 'left') === (view === 'toward') ? 1 : -1);

export const opposite = (landmark) => (landmark.startsWith('left-') ? landmark.replace('left-', 'right-') : landmark.replace('right-', 'left-'));

export function placeOf(view, landmark) {
  const kind = landmark.replace(/^(left|right)-/, '');
  return landmarkPlaces[view][kind];
}

export const symbols = { left: '●', right: '▲', middle: '■' };
export const colours = { left: '#143d73', right: '#cf7800', middle: '#3c3c3c' };

export const needWords = {
  marks: 'marks', calibration: 'ground marks', measuring: 'measuring', 'second look': 'a second look', repair: 'its marks file repaired', copy: 'copying again',
};

export const levelWords = {
  metric: 'ground marks: all lengths',
  height: 'camera height: all lengths, less sure',
  ratio: 'horizon only: ratios and times, no lengths',
  none: 'none: times and the rhythm of head and croup only',
};
