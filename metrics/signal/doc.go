// Package signal holds the numerical methods that measuring needs and that
// know nothing of horses: a zero-phase Butterworth filter, a smoothing spline,
// least-squares harmonics, peaks, autocorrelation and robust spread.
//
// Series are given as times (seconds, strictly increasing) and values, so that
// variable frame rates need no resampling; only the filter and the
// autocorrelation ask for uniform samples. NaN never passes silently: where a
// sample may be missing there is an explicit validity mask, and NaN in a valid
// place is an error.
package signal
