// Package track follows marked landmarks through a clip: frames and marks in,
// one position with quality and spread per landmark and frame out.
//
// # Method
//
// One pass over the frames writes luma of the part that moves to a scratch file,
// so memory does not grow with the clip, measures the background's motion and
// gathers a picture of the empty lane. Sweeps then run over the scratch file,
// one forward and one backward in time. Each starts at the marks and takes every
// landmark from frame to frame: corners of the patch around the mark are
// followed by pyramidal Lucas–Kanade and followed back (forward–backward error),
// then the patch is registered with free scale and angle against the previous
// frame, against a key appearance a few frames old, and against the marked
// appearance resized to the distance. The last of these cuts the drift that the
// first builds up. What moves is told from what stands still by comparing with
// the picture of the empty lane.
//
// The body is swept first. With its place and size known, every stance of every
// marked hoof is looked for: the appearance of the hoof as it was marked while
// standing (or that of the opposite hoof, mirrored, where it was marked in swing
// only), resized to the distance, found near where it is expected below the
// trunk, and standing still there for some frames. Stances that contradict each
// other, or the rhythm of the stride, are dropped; this is what keeps left and
// right, fore and hind apart. The hooves' sweeps then start anew in each stance.
//
// In swing a hoof turns, and its mark moves against the pattern that is followed:
// its outline, and even its look, may be as in stance. So once it has left its
// place its spread grows as fast as a hoof turns, and no older appearance brings
// it back before its next stance. Where the spread passes 1.5 px the frame does not
// count as seen. But a hoof turns about an axis that lies across the picture, along
// which its mark hardly moves: of the pair that goes in front (fores toward the
// camera, hinds away from it) the place across is known through most of the swing,
// and such a sample has the status Across. With a landmark of the body marked, a
// hoof is taken up again in its stances only, and one of the pair that goes behind is
// followed only from where it is known to stand.
//
// A hip lies on a plain outline along which its patch slides. It is held to its
// place beside the croup and often lost but for frames near a mark.
//
// A landmark is lost, with a cause in words, when its patch no longer looks like
// itself, when background shows where it should be, when two places look alike,
// or when two landmarks claim one place. It is searched for and taken up again
// only where one place alone fits and can be followed on. Short losses are
// bridged by a motion model with a spread that grows; long ones stay gaps.
// Where both sweeps see a landmark they are blended by their spreads; where they
// contradict each other neither is believed.
//
// # Spread
//
// The spread of a position is carried along: the spread of the mark, plus that
// of every registration since, less what re-locating wins, and grows and shrinks
// with the horse's size in the picture. It is the standard deviation along each
// axis, px (along x only, and SDY along y, where the two differ: of a sample Across,
// and of the croup, whose outline is level). What no registration notices is added
// last and is not made smaller by a second sweep: that the pair of hooves behind is
// partly covered by the legs in front, that a patch on the outline of the body goes
// along with what sways beside it.
// How far the clicks may be off (Mark.SD) is part of it, so it hardly falls below
// that with one mark; several marks of a landmark place it together, and a mark
// made near the camera is that much sharper far away.
//
// Positions follow package traj: pixels of the upright picture, (0, 0) the
// centre of the top-left pixel.
package track
