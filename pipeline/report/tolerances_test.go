package report

import (
	"slices"
	"testing"

	"jogstrip/metrics"
)

// The reader is told which tolerances own visits replaced, and the source of
// every other one.
func TestToleranceSources(t *testing.T) {
	value := &metrics.Estimate{}
	s := &metrics.Summary{Results: []metrics.Result{
		{Name: metrics.StepLengthFore, Value: value, Tolerance: 0.03, ToleranceSource: "common practice"},
		{Name: metrics.HeadLowDifference, Value: value, Tolerance: 9, OwnTolerance: true, ToleranceSource: "this horse's own visits without treatment between them, n = 9"},
		{Name: metrics.HeadHighDifference, Value: value, Tolerance: 8, OwnTolerance: true, ToleranceSource: "this horse's own visits without treatment between them, n = 9"},
		{Name: metrics.HipExcursion, Value: value, Tolerance: 8, ToleranceSource: "common practice"},
		{Name: metrics.Speed, Tolerance: 0.25, ToleranceSource: "not measured, so not named"},
	}}
	want := []string{
		"From this horse’s own visits without treatment between them, n = 9, in place of the table: head low-point difference; head high-point difference.",
		"Common practice: step length, fore; hip excursion.",
	}
	if got := toleranceSources(s); !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	row := measureRowOf(define(metrics.HeadLowDifference), s.Results[1])
	if row.Tolerance.Interval != "own visits, n = 9" {
		t.Errorf("the table says %q", row.Tolerance.Interval)
	}
}
