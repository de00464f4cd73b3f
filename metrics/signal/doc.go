// Package signal holds the numerical methods that measuring needs and that
// know nothing of horses: a smoothing spline, least-squares harmonics, quantiles
// and robust spread.
//
// Series are given as times (seconds, strictly increasing) and values, so that
// variable frame rates need no resampling. NaN never passes silently: it is an
// error.
package signal
