package track_test

import (
	"runtime"
	"testing"

	"jogstrip/track"
	"jogstrip/track/traj"
)

// spent is what one run cost, in counts that do not depend on how fast the machine
// is or what else it does.
type spent struct {
	cgo   int64  // Calls from Go into C.
	bytes uint64 // Allocated on Go's heap, freed or not.
}

func cost(t *testing.T, m *movie, marks ...track.Mark) spent {
	t.Helper()
	open := m.open() // Renders.
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	calls := runtime.NumCgoCall()
	r, err := track.Run(t.Context(), open, marks, track.Options{ScratchDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	calls = runtime.NumCgoCall() - calls
	runtime.ReadMemStats(&after)
	for _, tr := range r.Set.Tracks {
		for f, s := range tr.Samples {
			if !s.Status.Followed() {
				t.Fatalf("%s is not followed in frame %d: the count says nothing", tr.Landmark, f)
			}
		}
	}
	return spent{calls, after.TotalAlloc - before.TotalAlloc}
}

// What a further frame costs is watched in counts: calls into C, of which each
// hands a thread over, and bytes that the collector has to clear up. Both stay well
// below what copies of pictures, or planes made anew in every step, would bring.
// What is done once a clip cancels out.
func TestCostOfAFrame(t *testing.T) {
	const short, long = 40, 80
	m := approach(long)
	whole := *m
	whole.open() // Rendered once for both.
	first := *m
	first.frames = short
	first.frozen = whole.frozen[:short:short]
	perFrame := func(marks ...track.Mark) (cgo, bytes float64) {
		a, b := cost(t, &first, marks...), cost(t, &whole, marks...)
		return float64(b.cgo-a.cgo) / (long - short), (float64(b.bytes) - float64(a.bytes)) / (long - short)
	}
	cgo, bytes := perFrame(markAt(m, 0, 0, traj.Head))
	t.Logf("one landmark: %.0f calls into C and %.0f KiB a frame of %d×%d", cgo, bytes/1024, m.width, m.height)
	// Counted when this was written: 47 calls and 39 KiB; under the race detector,
	// which lets pools forget, 56 KiB.
	const mostCalls, mostBytes = 65, 75 << 10
	if cgo > mostCalls {
		t.Errorf("%.0f calls into C a frame, at most %d are expected", cgo, mostCalls)
	}
	if bytes > mostBytes {
		t.Errorf("%.0f bytes a frame, at most %d are expected", bytes, mostBytes)
	}
}
