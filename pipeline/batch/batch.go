package batch

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sync/semaphore"

	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
)

// Clip is one clip that a folder holds.
type Clip struct {
	Path  string
	Marks bool // Whether marks lie beside it.
	// Problem says why it cannot be measured whatever it holds; nil where there
	// is no such reason.
	Problem error
}

// State is what a look at a clip's results tells.
type State struct {
	UpToDate bool
	Reason   string // Why not.
	Facts    *Facts // Of results that are up to date.
}

// Options says what a batch does. Folder, Find, Check and Command must be set.
type Options struct {
	Folder  string
	Share   Share  // The zero value is the whole folder.
	Program string // Version of the program, for the ledger.

	// Find returns the clips in and below folder. Where it returns clips and an
	// error, the error names what could not be searched.
	Find func(ctx context.Context, folder string) ([]Clip, error)
	// Check tells whether a clip's results still hold; hash gives the SHA-256 of
	// a file. It is called by several goroutines at once.
	Check func(ctx context.Context, clip string, hash func(ctx context.Context, path string) (string, error)) (State, error)
	// Probe opens a clip far enough to say whether it can be read and returns
	// its picture size, px. Nil leaves clips without marks unopened and takes
	// every picture for 1920 × 1080.
	Probe func(ctx context.Context, clip string) (width, height int, err error)
	// Command returns the process that measures a clip: one that calls Serve. Its
	// standard input and output are left to the batch.
	Command func(clip string) *exec.Cmd
	// Visit brings the page of a visit up to date whose clips lie in folder; fresh
	// is whether one of them was measured now. It is called at the end, for
	// every folder that has results; in a divided batch, by Merge. Nil leaves
	// these pages alone.
	Visit func(ctx context.Context, folder string, fresh bool) error
	// Page makes the morning page; nil writes its data only.
	Page func(l *Ledger) ([]byte, error)
	// Remarks returns what people should know of the pages around the clips in a folder,
	// in sentences; nil has none. It is called once for every folder with clips.
	Remarks func(folder string) []string
	// Report is the name of the report inside a clip's results folder; empty
	// leaves links out.
	Report string

	// Workers is how many processes run at once; 0 is one per processor that may be
	// used. They share the processors: each is told its number as GOMAXPROCS.
	Workers int
	Memory  int64 // What they may take together, bytes; 0 is four fifths of what is available.
	// TimeLimit is the longest a clip may take; 0 is none.
	TimeLimit time.Duration
	// Stall is the longest a clip may go without telling of progress; 0 is none.
	Stall time.Duration
	// Again measures clips that are up to date, too.
	Again bool

	// Event, where set, is told what happens, by one goroutine at a time.
	Event func(Event)
	// Now gives the time; nil is time.Now.
	Now func() time.Time
}

// ErrReadOnly is wrapped by the error of a folder in which there is something
// to measure and nothing can be written.
var ErrReadOnly = errors.New("nothing can be written there")

// ErrDiskFull is wrapped by the error of a batch that ran out of room.
var ErrDiskFull = errors.New("the disk is full")

// ErrNoClips is wrapped by the error of a folder in which there is no clip; nothing is
// written there.
var ErrNoClips = errors.New("there is no clip in it (a file called .mp4, .mov, .m4v, .3gp, .mkv, .webm, .avi, .mts, .mpg or .mpeg); is it the right folder, and is its drive there?")

// notSearched says what a search met.
func notSearched(problem string) string {
	if strings.HasPrefix(problem, "search ") {
		return "Not searched: " + problem
	}
	return problem
}

// run is a batch on its way.
type run struct {
	Options
	state    string // The state folder; empty where nothing can be written.
	hashes   *Hashes
	before   map[string]Entry // What became of each clip last time.
	budget   int64
	ledger   Ledger
	place    map[string]int // Of a clip in ledger.Entries.
	lastSave time.Time

	mu sync.Mutex // Guards ledger, lastSave and the order of events.
}

// job is a clip that is to be measured.
type job struct {
	path, name string
	reason     string
	inputs     string
	bytes      int64
	failedLast bool
	again      bool // Another run held it at its first turn.
}

// Run measures what is to be measured in a folder and returns what became of
// every clip. The ledger is complete also where an error says that the batch
// ended before its end: canceled (the context's error), out of room
// (ErrDiskFull). Before anything was done it returns a nil ledger and an error:
// another batch holds the folder (*HeldError), nothing can be written although
// there is something to measure (ErrReadOnly), the folder is not there.
func Run(ctx context.Context, opts Options) (*Ledger, error) {
	r, err := newRun(opts)
	if err != nil {
		return nil, err
	}
	if r.state != "" {
		note := fmt.Sprintf("process %d on %s since %s", os.Getpid(), r.ledger.Host, r.Now().Format("2006-01-02 15:04"))
		release, locked, err := hold(r.Folder, r.Share, note)
		if err != nil {
			return nil, err
		}
		defer func() { _ = release() }() // The kernel lets go of it anyway.
		if !locked {
			r.note("This drive knows no locks: make sure that no other batch runs on the folder.")
		}
	}
	r.tell(Event{Kind: EventStart, Folder: r.Folder, Share: r.Share})
	for _, n := range r.ledger.Notes {
		r.tell(Event{Kind: EventNote, Text: n})
	}
	r.hashes = newHashes(r.Folder, r.Now)
	r.recall()
	jobs, err := r.plan(ctx)
	if err != nil && ctx.Err() == nil {
		return nil, err
	}
	if len(jobs) > 0 && r.state == "" {
		count := fmt.Sprintf("%d clips are", len(jobs))
		if len(jobs) == 1 {
			count = "1 clip is"
		}
		return nil, fmt.Errorf("folder %s: %s to be measured: %w; copy the folder to a drive that can be written to, or ask for the right to write", r.Folder, count, ErrReadOnly)
	}
	if err == nil {
		err = r.measure(ctx, jobs)
	}
	return r.end(ctx, err)
}

func newRun(opts Options) (*run, error) {
	r := &run{Options: opts, place: map[string]int{}, before: map[string]Entry{}}
	r.Share = r.Share.normal()
	if r.Now == nil {
		r.Now = time.Now
	}
	if r.Workers <= 0 {
		r.Workers = runtime.GOMAXPROCS(0)
	}
	folder, err := filepath.Abs(opts.Folder)
	if err != nil {
		return nil, fmt.Errorf("open folder %s: %w", opts.Folder, err)
	}
	r.Folder = folder
	stat, err := os.Stat(folder)
	if err != nil {
		return nil, fmt.Errorf("open folder: %w", err)
	}
	if !stat.IsDir() {
		return nil, fmt.Errorf("open folder %s: it is a file; to measure a single clip use measure", folder)
	}
	host, _ := os.Hostname() // Only told to people.
	r.ledger = Ledger{Program: opts.Program, Host: host, Started: r.Now().UTC().Truncate(time.Second)}
	if !r.Share.whole() {
		share := r.Share
		r.ledger.Share = &share
	}
	if r.budget = opts.Memory; r.budget <= 0 {
		r.budget = 1 << 60 // Where the system does not tell, only the number of processes is a limit.
		if free, ok := AvailableMemory(); ok {
			r.budget = free / 5 * 4
		}
	}
	if err := writable(folder); err != nil {
		if !readOnly(err) {
			return nil, fmt.Errorf("open folder %s: %w", folder, err)
		}
		why := "the drive is read-only"
		for _, path := range []string{folder, filepath.Join(folder, StateFolder), filepath.Join(folder, StateFolder, lockFile)} {
			if whose := fsx.Owner(path); whose != "" && fsx.Access(path, false) != nil {
				name, _ := filepath.Rel(folder, path)
				if name == "." {
					name = "it"
				}
				why = fmt.Sprintf("%s belongs to %s; ask for the right to write there", name, whose)
				break
			}
		}
		r.ledger.Notes = append(r.ledger.Notes, "Nothing can be written into this folder ("+why+"): no results, no morning page, no lock.")
		return r, nil
	}
	r.state = filepath.Join(folder, StateFolder)
	return r, nil
}

// writable makes the state folder and reports whether files can be made there.
// A disk that is full is writable: nothing may be left to do.
func writable(folder string) error {
	state := filepath.Join(folder, StateFolder)
	if err := fsx.MakeFolder(state); err != nil {
		return err
	}
	path := filepath.Join(state, lockFile)
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return err
	}
	fsx.Share(path)
	if err := fsx.Access(state, true); err != nil {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}

func (r *run) tell(e Event) {
	if r.Event == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.Event(e)
}

// note keeps a sentence for the morning page.
func (r *run) note(text string) {
	r.mu.Lock()
	r.ledger.Notes = append(r.ledger.Notes, text)
	r.mu.Unlock()
}

// recall reads what became of clips last time. What cannot be read is not
// known.
func (r *run) recall() {
	paths, _ := filepath.Glob(filepath.Join(escapeGlob(filepath.Join(r.Folder, StateFolder)), "ledger*.json"))
	for _, path := range paths {
		l, err := readLedger(path)
		if err != nil {
			continue
		}
		for _, e := range l.Entries {
			if e.Inputs != "" {
				r.before[e.Clip] = e
			}
		}
	}
}

// plan looks at every clip and returns those to be measured, those that failed
// last time at the end. What is to be done with the others is settled here.
func (r *run) plan(ctx context.Context) ([]job, error) {
	mine, err := r.find(ctx)
	if err != nil {
		return nil, err
	}
	r.remark(mine)
	jobs, err := r.lookAt(ctx, mine)
	if err != nil {
		return nil, err
	}
	var todo []job
	var bytes int64
	for _, j := range jobs {
		if j != nil {
			todo = append(todo, *j)
			bytes += j.bytes
			if j.failedLast { // Not forgotten where this batch is killed.
				r.ledger.Entries[r.place[j.name]].Inputs = j.inputs
			}
		}
	}
	slices.SortStableFunc(todo, func(a, b job) int {
		switch {
		case a.failedLast == b.failedLast:
			return 0
		case b.failedLast:
			return -1
		}
		return 1
	})
	r.tell(Event{Kind: EventPlanned, Totals: Count(r.ledger.Entries), Total: len(todo), Bytes: bytes})
	for i := range r.ledger.Entries {
		if e := r.ledger.Entries[i]; e.Outcome != Unfinished {
			r.tell(Event{Kind: EventClip, Clip: e.Clip, Entry: &e})
		}
	}
	return todo, nil
}

// find returns the clips of this share and enters them into the ledger.
func (r *run) find(ctx context.Context) ([]Clip, error) {
	clips, err := r.Find(ctx, r.Folder)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		if len(clips) == 0 {
			return nil, fmt.Errorf("search folder %s: %w", r.Folder, err)
		}
		for _, line := range strings.Split(err.Error(), "\n") {
			text := r.shorten(notSearched(line))
			r.ledger.Problems = append(r.ledger.Problems, text)
			r.tell(Event{Kind: EventNote, Text: text})
		}
	}
	if len(clips) == 0 && err == nil {
		return nil, fmt.Errorf("folder %s: %w", r.Folder, ErrNoClips)
	}
	var mine []Clip
	for _, c := range clips {
		if name, _ := relative(r.Folder, c.Path); r.Share.Has(name) {
			r.place[name] = len(mine)
			mine = append(mine, c)
			r.ledger.Entries = append(r.ledger.Entries, Entry{Clip: name, Outcome: Unfinished})
		}
	}
	return mine, nil
}

// lookAt looks at every clip, several at once. It returns the jobs, nil for a clip that
// needs none, of which the ledger then says why. Index: as mine.
func (r *run) lookAt(ctx context.Context, mine []Clip) ([]*job, error) {
	jobs := make([]*job, len(mine))
	var looked int
	group, groupCtx := errgroup.WithContext(ctx)
	group.SetLimit(max(2, runtime.GOMAXPROCS(0)))
	for i, c := range mine {
		group.Go(func() error {
			if err := groupCtx.Err(); err != nil {
				return err
			}
			entry, j := r.look(groupCtx, c)
			if err := groupCtx.Err(); err != nil {
				return err
			}
			jobs[i] = j
			r.mu.Lock()
			defer r.mu.Unlock()
			if j == nil {
				r.ledger.Entries[i] = *entry
			}
			looked++
			if r.Event != nil {
				r.Event(Event{Kind: EventPlan, Done: looked, Total: len(mine)})
			}
			return nil
		})
	}
	return jobs, group.Wait()
}

// remark keeps what is to be said of the folders that hold the clips.
func (r *run) remark(clips []Clip) {
	if r.Remarks == nil {
		return
	}
	seen := map[string]bool{}
	for _, c := range clips {
		folder := filepath.Dir(c.Path)
		if seen[folder] {
			continue
		}
		seen[folder] = true
		for _, text := range r.Remarks(folder) {
			text = r.shorten(text)
			r.note(text)
			r.tell(Event{Kind: EventNote, Text: text})
		}
	}
}

// look decides what is to be done with a clip: it returns its final entry or a
// job.
func (r *run) look(ctx context.Context, c Clip) (*Entry, *job) {
	name, _ := relative(r.Folder, c.Path)
	e := &Entry{Clip: name}
	if c.Problem != nil {
		e.Outcome, e.Cause, e.Reason = Failed, CauseClip, r.shorten(c.Problem.Error())
		return e, nil
	}
	if stat, err := os.Stat(c.Path); err != nil {
		e.Outcome, e.Cause, e.Reason = Failed, CauseClip, r.shorten(fmt.Sprintf("open clip %s: %v", name, fsx.Cause(err)))
		return e, nil
	} else if !stat.Mode().IsRegular() {
		// Opening a pipe or a device could wait for ever.
		e.Outcome, e.Cause, e.Reason = Failed, CauseClip, fmt.Sprintf("clip %s: it is not an ordinary file", name)
		return e, nil
	}
	if !c.Marks {
		e.Outcome, e.Reason = NeedsMarks, "nobody has marked it yet"
		if r.Probe != nil {
			if _, _, err := r.Probe(ctx, c.Path); err != nil {
				e.Outcome, e.Cause, e.Reason = Failed, CauseClip, r.shorten(err.Error())
			}
		}
		return e, nil
	}
	state, err := r.Check(ctx, c.Path, r.hashes.Hash)
	if err != nil {
		e.Outcome, e.Cause, e.Reason = Failed, CauseClip, r.shorten(err.Error())
		return e, nil
	}
	if state.UpToDate && !r.Again {
		e.settle(state.Facts, UpToDate)
		e.Report = r.reportOf(name)
		return e, nil
	}
	j := &job{path: c.Path, name: name, reason: r.shorten(state.Reason)}
	if state.UpToDate {
		j.reason = "asked for, although it is up to date"
	}
	if id, err := identify(c.Path); err == nil {
		j.bytes = id.Size
		if marks, err := identify(record.MarksPath(c.Path)); err == nil {
			j.inputs = fmt.Sprintf("%s: %d bytes of %d, marks %d bytes of %d", r.Program, id.Size, id.ModifiedNS, marks.Size, marks.ModifiedNS)
		}
	}
	if last, ok := r.before[name]; ok && last.Inputs == j.inputs && j.inputs != "" {
		j.failedLast = true
		j.reason = "it failed last time and nothing has changed since; its turn comes last"
	}
	return nil, j
}

// settle fills in an entry of a clip that has results.
func (e *Entry) settle(f *Facts, good Outcome) {
	e.Outcome, e.Facts = good, f
	if f == nil {
		return
	}
	if doubt := f.Doubt(); doubt != "" {
		e.Outcome, e.Reason = SecondLook, doubt
	}
}

// shorten takes the folder's own path out of a text: pages speak of what lies
// in the folder.
func (r *run) shorten(text string) string {
	return printable(fsx.ShowText(strings.ReplaceAll(text, r.Folder+string(filepath.Separator), "")))
}

func (r *run) reportOf(name string) string {
	if r.Report == "" {
		return ""
	}
	return filepath.ToSlash(record.OutPath(name)) + "/" + r.Report
}

// measure runs the jobs, several at once, and ends early where the disk is
// full.
func (r *run) measure(ctx context.Context, jobs []job) error {
	if len(jobs) == 0 {
		return nil
	}
	r.save(true)
	if err := r.pass(ctx, jobs, r.Workers); err != nil {
		return err
	}
	// What another run held gets a second turn. The other may be this batch: two
	// names can lead to one clip.
	var held []job
	for _, j := range jobs {
		if r.ledger.Entries[r.place[j.name]].Outcome == Busy {
			j.again, j.reason = true, "another run held it at its first turn"
			held = append(held, j)
		}
	}
	return r.pass(ctx, held, 1)
}

// pass gives every job its turn.
func (r *run) pass(ctx context.Context, jobs []job, workers int) error {
	room := semaphore.NewWeighted(r.budget)
	group, groupCtx := errgroup.WithContext(ctx)
	group.SetLimit(workers)
	for i, j := range jobs {
		if groupCtx.Err() != nil {
			break
		}
		left := len(jobs) - i // This one included.
		group.Go(func() error {
			width, height := 1920, 1080
			if r.Probe != nil {
				if w, h, err := r.Probe(groupCtx, j.path); err == nil {
					width, height = w, h
				} // Else the clip's own process says why.
			}
			need, share := Need(width, height), 0
			if need > r.budget {
				// It runs with one processor, which takes less; and alone, if that is more
				// than there is, for it may come out lower.
				need, share = min(needOne(width, height), r.budget), 1
			}
			if err := room.Acquire(groupCtx, need); err != nil {
				return err
			}
			defer room.Release(need)
			if share == 0 {
				share = processors(runtime.GOMAXPROCS(0), min(workers, left, int(r.budget/max(need, 1))))
			}
			return r.one(groupCtx, j, share)
		})
	}
	err := group.Wait()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return err
}

// memoryLimit returns what one clip's process may hold, bytes: all that the batch has;
// 0 where nobody has said how much that is.
func (r *run) memoryLimit() int64 {
	if r.Memory <= 0 {
		return 0 // What was available when the batch began says little of later.
	}
	return r.budget
}

// processors returns how many of all processors each of so many workers at once
// takes, rounded up, since one waits for the drive now and then.
func processors(all, workers int) int {
	workers = min(max(workers, 1), max(all, 1))
	return (max(all, 1) + workers - 1) / workers
}

// one measures one clip with so many processors. It returns an error only where
// the batch must end.
func (r *run) one(ctx context.Context, j job, processors int) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	r.tell(Event{Kind: EventBegin, Clip: j.name, Text: j.reason, Bytes: j.bytes})
	begun := time.Now()
	cmd := r.Command(j.path)
	if cmd.Env == nil {
		cmd.Env = os.Environ()
	}
	cmd.Env = append(cmd.Env, "GOMAXPROCS="+strconv.Itoa(processors))
	c := child{
		cmd: cmd, timeLimit: r.TimeLimit, stall: r.Stall, memory: r.memoryLimit(),
		progress: func(stage string, done, total int) {
			r.tell(Event{Kind: EventProgress, Clip: j.name, Stage: stage, Done: done, Total: total})
		},
	}
	answer, err := c.run(ctx)
	e := Entry{Clip: j.name, Seconds: seconds(time.Since(begun))}
	var failed *failure
	switch {
	case errors.As(err, &failed):
		e.Outcome, e.Cause, e.Reason, e.Said, e.Inputs = Failed, failed.cause, r.shorten(failed.reason), r.shorten(failed.said), j.inputs
		if failed.cause == CauseBusy {
			e.Outcome, e.Inputs = Busy, ""
		}
	case err != nil:
		return err
	default:
		e.settle(&answer.Facts, Measured)
		e.Fresh = !answer.UpToDate
		if answer.UpToDate && e.Outcome == Measured {
			e.Outcome = UpToDate
		}
		e.Report = r.reportOf(j.name)
	}
	r.mu.Lock()
	r.ledger.Entries[r.place[j.name]] = e
	if r.Event != nil && e.Outcome == Busy && !j.again {
		r.Event(Event{Kind: EventLater, Clip: j.name, Text: e.Reason})
	} else if r.Event != nil {
		r.Event(Event{Kind: EventClip, Clip: j.name, Entry: &e, Bytes: j.bytes})
	}
	r.mu.Unlock()
	r.save(false)
	if e.Cause == CauseDiskFull {
		return fmt.Errorf("clip %s: %w", j.name, ErrDiskFull)
	}
	return nil
}

// save writes the ledger as it stands, not more often than every few seconds
// unless it must. That it can't be written is told once, at the end.
func (r *run) save(must bool) {
	const pause = 3 * time.Second
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.state == "" || !must && time.Since(r.lastSave) < pause {
		return
	}
	r.lastSave = time.Now()
	if data, err := r.ledger.marshal(); err == nil {
		_ = fsx.WriteFile(filepath.Join(r.state, ledgerName(r.Share)), data)
	}
}

// end closes the ledger and writes it and the morning page.
func (r *run) end(ctx context.Context, cause error) (*Ledger, error) {
	for i := range r.ledger.Entries {
		if e := &r.ledger.Entries[i]; e.Outcome == Unfinished {
			e.Outcome, e.Reason = NotReached, "the batch ended before its turn"
		}
	}
	r.ledger.Ended = r.Now().UTC().Truncate(time.Second)
	r.ledger.Totals = Count(r.ledger.Entries)
	slices.SortFunc(r.ledger.Entries, func(a, b Entry) int { return strings.Compare(a.Clip, b.Clip) })
	switch {
	case ctx.Err() != nil:
		r.ledger.Stopped = "It was interrupted."
	case errors.Is(cause, ErrDiskFull):
		r.ledger.Stopped = "The disk is full: make room first."
	case cause != nil:
		r.ledger.Stopped = r.shorten(cause.Error())
	}
	page := ""
	if r.state != "" {
		var problems []error
		if r.Share.whole() && cause == nil {
			for _, p := range visits(ctx, r.Folder, r.ledger.Entries, r.Visit) {
				r.ledger.Problems = append(r.ledger.Problems, p)
				r.tell(Event{Kind: EventNote, Text: p})
			}
		}
		data, err := r.ledger.marshal()
		if err == nil {
			err = fsx.WriteFile(filepath.Join(r.state, ledgerName(r.Share)), data)
		}
		problems = append(problems, err, r.hashes.save(stateName("hashes", r.Share)))
		if r.Share.whole() {
			var pageErr error
			page, pageErr = writeMorning(r.Folder, &r.ledger, r.Page)
			problems = append(problems, pageErr)
		}
		if err := errors.Join(problems...); err != nil && cause == nil {
			cause = fmt.Errorf("write down what became of the clips: %w", err)
		}
	}
	e := Event{Kind: EventEnd, Totals: r.ledger.Totals, Page: page, Folder: r.Folder, Share: r.Share, Text: r.ledger.Stopped}
	if cause != nil {
		e.Error = cause.Error()
	}
	r.tell(e)
	return &r.ledger, cause
}

// visits brings the pages of all visits with results up to date and returns
// what went wrong, a sentence for each page.
func visits(ctx context.Context, folder string, entries []Entry, visit func(ctx context.Context, folder string, fresh bool) error) []string {
	if visit == nil {
		return nil
	}
	fresh := map[string]bool{}
	var order []string
	for _, e := range entries {
		if e.Facts == nil {
			continue
		}
		dir := filepath.Join(folder, filepath.FromSlash(path.Dir(e.Clip)))
		if _, seen := fresh[dir]; !seen {
			order = append(order, dir)
		}
		fresh[dir] = fresh[dir] || e.Fresh
	}
	var problems []string
	for _, dir := range order {
		if ctx.Err() != nil {
			return append(problems, "Not every visit's page was made: the batch was interrupted.")
		}
		if err := visit(ctx, dir, fresh[dir]); err != nil {
			problems = append(problems, printable(strings.ReplaceAll(fmt.Sprintf("The page of a visit could not be made: %v.", err), folder+string(filepath.Separator), "")))
		}
	}
	return problems
}

// writeMorning writes the morning page and its data and returns the page's path.
func writeMorning(folder string, l *Ledger, page func(*Ledger) ([]byte, error)) (string, error) {
	data, err := l.marshal()
	if err != nil {
		return "", err
	}
	if err := fsx.WriteFile(filepath.Join(folder, MorningData), data); err != nil {
		return "", err
	}
	if page == nil {
		return "", nil
	}
	html, err := page(l)
	if err != nil {
		return "", fmt.Errorf("make the morning page: %w", err)
	}
	path := filepath.Join(folder, MorningPage)
	if err := fsx.WriteFile(path, html); err != nil {
		return "", err
	}
	return path, nil
}
