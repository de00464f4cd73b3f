package batch

import (
	"fmt"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// Outcome is what became of one clip.
type Outcome string

// The outcomes.
const (
	Measured   Outcome = "measured"     // By this batch, and nothing is in doubt.
	UpToDate   Outcome = "up-to-date"   // Its results were made from the same inputs.
	NeedsMarks Outcome = "needs-marks"  // The clip can be read and nobody has marked it.
	SecondLook Outcome = "second-look"  // It has results, and something limits them.
	Failed     Outcome = "failed"       // It has no results from these inputs.
	Busy       Outcome = "busy"         // Another run was measuring it.
	NotReached Outcome = "not-reached"  // The batch ended before its turn.
	Unfinished Outcome = "not-finished" // Of a running batch's ledger: planned, not done yet.
)

// Outcomes lists the outcomes in the order in which pages show them.
func Outcomes() []Outcome {
	return []Outcome{Failed, NeedsMarks, SecondLook, Measured, UpToDate, Busy, NotReached, Unfinished}
}

// Cause is the kind of a failure.
type Cause string

// The causes.
const (
	CauseClip      Cause = "clip"       // The clip or what lies beside it can't be used.
	CauseCrash     Cause = "crash"      // The measuring process died.
	CauseTimeLimit Cause = "time-limit" // It was ended for taking too long or for standing still.
	CauseAnswer    Cause = "answer"     // It ended without an answer that can be understood.
	CauseMemory    Cause = "memory"     // It took more memory than there is, or than the batch was given.
	CauseDiskFull  Cause = "disk-full"  // There was no room for the results.
	CauseBusy      Cause = "busy"       // Another run held the clip.
)

// Entry is one clip's line in a ledger.
type Entry struct {
	// Clip is the path below the batch's folder, with slashes.
	Clip    string  `json:"clip"`
	Outcome Outcome `json:"outcome"`
	// Fresh is whether this batch measured the clip (Measured, SecondLook).
	Fresh bool `json:"fresh,omitempty"`
	// Reason says why the outcome is what it is, or why the clip was measured anew.
	Reason string `json:"reason,omitempty"`
	Cause  Cause  `json:"cause,omitempty"` // Of Failed.
	// Said is what the measuring process wrote to its standard error before it
	// failed, shortened.
	Said    string  `json:"said,omitempty"`
	Seconds float64 `json:"seconds,omitempty"` // Taken by the measuring process.
	Report  string  `json:"report,omitempty"`  // Path of the clip's report below the folder, with slashes.
	Facts   *Facts  `json:"facts,omitempty"`   // Of clips with results.
	// Inputs identifies the clip and marks that failed, so that the next batch
	// knows a clip that has failed before.
	Inputs string `json:"inputs,omitempty"`
}

// Shown returns the entry with its paths as they can stand in JSON and on a
// page: names that are no UTF-8 are written by fsx.EscapeName.
func (e Entry) Shown() Entry {
	e.Clip, e.Report = fsx.EscapeName(e.Clip), fsx.EscapeName(e.Report)
	return e
}

// Facts is what a page says of a clip's results in one line.
type Facts struct {
	View     traj.View         `json:"view"`
	Gait     traj.Gait         `json:"gait"`
	Level    geometry.Level    `json:"level"`
	Strides  int               `json:"strides"`
	Score    *metrics.Estimate `json:"score,omitempty"`
	Finding  string            `json:"finding,omitempty"`
	Problems []string          `json:"problems,omitempty"` // What limits the numbers, in sentences.
	Advice   []string          `json:"advice,omitempty"`   // What to do to win most: "mark the left fore in frame 88".
}

// FactsOf picks the facts of a result.
func FactsOf(r *record.Result) Facts {
	f := Facts{View: r.Run.View, Gait: r.Run.Gait, Level: r.Run.Level, Strides: len(r.Run.Strides), Problems: r.Problems}
	if r.Summary != nil {
		f.Finding = r.Summary.Limb.Sentence
		if s := r.Summary.Score; s != nil {
			e := s.Estimate
			f.Score = &e
		}
	}
	if r.SidesDoubted() {
		f.Advice = append(f.Advice, record.CheckSides)
	}
	const most = 3 // The report has all.
	marks := r.NextMarks()
	for _, a := range marks[:min(len(marks), most)] {
		f.Advice = append(f.Advice, fmt.Sprintf("mark the %s in frame %d", a.Landmark.Words(), a.Frame))
	}
	return f
}

// Doubt returns why results need a second look, or "".
func (f *Facts) Doubt() string {
	var reasons []string
	if f.Strides == 0 {
		reasons = append(reasons, "No whole stride could be measured.")
	}
	reasons = append(reasons, f.Problems...)
	const shown = 3 // The report has all.
	if more := len(reasons) - shown; more > 1 {
		reasons = append(reasons[:shown:shown], fmt.Sprintf("And %d more.", more))
	}
	return strings.Join(reasons, " ")
}

// Totals counts entries.
type Totals struct {
	Clips      int `json:"clips"`
	Measured   int `json:"measured"`
	UpToDate   int `json:"up_to_date"`
	NeedsMarks int `json:"needs_marks"`
	SecondLook int `json:"second_look"`
	Failed     int `json:"failed"`
	Busy       int `json:"busy"`
	NotReached int `json:"not_reached"`
}

// Count returns the totals of entries.
func Count(entries []Entry) Totals {
	t := Totals{Clips: len(entries)}
	for _, e := range entries {
		switch e.Outcome {
		case Measured:
			t.Measured++
		case UpToDate:
			t.UpToDate++
		case NeedsMarks:
			t.NeedsMarks++
		case SecondLook:
			t.SecondLook++
		case Failed:
			t.Failed++
		case Busy:
			t.Busy++
		default:
			t.NotReached++
		}
	}
	return t
}

// AllGood reports whether nobody has to do anything.
func (t Totals) AllGood() bool {
	return t.NeedsMarks == 0 && t.SecondLook == 0 && t.Failed == 0 && t.Busy == 0 && t.NotReached == 0
}

func seconds(d time.Duration) float64 {
	return float64(d.Round(10*time.Millisecond)) / float64(time.Second)
}
