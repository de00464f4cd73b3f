// How to mark: what a good click is, near and far.

import { h, put } from './dom.js';

/** Opens the help. */
export async function openHelp(main, _path, { setCrumbs }) {
  setCrumbs(null, 'How to mark');
  const crop = (name, text) => h('figure', { class: 'crop' }, h('img', { src: `/app/help-${name}.jpg`, alt: '', width: 240, height: 240 }), h('figcaption', {}, text));
  put(main, h('article', { class: 'help' },
    h('h1', {}, 'How to mark'),
    h('p', {}, 'A mark tells the program what a hoof, a head or a croup looks like in this clip, and which place on it to follow. From there the program follows the mark by itself. The result is only as good as your clicks are alike: take the same place on the horse every time.'),
    h('p', { class: 'hint' }, 'The small pictures on this page are from films that the program draws itself. Real hooves have hair, mud and shoes, but the places are the same.'),
    h('section', { class: 'card', 'aria-labelledby': 'help-hoof' },
      h('h2', { id: 'help-hoof' }, 'The hoof, while it stands'),
      h('p', {}, 'Step to a frame in which the hoof stays on one spot of the ground. The middle of that time is best: at the beginning the hoof may still slide, at the end the heel lifts. Coming toward the camera, click the toe where it meets the ground; from behind, the heel.'),
      h('div', { class: 'crops' },
        crop('near-good', '✓ Good: the middle of the toe, on the line where hoof and ground meet.'),
        crop('near-high', '✕ Too high: the middle of the hoof wall. Along the lane the error grows up to fivefold: a finger’s breadth too high puts the hoof a hand’s breadth too far away.'),
        crop('near-side', '✕ Beside it: the corner of the hoof. The two sides are then compared at different places.'),
        crop('near-swing', '✕ In the air: this hoof does not stand. How far away it is cannot be told.'))),
    h('section', { class: 'card', 'aria-labelledby': 'help-far' },
      h('h2', { id: 'help-far' }, 'Near and far'),
      h('p', {}, 'The same hoof is large near the camera and small far away. A click is off by about a pixel either way: near that is a few millimetres (a tenth of an inch or two) on the ground, far away some centimetres (an inch or more). So mark near where you have the choice: from the near mark the program finds the same place on the hoof far away. The far marks show it what the hoof looks like there.'),
      h('div', { class: 'crops' },
        crop('near-good', 'Near: you can see the toe’s edge. The loupe shows the pixel that you hit.'),
        crop('far-good', 'Far: zoom in (Z, +) and aim at the lowest dark pixel in the middle of the hoof.'))),
    h('section', { class: 'card', 'aria-labelledby': 'help-head' },
      h('h2', { id: 'help-head' }, 'Head and croup'),
      h('p', {}, 'From in front: the middle of the forehead, or of the browband between the eyes; take the same one in every frame. From behind: the highest point of the croup, on the midline. Mark the withers or the croup wherever you can see them: they tell a forelimb pattern from a hindlimb one.'),
      h('div', { class: 'crops' }, crop('head-good', '✓ The middle of the forehead.'), crop('croup-good', '✓ The highest point of the croup, from behind.'))),
    h('section', { class: 'card', 'aria-labelledby': 'help-sides' },
      h('h2', { id: 'help-sides' }, 'Left and right are the horse’s own'),
      h('p', {}, 'Coming toward the camera, its left legs are on the right of the picture; the words at the picture’s edges say so. A horse that plaits may put a hoof on the other side of the middle: follow the leg up to the shoulder before you click.')),
    h('section', { class: 'card', 'aria-labelledby': 'help-proposed' },
      h('h2', { id: 'help-proposed' }, 'Marks that are proposed'),
      h('p', {}, 'Once a left and a right stance are marked, the program may propose marks in further frames and clips. They are dashed boxes with a question mark. Look at each: C confirms those of the frame; a drag, or a click beside it, moves one; X throws them away. Nothing proposed is measured before you confirm it.')),
    h('section', { class: 'card', 'aria-labelledby': 'help-shoulder' },
      h('h2', { id: 'help-shoulder' }, 'Shoulder and trunk'),
      h('p', {}, 'From in front, the chest and the points of the shoulders show how the trunk sways and how each shoulder moves. The page does not ask for the points of the shoulders by itself: choose one below the drawing if you want them; from then on it asks for them in this clip.'),
      h('p', {}, 'A plain coat gives the program little to follow. Stick a round piece of white tape, 4 cm across, on each point of the shoulder before filming, on the same spot at every visit, and click its middle.'),
      h('p', {}, 'Film from in front and behind cannot show, whatever you mark: how far a limb swings forward and back (it lies along the line of sight); how the shoulder blade moves under the skin; toes that turn out or in; whether a hoof lands flat or on one side first (it is over within one picture).')),
    h('section', { class: 'card', 'aria-labelledby': 'help-not' },
      h('h2', { id: 'help-not' }, 'When not to mark'),
      h('ul', {}, h('li', {}, 'A hoof that is hidden by grass, dust or another leg: N, not visible. A guess is worse than no mark.'), h('li', {}, 'A blurred hoof: it swings. Step until it is sharp.'), h('li', {}, 'A shadow: where the hoof stands its shadow touches it. Click the hoof, not the shadow.')))));
  return null;
}
