// Package track follows marked landmarks through a clip: frames and marks in,
// one position with quality and spread per landmark and frame out.
//
// # Method
//
// One pass over the frames writes luma of the part that moves to a scratch file,
// so memory does not grow with the clip, and measures the background's motion. Sweeps then
// run over the scratch file, one forward and one backward in time. Each starts at the marks and takes every
// landmark from frame to frame: corners of the patch around the mark are
// followed by pyramidal Lucas–Kanade and followed back (forward–backward error),
// then the patch is registered with free scale and angle against the previous
// frame, against a key appearance a few frames old, and against the marked
// appearance resized to the distance. The last of these cuts the drift that the
// first builds up.
//
// The body is swept first. It says how large the horse looks and where to expect its
// hooves.
//
// # Standing hooves
//
// A hoof that stands does not move in the stabilised picture, whatever the horse, its coat
// and the camera. So a stance is a patch that is like a marked hoof, stays in its place,
// and differs from the bare ground: from what the same place looks like before the horse
// comes, or after it has gone (Toward and Away say which). From a mark it is extended frame
// by frame, each compared with what the patch looked like a moment before: by correlation,
// and by the share of the hoof's pixels that have not changed, which a limb, a rein or a
// cane that passes takes down only in part. An earlier look goes before a later one as long as
// the hoof still has it, so that what passes does not take the place along. What comes back in
// the same place after less than bridgeS is the same stance. It ends where the hoof's lowest
// part shows bare ground, where it goes as fast as no standing hoof, or where it no longer looks
// like itself.
//
// Stances that nobody marked are looked for where hooves are expected below the body: places
// like a mark that stay in place over several looks are extended in the same way. Which
// limb of its pair a stance is, is told over the whole run at once (count.go): of all
// choices of sides and steps the one is taken that fits marks, times, places and looks best,
// and both pairs of a horse take steps of one length. How many steps lie between stances
// counts as known only where no other number is nearly as likely. A limb never stands for
// longer than its stride.
//
// The pair behind is hidden for most of the time by the legs of the pair in front. Its hooves
// land in the prints of that pair, or will be followed there by it, and lie beside them in each
// stride alike. So one mark of a hoof tells in which place and at what time it stands in every other
// stride, and only there it is looked for (prints.go). When such a stance begins and ends is not
// told.
//
// Where the mark lies in a stance follows from the clicks in it and from the appearances of
// the hoof's other marks; how far clicks are off is told by how these disagree.
//
// In swing a hoof is followed from the stance before and from the one after it, as far as there
// is a patch to follow: it turns, and what it looks like says little. Of the pair that goes in
// front (fores toward the camera, hinds away from it) the place across the picture counts
// (status Across) where the two agree, all the way of one that arrives at the other stance,
// and for a moment beside the stance nearer to the camera; of the pair behind nothing does.
//
// Croup, withers and hips lie on the outline of the body, whose patch goes with what sways
// and rolls beside it. Of the patch counts most what all its marks show alike (common.go). A hip is
// held to its place beside the croup, chest and points of the shoulders to theirs beside each other
// and below the head (hold.go).
//
// A landmark is lost, with a cause in words, when its patch no longer looks like
// itself or when two places look alike. It is searched for and taken up again
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
// and of the croup, whose outline is level). What no registration notices is added last:
// that the pair of hooves behind is partly covered by the legs in front; that a place on
// the outline of the body has swayed since its mark, most after half a stride.
// How far the clicks may be off (Mark.SD) is part of it, so it hardly falls below
// that with one mark; several marks of a landmark place it together, and a mark
// made near the camera is that much sharper far away.
//
// Positions follow package traj: pixels of the upright picture, (0, 0) the
// centre of the top-left pixel.
package track
