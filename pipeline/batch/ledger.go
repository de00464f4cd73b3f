package batch

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"jogstrip/pipeline/fsx"
)

// LedgerSchema is the schema field of a ledger and of morning.json.
const LedgerSchema = "jogstrip-batch/1"

// Names of the files that a batch leaves in its folder.
const (
	MorningPage = "morning.html"
	MorningData = "morning.json"
)

// Ledger is what became of every clip of one batch, or of one share of it.
type Ledger struct {
	Schema  string    `json:"schema"`
	Program string    `json:"program"`           // Version of the program.
	Share   *Share    `json:"share,omitempty"`   // Nil is the whole folder.
	Shares  int       `json:"shares,omitempty"`  // Of a merged ledger: how many were taken together.
	Host    string    `json:"host,omitempty"`    // Where it ran.
	Started time.Time `json:"started"`           // UTC.
	Ended   time.Time `json:"ended,omitzero"`    // UTC; zero while the batch runs or where it was killed.
	Stopped string    `json:"stopped,omitempty"` // Why it ended before its end, in words; empty where it did not.
	Notes   []string  `json:"notes,omitempty"`   // What people should know of the whole, in sentences.
	// Problems are sentences about what went wrong beside the clips: folders that
	// could not be searched, pages of visits that could not be made.
	Problems []string `json:"problems,omitempty"`
	Totals   Totals   `json:"totals"`
	Entries  []Entry  `json:"clips"` // Sorted by clip.
}

// AllGood reports whether the batch came to its end and nobody has to do
// anything.
func (l *Ledger) AllGood() bool {
	return l.Totals.AllGood() && len(l.Problems) == 0 && l.Stopped == ""
}

func (l *Ledger) marshal() ([]byte, error) {
	copied := *l
	copied.Schema = LedgerSchema
	copied.Entries = slices.Clone(l.Entries)
	slices.SortFunc(copied.Entries, func(a, b Entry) int { return strings.Compare(a.Clip, b.Clip) })
	if copied.Entries == nil {
		copied.Entries = []Entry{}
	}
	copied.Totals = Count(copied.Entries)
	for i := range copied.Entries {
		copied.Entries[i] = copied.Entries[i].Shown()
	}
	data, err := json.MarshalIndent(&copied, "", " ")
	if err != nil {
		return nil, fmt.Errorf("write ledger: %w", err)
	}
	return append(data, '\n'), nil
}

// ParseLedger reads a ledger or the data of a morning page; path only serves
// errors.
func ParseLedger(path string, data []byte) (*Ledger, error) {
	var head struct {
		Schema string `json:"schema"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return nil, fmt.Errorf("read %s: it is not a whole ledger: %w", path, err)
	}
	if head.Schema != LedgerSchema {
		return nil, fmt.Errorf("read %s: field schema is %q, must be %q", path, head.Schema, LedgerSchema)
	}
	l := new(Ledger)
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(l); err != nil {
		var wrong *json.UnmarshalTypeError
		if errors.As(err, &wrong) {
			return nil, fmt.Errorf("read %s: field %s is a %s, must be a %s", path, wrong.Field, wrong.Value, wrong.Type)
		}
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	if s := l.Share; s != nil && (s.Count < 1 || s.Count > maxShares || s.Index < 1 || s.Index > s.Count) {
		return nil, fmt.Errorf("read %s: share is %d of %d; allowed: 1 ≤ index ≤ count", path, s.Index, s.Count)
	}
	known := Outcomes()
	for i := range l.Entries {
		e := &l.Entries[i]
		e.Clip, e.Report = fsx.UnescapeName(e.Clip), fsx.UnescapeName(e.Report)
		if !slices.Contains(known, e.Outcome) {
			return nil, fmt.Errorf("read %s: clips.%d.outcome is %q; allowed: %v", path, i, e.Outcome, known)
		}
		if !filepath.IsLocal(filepath.FromSlash(e.Clip)) {
			return nil, fmt.Errorf("read %s: clips.%d.clip is %q; allowed: a path below the folder", path, i, e.Clip)
		}
	}
	return l, nil
}

func readLedger(path string) (*Ledger, error) {
	data, err := fsx.ReadFile(path, memoryLimit)
	if err != nil {
		return nil, fmt.Errorf("read ledger: %w", err)
	}
	return ParseLedger(path, data)
}

func ledgerName(s Share) string { return stateName("ledger", s) }

// stateName names a file of the state folder for the whole or for a share.
func stateName(what string, s Share) string {
	if s.whole() {
		return what + ".json"
	}
	return fmt.Sprintf("%s-%d-of-%d.json", what, s.Index, s.Count)
}
