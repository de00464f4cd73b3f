// Package scene renders test and demo clips of an invented horse whose motion
// is known exactly: a horse walks, trots or paces down a lane toward or away
// from a pinhole camera on a tripod or in a hand. It writes real .mp4 or .mov
// files through ffmpeg, and the truth (picture and lane position of every
// landmark in every frame, hoof contacts, every measure) into a separate file.
//
// Nothing that measures may import this package; only the demo and tests do.
//
// # Frames and times
//
// Lane frame: X to the camera's right, Y along the lane away from the camera,
// Z up, ground Z = 0, metres; the camera stands at X = Y = 0. Picture
// coordinates are pixels of the upright picture, (0, 0) the centre of the
// top-left pixel, so the principal point is ((width−1)/2, (height−1)/2). The
// time stamp of a frame is the middle of its exposure.
//
// Inside the package motion is written in track coordinates: s forward along
// the line of travel, l to the horse's left, z up.
//
// # How truth stays exact
//
// Pictures are sampled, never resampled: surfaces carry procedural texture
// evaluated at each sample and faded where a pixel covers more than its
// period; every frame is the mean of several samples a pixel, spread over the
// pixel and over the exposure so that neither shifts the other. Only the
// background of handheld clips is read from a layer drawn at twice the
// resolution. Where a scene asks to be painted once a pixel, as the demo's do, samples
// still say which part of the horse covers how much of a pixel; its texture and
// light are those of the pixel's middle.
//
// Settings are met by correction: the motion is simulated, measured with the
// definitions of the measures on the 3D truth, corrected by the difference and
// simulated again, so the means over the clip's strides are what was asked for
// although single strides vary.
//
// # Pretty and hard
//
// The zero value of every setting gives a clean clip, as the demo shows it. What yards
// and phones add (photographed surfaces, people before the limbs, tail, shade, grass and
// dust, a lens that distorts, drift of light and colours, dark horn) are settings of
// their own, all off; Hard draws a scene with all of it. Photographs are read where
// Debian's packages put them; without those, noise stands in and the package to install
// is named on standard error.
//
// Grass before a toe is the ground's own picture, let through where a blade stands; a
// landmark behind it still counts as visible, as a person would place it.
//
// # What is invented
//
// Shape and joint angles are plausible, not measured. Timing follows the bands
// quoted beside the tests. The horse is symmetrical in shape, the ground is a
// plane and hooves do not slide.
package scene
