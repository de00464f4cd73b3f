package batch

import (
	"errors"
	"strings"
	"testing"

	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// What a process says when the system gives it no memory differs with what asked for it:
// Go's heap, a thread's stack, the C++ library, FFmpeg. Each must be told as lack of memory.
func TestVerdictTellsLackOfMemory(t *testing.T) {
	for _, said := range []string{
		"fatal error: out of memory allocating heap arena map\n\nruntime stack:\n",
		"runtime/cgo: pthread_create failed: Resource temporarily unavailable\nSIGABRT: abort\nrax 0x0\ngs 0x0\n",
		"terminate called after throwing an instance of 'std::bad_alloc'\n  what():  std::bad_alloc\n",
		"[h264 @ 0x1] get_buffer() failed: Cannot allocate memory\n",
	} {
		f := verdict(nil, nil, nil, errors.New("exit status 2"), message{}, 0, said)
		if f == nil || f.cause != CauseMemory || !strings.Contains(f.reason, "more memory than this process may have") {
			t.Errorf("%q: %+v", said, f)
		}
	}
	f := verdict(nil, nil, nil, errors.New("exit status 2"), message{}, 0, "panic: index out of range\n\ngoroutine 1\ngs 0x0\n")
	if f == nil || f.cause != CauseCrash || !strings.Contains(f.reason, "panic: index out of range") {
		t.Errorf("a panic: %+v", f)
	}
}

// TestAdviceSaysWhatToMarkAndWhere checks that a clip's facts name the landmark and the frame of
// the mark that would win most.
func TestAdviceSaysWhatToMarkAndWhere(t *testing.T) {
	r := &record.Result{}
	r.Tracking.Advice = []record.Advice{{Landmark: traj.LeftFore, Frame: 88, Reason: "left fore is lost from frame 0 to frame 162"}}
	swapped := *r
	swapped.Doubts = []record.Doubt{{Kind: record.Sides, Severity: record.SecondLook, Sentence: "The hinds land across the midline."}}
	if got, want := strings.Join(FactsOf(&swapped).Advice, "; "), "check left and right in the marks, then measure again"; got != want {
		t.Errorf("of swapped sides: %q, want %q", got, want)
	}
	if got, want := strings.Join(FactsOf(r).Advice, "; "), "mark the left fore in frame 88"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
