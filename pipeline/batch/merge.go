package batch

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// MergeOptions says what Merge does. Folder must be set; the other fields are
// those of Options.
type MergeOptions struct {
	Folder string
	Find   func(ctx context.Context, folder string) ([]Clip, error) // Nil trusts the ledgers on which clips there are.
	Visit  func(ctx context.Context, folder string, fresh bool) error
	Page   func(l *Ledger) ([]byte, error)
}

// ErrNoLedger is wrapped by the error of a folder in which no share of a batch
// has left a ledger.
var ErrNoLedger = errors.New("no batch has left a ledger there")

// Merge takes the ledgers of all shares of a divided batch together and writes
// one morning page. Shares that are missing, still running or were killed, and
// clips that no share has seen, are named in the ledger's problems and count as
// not reached. Of ledgers left by batches divided otherwise, the division used
// last is taken; what it has not reached and another has done stands as done, so a
// left-over ledger, or one share started by mistake, hides nothing. Merging again gives
// the same.
func Merge(ctx context.Context, opts MergeOptions) (*Ledger, string, error) {
	folder, err := filepath.Abs(opts.Folder)
	if err != nil {
		return nil, "", fmt.Errorf("open folder %s: %w", opts.Folder, err)
	}
	ledgers, others, problems, err := lastDivision(folder)
	if err != nil {
		return nil, "", err
	}
	merged := &Ledger{Schema: LedgerSchema, Shares: len(ledgers), Problems: problems}
	var missing []string
	for i, l := range ledgers {
		if l.Share.Count == 0 {
			missing = append(missing, fmt.Sprint(i+1))
			continue
		}
		merged.take(l)
	}
	done := earlier(others)
	for i, e := range merged.Entries {
		if before, known := done[e.Clip]; known && e.Outcome == NotReached {
			merged.Entries[i] = before
		}
	}
	if opts.Find != nil {
		if err := addUnseen(ctx, folder, merged, done, opts.Find); err != nil {
			return nil, "", err
		}
		// A share that is missing is only missed where something is left for it.
		missing = slices.DeleteFunc(missing, func(i string) bool {
			n, _ := strconv.Atoi(i)
			share := Share{Index: n, Count: len(ledgers)}
			return len(done) > 0 && !slices.ContainsFunc(merged.Entries, func(e Entry) bool { return e.Outcome == NotReached && share.Has(e.Clip) })
		})
	}
	if len(missing) > 0 {
		merged.Stopped = fmt.Sprintf("Of %d shares, these have left no ledger: %s. Start them.", len(ledgers), strings.Join(missing, ", "))
	}
	slices.SortFunc(merged.Entries, func(a, b Entry) int { return strings.Compare(a.Clip, b.Clip) })
	merged.Problems = append(merged.Problems, visits(ctx, folder, merged.Entries, opts.Visit)...)
	if err := ctx.Err(); err != nil {
		return nil, "", err
	}
	merged.Problems = compactStrings(merged.Problems) // Each share has searched the whole folder.
	merged.Totals = Count(merged.Entries)
	page, err := writeMorning(folder, merged, opts.Page)
	return merged, page, err
}

// take adds the ledger of a share.
func (merged *Ledger) take(l *Ledger) {
	switch {
	case l.Ended.IsZero():
		merged.Problems = append(merged.Problems, fmt.Sprintf("Share %s has not ended: it still runs, or it was killed; start it again.", l.Share))
	case l.Stopped != "":
		merged.Problems = append(merged.Problems, fmt.Sprintf("Share %s ended early. %s", l.Share, l.Stopped))
	}
	for _, n := range l.Notes {
		merged.Notes = append(merged.Notes, fmt.Sprintf("Share %s: %s", l.Share, n))
	}
	merged.Problems = append(merged.Problems, l.Problems...)
	if merged.Started.IsZero() || l.Started.Before(merged.Started) {
		merged.Started = l.Started
	}
	if l.Ended.After(merged.Ended) {
		merged.Ended = l.Ended
	}
	merged.Program = l.Program
	for _, e := range l.Entries {
		if e.Outcome == Unfinished {
			e.Outcome, e.Reason = NotReached, "its share has not come to it"
		}
		merged.Entries = append(merged.Entries, e)
	}
}

// earlier returns what ledgers of other divisions know of clips that were finished, the
// latest word of each.
func earlier(others []*Ledger) map[string]Entry {
	slices.SortStableFunc(others, func(a, b *Ledger) int { return a.Started.Compare(b.Started) })
	out := map[string]Entry{}
	for _, l := range others {
		for _, e := range l.Entries {
			switch e.Outcome {
			case Unfinished, NotReached, Busy:
				continue
			case Measured:
				e.Outcome = UpToDate
			}
			e.Fresh = false
			out[e.Clip] = e
		}
	}
	return out
}

// lastDivision returns the ledgers of the division that was used last: index i
// is share i+1; where it has left none, its Share.Count is 0. others are those of other
// divisions.
func lastDivision(folder string) (ledgers, others []*Ledger, problems []string, err error) {
	paths, _ := filepath.Glob(filepath.Join(escapeGlob(filepath.Join(folder, StateFolder)), "ledger*.json"))
	latest := map[int]time.Time{}
	divisions := map[int][]*Ledger{}
	for _, path := range paths {
		l, err := readLedger(path)
		if err != nil {
			problems = append(problems, fmt.Sprintf("A ledger can't be used: %s", strings.ReplaceAll(err.Error(), folder+string(filepath.Separator), "")))
			continue
		}
		if l.Share == nil {
			l.Share = &Share{Index: 1, Count: 1}
		}
		n := l.Share.Count
		divisions[n] = append(divisions[n], l)
		for _, t := range []time.Time{l.Started, l.Ended} {
			if t.After(latest[n]) {
				latest[n] = t
			}
		}
	}
	count := 0
	for n := range divisions {
		if count == 0 || latest[n].After(latest[count]) || latest[n].Equal(latest[count]) && n > count {
			count = n
		}
	}
	if count == 0 {
		return nil, nil, nil, fmt.Errorf("merge %s: %w: run batch --share i/n first", folder, ErrNoLedger)
	}
	ledgers = make([]*Ledger, count)
	for i := range ledgers {
		ledgers[i] = &Ledger{Share: &Share{}}
	}
	for _, l := range divisions[count] {
		ledgers[l.Share.Index-1] = l
	}
	for n, all := range divisions {
		if n != count {
			others = append(others, all...)
		}
	}
	return ledgers, others, problems, nil
}

// addUnseen adds the clips that no share has seen.
func addUnseen(ctx context.Context, folder string, merged *Ledger, done map[string]Entry, find func(ctx context.Context, folder string) ([]Clip, error)) error {
	clips, err := find(ctx, folder)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		if len(clips) == 0 {
			return fmt.Errorf("search folder %s: %w", folder, err)
		}
		merged.Problems = append(merged.Problems, notSearched(err.Error()))
	}
	seen := map[string]bool{}
	for _, e := range merged.Entries {
		seen[e.Clip] = true
	}
	for _, c := range clips {
		name, _ := relative(folder, c.Path)
		if before, known := done[name]; known && !seen[name] {
			merged.Entries = append(merged.Entries, before)
		} else if !seen[name] {
			merged.Entries = append(merged.Entries, Entry{Clip: name, Outcome: NotReached, Reason: "no share has seen it"})
		}
	}
	return nil
}

// compactStrings keeps the first of equal strings.
func compactStrings(all []string) []string {
	var out []string
	for _, s := range all {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}
