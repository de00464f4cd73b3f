// Package contact turns tracks into a timeline: when each hoof stood and where in the
// picture, the beats at which limbs land, and the strides cut at them. When hooves
// stand is taken from tracking (traj.Set.Stances); this package says how well instants
// are known, counts beats, and gives what was not seen its place between them.
//
// Times are seconds on the clip's clock, places px of the stabilised picture. Index of
// every array over limbs: Limbs.
package contact
