package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline"
	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/markpage"
	"jogstrip/pipeline/proc"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/table"
)

// measuringStall is how long a clip's process may go without telling of
// progress before the page gives it up.
const measuringStall = 10 * time.Minute

// clipMeasurer measures clips for the marks page, each in a process of its own,
// and reads their results for the second look.
type clipMeasurer struct {
	command func(clip string) *exec.Cmd // The process that measures a clip: the worker command.

	mu     sync.Mutex
	states map[string]keptState
}

// keptState spares reading results that have not changed.
type keptState struct {
	stamps [3]time.Time // Of result, marks and clip.
	state  markpage.State
}

var (
	_ markpage.Measurer = (*clipMeasurer)(nil)
	_ markpage.Summer   = (*clipMeasurer)(nil)
	_ markpage.Comparer = (*clipMeasurer)(nil)
)

// newClipMeasurer returns a measurer that starts this program again.
func newClipMeasurer() (*clipMeasurer, error) {
	self, err := proc.Self()
	if err != nil {
		return nil, err
	}
	return &clipMeasurer{command: func(clip string) *exec.Cmd {
		cmd := exec.Command(self, "worker", "--again", "--", clip)
		cmd.Args[0] = os.Args[0]
		return cmd
	}}, nil
}

// Measure implements markpage.Measurer.
func (m *clipMeasurer) Measure(ctx context.Context, clip string, progress func(markpage.Progress)) error {
	_, err := batch.One(ctx, m.command(clip), measuringStall, func(stage string, done, total int) {
		progress(markpage.Progress{Stage: stage, Done: done, Total: total})
	})
	return err
}

// State implements markpage.Measurer.
func (m *clipMeasurer) State(clip string) (markpage.State, error) {
	stamps := [3]time.Time{modified(filepath.Join(record.OutPath(clip), record.ResultFile)), modified(record.MarksPath(clip)), modified(clip)}
	if stamps[0].IsZero() {
		return markpage.State{}, nil
	}
	m.mu.Lock()
	kept, ok := m.states[clip]
	m.mu.Unlock()
	if ok && kept.stamps == stamps {
		return kept.state, nil
	}
	result, err := record.ReadResult(record.OutPath(clip))
	if err != nil {
		return markpage.State{}, err
	}
	state := markpage.State{
		Measured: true, SecondLook: secondLook(result), Report: filepath.Base(record.OutPath(clip)) + "/" + pipeline.ReportFile,
		// The whole clip is hashed when it is measured, not for a list.
		Stale: result.Program.Measuring != pipeline.MeasuringVersion || stamps[2].After(stamps[0]),
	}
	sum, err := fsx.Hash(context.Background(), record.MarksPath(clip))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return markpage.State{}, err
	}
	state.Stale = state.Stale || sum != result.Inputs.MarksSHA256
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.states == nil || len(m.states) > 10000 {
		m.states = make(map[string]keptState)
	}
	m.states[clip] = keptState{stamps, state}
	return state, nil
}

// SumUp implements markpage.Summer.
func (m *clipMeasurer) SumUp(ctx context.Context, folder string) error {
	return visitPages(pipeline.MeasureOptions{Program: program()})(ctx, folder, false)
}

// Compare implements markpage.Comparer.
func (m *clipMeasurer) Compare(ctx context.Context, before, after string) error {
	_, err := pipeline.CompareVisits(ctx, before, after, pipeline.CompareOptions{Program: program(), NoVideo: true}) // A person waits for it.
	return err
}

// History implements markpage.Comparer.
func (m *clipMeasurer) History(ctx context.Context, horse string) error {
	_, err := pipeline.History(ctx, horse, pipeline.CompareOptions{Program: program()})
	return err
}

func modified(path string) time.Time {
	stat, err := os.Stat(path)
	if err != nil {
		return time.Time{}
	}
	return stat.ModTime()
}

// secondLook says why a person should look at the results, or "", as the morning page does:
// where another mark would win a few frames alone, the clip is good.
func secondLook(r *record.Result) string {
	if len(r.Run.Strides) == 0 {
		return "no whole stride could be measured"
	}
	if len(r.Problems) > 0 {
		return r.Problems[0]
	}
	return ""
}

// Look implements markpage.Measurer.
func (m *clipMeasurer) Look(_ context.Context, clip string) (*markpage.Look, error) {
	out := record.OutPath(clip)
	result, err := record.ReadResult(out)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	look := &markpage.Look{
		Tracks: []markpage.LookTrack{}, Contacts: []markpage.LookContact{}, Losses: []markpage.LookLoss{}, Advice: []markpage.LookAdvice{},
		Finding: shortSentences(result), Notes: slices.Concat([]string{}, result.Problems, result.Tracking.Notes, result.Run.Notes),
	}
	for _, d := range result.Doubts {
		if d.Severity == record.SecondLook {
			look.Doubts = append(look.Doubts, markpage.LookDoubt{Kind: d.Kind, Sentence: d.Sentence, Check: d.Check})
			look.Notes = slices.DeleteFunc(look.Notes, func(n string) bool { return strings.HasPrefix(n, d.Sentence) })
		}
	}
	for _, c := range result.Run.Contacts {
		look.Contacts = append(look.Contacts, markpage.LookContact{Limb: c.Limb, On: c.On, Off: c.Off})
	}
	for _, l := range result.Tracking.Losses {
		look.Losses = append(look.Losses, markpage.LookLoss{Landmark: l.Landmark, First: l.First, Last: l.Last, Reason: l.Cause, Bridged: l.Bridged})
	}
	for _, a := range result.Tracking.Advice {
		look.Advice = append(look.Advice, markpage.LookAdvice{Frame: a.Frame, Landmark: a.Landmark, Wins: a.Wins, Reason: a.Reason})
	}
	if look.Tracks, err = readTracks(filepath.Join(out, "signals.csv")); err != nil {
		return nil, err
	}
	return look, nil
}

// shortSentences says what was found on a clip in sentences that are read at a
// glance.
func shortSentences(r *record.Result) []string {
	if r.Summary == nil {
		return []string{"Nothing could be measured."}
	}
	out := splitSentences(r.Summary.Limb.Sentence)
	if s := r.Summary.Score; s != nil && !metrics.TooLittleSeen(r.Summary.Limb.Sentence) {
		out = append(out, fmt.Sprintf("Asymmetry score %.2f, with 95 %% certainty between %.2f and %.2f.", s.Value, s.Low, s.High), metrics.ScoreScale+".")
	}
	if n := r.Summary.Strides; n == 1 {
		out = append(out, "1 stride was measured.")
	} else {
		out = append(out, fmt.Sprintf("%d strides were measured.", n))
	}
	return out
}

// splitSentences cuts a text where a sentence ends and at semicolons, but not
// inside brackets.
func splitSentences(text string) []string {
	var out []string
	runes, from, depth := []rune(strings.TrimSpace(text)), 0, 0
	add := func(to int) {
		s := []rune(strings.TrimRight(strings.TrimSpace(string(runes[from:to])), ".;"))
		if len(s) > 0 {
			out = append(out, strings.ToUpper(string(s[:1]))+string(s[1:])+".")
		}
		from = to
	}
	for i, c := range runes {
		switch {
		case c == '(':
			depth++
		case c == ')':
			depth--
		case depth == 0 && (c == ';' || c == '.') && i+1 < len(runes) && runes[i+1] == ' ':
			add(i + 1)
		}
	}
	add(len(runes))
	return out
}

// readTracks reads the landmarks' places from a table of signals.
func readTracks(path string) (tracks []markpage.LookTrack, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read tracks: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	set, _, err := table.ReadSignals(f)
	if err != nil {
		return nil, fmt.Errorf("read tracks %s: %w", path, err)
	}
	for _, track := range set.Tracks {
		t := markpage.LookTrack{Landmark: track.Landmark}
		for _, s := range track.Samples {
			t.X, t.Y, t.SD = append(t.X, s.X), append(t.Y, s.Y), append(t.SD, s.SD)
			t.Status = append(t.Status, s.Status.String())
		}
		tracks = append(tracks, t)
	}
	return tracks, nil
}
