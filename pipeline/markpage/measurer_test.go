package markpage

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"sync"
	"time"

	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// pretendMeasurer stands in for measuring: it carries every mark unchanged
// through the clip and advises one more frame while only one is marked.
type pretendMeasurer struct {
	mu       sync.Mutex
	measured map[string]record.Marks
	frames   int
	fail     error
	seen     chan struct{} // Where it is set, measuring lasts until something is sent: however slow the browser is, a test sees it going on.
}

func (m *pretendMeasurer) Measure(ctx context.Context, clip string, progress func(Progress)) error {
	for i := range 10 {
		progress(Progress{Stage: "tracking", Done: i, Total: 10})
		select {
		case <-time.After(30 * time.Millisecond):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if m.seen != nil {
		select {
		case <-m.seen:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if m.fail != nil {
		return m.fail
	}
	marks, err := record.ReadMarks(record.MarksPath(clip))
	if err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.measured == nil {
		m.measured = make(map[string]record.Marks)
	}
	m.measured[clip] = *marks
	return nil
}

func (m *pretendMeasurer) State(clip string) (State, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	marks, ok := m.measured[clip]
	if !ok {
		return State{}, nil
	}
	s := State{Measured: true, Report: filepath.Base(record.OutPath(clip)) + "/report.html"}
	if one(marks) {
		s.SecondLook = "the left fore hoof was lost for 12 frames"
	}
	if now, err := os.Stat(record.MarksPath(clip)); err == nil && now.Size() == 0 {
		s.Stale = true
	}
	return s, nil
}

func one(marks record.Marks) bool {
	frames := map[int]bool{}
	for _, k := range marks.Marks {
		frames[k.Frame] = true
	}
	return len(frames) < 2
}

func (m *pretendMeasurer) Look(_ context.Context, clip string) (*Look, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	marks, ok := m.measured[clip]
	if !ok {
		return nil, nil
	}
	look := &Look{Finding: []string{"Signs point nowhere.", "This is a stand-in for measuring."}, Contacts: []LookContact{{traj.LeftFore, 0.1, 0.4}}, Losses: []LookLoss{}, Advice: []LookAdvice{}, Notes: []string{}}
	for _, l := range marks.Landmarks() {
		t := traj.Track{Landmark: l, Samples: make([]traj.Sample, m.frames)}
		for f := range t.Samples {
			t.Samples[f] = traj.Sample{X: 100, Y: 100, SD: 0.3, Quality: 0.8, Status: traj.Tracked}
			if f > m.frames/2 && f < m.frames/2+4 {
				t.Samples[f] = traj.Gone()
				t.Samples[f].SD = math.NaN()
			}
		}
		look.Tracks = append(look.Tracks, trackLook(t))
	}
	if one(marks) {
		look.Losses = append(look.Losses, LookLoss{traj.Head, 2, 3, "blurred", false}, LookLoss{traj.RightFore, 1, 12, "blurred", true}, LookLoss{traj.LeftFore, m.frames / 2, m.frames/2 + 4, "hidden by the other limb", false})
		look.Advice = append(look.Advice, LookAdvice{m.frames/2 + 2, traj.LeftFore, 12, "12 frames would be won"})
	}
	return look, nil
}

// trackLook returns the look of a track.
func trackLook(t traj.Track) LookTrack {
	n := len(t.Samples)
	l := LookTrack{Landmark: t.Landmark, X: make(Values, n), Y: make(Values, n), SD: make(Values, n), Status: make([]string, n)}
	for i, s := range t.Samples {
		l.X[i], l.Y[i], l.SD[i], l.Status[i] = s.X, s.Y, s.SD, s.Status.String()
	}
	return l
}
