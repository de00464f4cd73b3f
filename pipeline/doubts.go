package pipeline

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"jogstrip/metrics"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/doubt"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// doubts holds what was measured against the clip's inputs.
func (j *job) doubts(info *clip.Info, set *traj.Set, run *metrics.Run, summary *metrics.Summary) []record.Doubt {
	file := filepath.Base(j.path)
	there := false
	if other := j.marks.Clip; other != "" && other != file && filepath.Base(other) == other {
		_, err := os.Stat(filepath.Join(filepath.Dir(j.path), other))
		there = err == nil
	}
	return slices.Concat(doubt.Named(j.marks, file, there), doubt.Pictured(j.marks, info.Mirrored),
		doubt.OfRun(doubt.Measured{Marks: j.marks, Set: set, Run: run, Summary: summary, WithersM: j.withers(), Others: j.others}))
}

// refused returns an error that wraps ErrRefused where doubts let no number leave.
func refused(path string, doubts []record.Doubt) error {
	if text := doubt.Refusal(doubts); text != "" {
		return fmt.Errorf("clip %s: %w: %s", path, ErrRefused, text)
	}
	return nil
}

// addDoubts writes doubts into a result: those that want a second look stand first
// among what limits it, and no limb is named.
func addDoubts(r *record.Result, doubts []record.Doubt) {
	r.Doubts = doubts
	var looks []string
	for _, d := range doubts {
		if d.Severity == record.Remark {
			r.Tracking.Notes = append(r.Tracking.Notes, d.Sentence+" "+d.Check)
			continue
		}
		looks = append(looks, d.Sentence+" "+d.Check)
	}
	r.Problems = append(looks, r.Problems...)
	doubt.Withhold(r.Summary, doubts)
}

// cameras returns what the marks of the other clips of the visit say of the camera,
// as far as they were clicked on pictures of the same size. Clips outside a visit's
// folder have nothing to do with each other.
func (s *Surroundings) cameras(path string, m *record.Marks) []doubt.Other {
	if !isDated(filepath.Base(s.Folder)) || m.Calibration == nil || m.Calibration.Ground == nil {
		return nil
	}
	own := filepath.Base(record.MarksPath(path))
	entries, err := os.ReadDir(s.Folder)
	if err != nil {
		return nil // Whoever reads the clips says so.
	}
	var out []doubt.Other
	for _, e := range entries {
		name := e.Name()
		if name == own || strings.HasPrefix(name, ".") || !strings.HasSuffix(name, ".marks.json") {
			continue
		}
		other, err := record.ReadMarks(filepath.Join(s.Folder, name))
		if err != nil || other.Picture != m.Picture {
			continue
		}
		if c, ok := doubt.CameraOf(strings.TrimSuffix(name, ".marks.json"), other); ok {
			out = append(out, c)
		}
	}
	return out
}

// sameDoubts reports whether what was doubted for the sake of other clips still is.
func sameDoubts(then, now []record.Doubt) bool {
	of := func(all []record.Doubt) []record.Doubt {
		return slices.DeleteFunc(slices.Clone(all), func(d record.Doubt) bool { return d.Kind != doubt.Others })
	}
	return slices.Equal(of(then), of(now))
}
