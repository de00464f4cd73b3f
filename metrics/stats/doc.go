// Package stats holds the statistics of repeated measurement: means of strides
// grouped in runs with honest intervals, the standard error of measurement
// and the correction for looking at many measures at once. It knows
// nothing of horses.
//
// All functions are pure; the order of the input never matters.
//
// # Model
//
// Value i of run r is
//
//	y(r,i) = mean + run(r) + common(r) + stride(r,i) + error(r,i)
//
// run(r) is how one run of the same horse differs from the next, stride(r,i)
// how strides differ within a run, error(r,i) the known error of that one
// value and common(r) the known error all values of a run share. See
// GroupMean for the interval built on it and why it is not a plain bootstrap
// one.
package stats
