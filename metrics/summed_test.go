package metrics

import (
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// TestCompareSummed checks that visits summed up once and compared in any order,
// several at a time, say what Compare says of their runs.
func TestCompareSummed(t *testing.T) {
	nod := func(mm float64) horse { return lame(false, map[Name]float64{HeadLowDifference: mm}) }
	// Visits of both views, of one view only, and of a single run.
	visits := [][]Run{visitOf(1, nod(40), 3, 3), visitOf(2, nod(10), 2, 3), visitOf(3, nod(0), 3, 0), visitOf(4, nod(-20), 1, 0), visitOf(5, nod(30), 0, 2)}
	opts := CompareOptions{Summary: SummaryOptions{Resamples: 300, Seed: 7}}
	summed := make([]*Summed, len(visits))
	for i, v := range visits {
		s, err := Summarise(v, opts.Summary)
		if err != nil {
			t.Fatal(err)
		}
		summed[i] = s
	}
	var all sync.WaitGroup
	for i := range visits {
		for k := range visits {
			all.Go(func() {
				want, err := Compare(visits[i], visits[k], opts)
				if err != nil {
					t.Error(err)
					return
				}
				got, err := CompareSummed(summed[i], summed[k], opts)
				if err != nil {
					t.Error(err)
					return
				}
				if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
					t.Errorf("visits %d and %d: %s", i, k, diff)
				}
			})
		}
	}
	all.Wait()
	for i, v := range visits {
		want, err := Summarise(v, opts.Summary)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want.Summary, summed[i].Summary, cmpopts.EquateNaNs()); diff != "" {
			t.Errorf("comparing changed the summary of visit %d: %s", i, diff)
		}
	}

	// Summed up with other options than those of the comparison.
	other := opts
	other.Summary.Resamples = 500
	want, err := Compare(visits[0], visits[1], other)
	if err != nil {
		t.Fatal(err)
	}
	got, err := CompareSummed(summed[0], summed[1], other)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("with other options: %s", diff)
	}
}
