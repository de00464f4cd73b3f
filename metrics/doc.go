// Package metrics turns tracks into measures: hoof contacts, strides, the
// measures of MEASURES.md, their statistics, the asymmetry score and the
// comparison of two visits. It reads no file, asks no clock and holds no
// state: the same input gives the same output, random numbers come from seeds
// that are arguments.
//
// The sign of every difference is right − left in the horse's own sides.
package metrics
