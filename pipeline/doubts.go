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
	return slices.Concat(doubt.Named(j.marks, file, there, len(info.Times), info.Turned()), doubt.Pictured(j.marks, info.Mirrored),
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

// mayBeSlow reports whether the clip's own times are doubted: then it may well have been
// filmed at more frames a second than it plays at.
func mayBeSlow(doubts []record.Doubt) bool {
	return slices.ContainsFunc(doubts, func(d record.Doubt) bool { return d.Kind == doubt.Stride && d.Severity == record.SecondLook })
}

// Of how many earlier visits the cameras are asked for where a clip is alone in its own.
const earlierVisits = 3

// cameras returns what the marks of the other clips of the visit say of the camera,
// as far as they were clicked on pictures of the same size; where there are none, what
// those of the horse's last visits before it say. Clips outside a visit's folder have
// nothing to do with each other.
func (s *Surroundings) cameras(path string, m *record.Marks) []doubt.Other {
	date := filepath.Base(s.Folder)
	if !isDated(date) || m.Calibration == nil || m.Calibration.Ground == nil {
		return nil
	}
	if out := camerasIn(s.Folder, filepath.Base(record.MarksPath(path)), m.Picture); len(out) > 0 || !s.HasHorse {
		return out
	}
	// By the folders' names, which are dates: later visits change nothing of this one.
	entries, err := os.ReadDir(filepath.Dir(s.Folder))
	if err != nil {
		return nil
	}
	var out []doubt.Other
	visits := 0
	for _, e := range slices.Backward(entries) {
		if !isDated(e.Name()) || e.Name() >= date || visits == earlierVisits {
			continue
		}
		found := camerasIn(filepath.Join(filepath.Dir(s.Folder), e.Name()), "", m.Picture)
		for i := range found {
			found[i].Visit = e.Name()
		}
		if len(found) > 0 {
			visits++
			out = append(out, found...)
		}
	}
	return out
}

// camerasIn returns what the marks in a folder but own say of the camera.
func camerasIn(folder, own string, picture record.Picture) []doubt.Other {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil // Whoever reads the clips says so.
	}
	var out []doubt.Other
	for _, e := range entries {
		name := e.Name()
		if name == own || strings.HasPrefix(name, ".") || !strings.HasSuffix(name, ".marks.json") {
			continue
		}
		other, err := record.ReadMarks(filepath.Join(folder, name))
		if err != nil || other.Picture != picture {
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
		return slices.DeleteFunc(slices.Clone(all), func(d record.Doubt) bool { return d.Kind != doubt.Others && d.Kind != doubt.Lens })
	}
	return slices.Equal(of(then), of(now))
}
