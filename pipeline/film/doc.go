// Package film judges how a clip was filmed, fast enough for the handler to
// film again while the horse is still there, and holds the film guide to print.
//
// The check looks at brightness only: a sample of whole pictures, reduced by
// averaging, with simple statistics. It tracks nothing and measures nothing of
// the horse; what it says of the horse (how large, how straight, how many
// strides) rests on what moves against the background and is told as an
// estimate, or as not known.
package film
