// Package plots draws measures as figures: one drawing code that ends up as
// PNG, SVG or PDF. It reads no file and asks no clock; the same measures give
// the same bytes.
//
// # Looks
//
// Left is always dark blue, drawn solid with a filled circle; right is always
// amber, drawn dashed with a filled triangle. The two differ in hue that the
// colour-blind can tell apart, in grey level, in dash and in shape, so a grey
// print loses nothing. What belongs to no side is grey with a square. Before
// is open, after is filled. Every axis names its quantity and unit; every
// figure states how many strides it shows and what its intervals are.
//
// # What cannot be drawn
//
// A figure without data is not drawn empty: its function returns a
// *NoDataError, which matches ErrNoData and says why in words for a report.
//
// # Coordinates and signs
//
// Differences are right − left in the horse's own sides, as in package
// metrics. Seen from above the horse goes to the right of the page, so its
// left is up. NaN, which the plotting library refuses, breaks a line into
// separate runs.
//
// # Fonts
//
// Text is Liberation Sans, whose widths are those of Arial and Helvetica: an
// SVG shown where Liberation is missing falls back to one of these without a
// shift. PDF holds the font itself.
package plots
