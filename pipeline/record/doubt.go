package record

import "slices"

// Doubt is one thing that makes a result unlikely to be what it says.
type Doubt struct {
	// Kind names what is doubted, such as "sides"; package doubt lists them.
	Kind     string   `json:"kind"`
	Severity Severity `json:"severity"`
	Sentence string   `json:"sentence"` // What contradicts what, in words.
	Check    string   `json:"check"`    // What to look at, and what to do then.
}

// Severity is what follows from a doubt.
type Severity string

// The severities, gravest first.
const (
	Refuse     Severity = "refuse"      // No number leaves the program.
	SecondLook Severity = "second look" // Numbers are shown; no limb is named until a person has looked.
	Remark     Severity = "note"        // Said, and nothing follows.
)

// Sides is the kind of doubts of which side is left.
const Sides = "sides"

// SidesDoubted reports whether left and right may be swapped in the marks: what the result
// says of a side may be the other's.
func (r *Result) SidesDoubted() bool {
	return slices.ContainsFunc(r.Doubts, func(d Doubt) bool { return d.Kind == Sides && d.Severity != Remark })
}

// CheckSides is all that is to be done where SidesDoubted.
const CheckSides = "check left and right in the marks, then measure again"

// NextMarks returns which marks would win most, none where SidesDoubted: marks that are added to
// swapped ones mend nothing.
func (r *Result) NextMarks() []Advice {
	if r.SidesDoubted() {
		return nil
	}
	return r.Tracking.Advice
}

// Doubted reports whether a person must look at the result before a limb is named.
func (r *Result) Doubted() bool {
	for _, d := range r.Doubts {
		if d.Severity != Remark {
			return true
		}
	}
	return false
}
