package phone

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/fsx"
	"jogstrip/track/traj"
)

// receiving is the folder, hidden inside the yard folder and so on the same
// drive, where clips lie that have not arrived whole, each with a receipt.
const receiving = ".receiving"

const (
	pieceLimit   = 4 << 20  // The largest piece of a clip, bytes.
	endSample    = 64 << 10 // How much of each end of a file tells it from another, bytes.
	unsentLimit  = 200      // How many clips may be unfinished.
	keptUnsent   = 14 * 24 * time.Hour
	nameLimit    = 60 // The longest name of a horse, characters.
	receiptLimit = 1 << 16
)

// Errors that the page acts on.
var (
	errNotSent = errors.New("no such clip is being sent")
	errDisk    = errors.New("the computer’s disk is full: ask for room to be made on it, the clip is gone on with by itself")
	errMany    = errors.New("too many clips are half sent: finish those first")
)

// errAt says that a piece does not begin where the clip has got to.
type errAt struct{ received int64 }

func (e *errAt) Error() string { return fmt.Sprintf("the clip has got to byte %d", e.received) }

// errRefused says for good why a file is not taken.
type errRefused struct{ why string }

func (e *errRefused) Error() string { return e.why }

// offer is what a phone says of a file before it sends it. Two offers that are
// equal are the same file, so that a clip is gone on with, and is taken once.
type offer struct {
	Horse string    `json:"horse"`
	Date  string    `json:"date"`  // yyyy-mm-dd.
	Visit string    `json:"visit"` // Which of the day's visits; empty for the first, "2" for the second.
	View  traj.View `json:"view"`
	Name  string    `json:"name"` // As the phone calls it. It is written down, never used.
	Size  int64     `json:"size"` // Bytes.
	// Head and Tail are the CRC-32 (IEEE 802.3, as in zip) of the first and the last
	// endSample bytes.
	Head uint32 `json:"head"`
	Tail uint32 `json:"tail"`
}

func (o offer) id() string {
	text, _ := json.Marshal(o)
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:16])
}

// stage is how far a clip has come.
type stage string

const (
	stageSending  stage = "sending"
	stagePlacing  stage = "placing" // Whole; being put where it belongs.
	stageReceived stage = "received"
	stageRefused  stage = "refused"
)

// receipt is what is written down of a clip that is sent.
type receipt struct {
	Schema string `json:"schema"`
	offer
	Stage stage `json:"stage"`
	// Path is where the clip lies or is about to, relative to the folder.
	Path string `json:"path,omitempty"`
	// Why a file was refused.
	Why   string    `json:"why,omitempty"`
	Check *Verdict  `json:"check,omitempty"`
	Began time.Time `json:"began"`
}

const receiptSchema = "jogstrip-receipt/1"

// store receives clips into a yard folder.
type store struct {
	root    *os.Root
	dir     string // Of root, absolute.
	reserve int64  // Bytes of the disk that are left alone.
	most    int64  // The largest clip, bytes.
	free    func(dir string) (int64, error)
	isFilm  func(ctx context.Context, path string) error
	now     func() time.Time

	locks [64]sync.Mutex // By id: some clips share one.
	place sync.Mutex     // Held while a name is chosen and taken.
}

func (s *store) lock(id string) func() {
	l := &s.locks[crc32.ChecksumIEEE([]byte(id))%uint32(len(s.locks))]
	l.Lock()
	return l.Unlock
}

func partName(id string) string    { return path.Join(receiving, id+".part") }
func receiptName(id string) string { return path.Join(receiving, id+".json") }

// isID reports whether id is one that offer.id could have made.
func isID(id string) bool {
	return len(id) == 32 && strings.Trim(id, "0123456789abcdef") == ""
}

// own makes sure of the folder for what arrives.
func (s *store) own() error {
	if err := s.root.Mkdir(receiving, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("make folder for clips that arrive: %w", err)
	}
	stat, err := s.root.Lstat(receiving)
	if err != nil {
		return fmt.Errorf("make folder for clips that arrive: %w", err)
	}
	if !stat.IsDir() {
		return fmt.Errorf("%s is in the way of the folder for clips that arrive", receiving)
	}
	return nil
}

func (s *store) read(id string) (*receipt, error) {
	if !isID(id) {
		return nil, errNotSent
	}
	f, err := s.root.Open(receiptName(id))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, errNotSent
	}
	if err != nil {
		return nil, fmt.Errorf("read receipt: %w", err)
	}
	defer func() { _ = f.Close() }()
	data, err := io.ReadAll(io.LimitReader(f, receiptLimit))
	if err != nil {
		return nil, fmt.Errorf("read receipt: %w", err)
	}
	r := new(receipt)
	if err := json.Unmarshal(data, r); err != nil || r.Schema != receiptSchema {
		return nil, fmt.Errorf("read receipt %s: it is damaged or of another version (%v)", receiptName(id), err)
	}
	return r, nil
}

func (s *store) write(id string, r *receipt) error {
	data, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		return fmt.Errorf("write receipt: %w", err)
	}
	// The folder was found to be a real one inside the root.
	return fsx.WriteFile(filepath.Join(s.dir, receiptName(id)), append(data, '\n'))
}

// received returns how many bytes of a clip are there.
func (s *store) received(id string, r *receipt) int64 {
	switch r.Stage {
	case stageReceived, stagePlacing:
		return r.Size
	case stageRefused:
		return 0
	}
	stat, err := s.root.Lstat(partName(id))
	if err != nil || !stat.Mode().IsRegular() {
		return 0
	}
	return min(stat.Size(), r.Size)
}

// begin takes up an offer: a new one, or one that was broken off. It returns the
// clip's id and how far it has come.
func (s *store) begin(o offer) (id string, r *receipt, received int64, err error) {
	if err := s.check(&o); err != nil {
		return "", nil, 0, err
	}
	id = o.id()
	defer s.lock(id)()
	if err := s.own(); err != nil {
		return "", nil, 0, err
	}
	r, err = s.read(id)
	if err == nil && r.Stage == stageRefused {
		// Tried again: perhaps what refused it was the program's fault.
		err = errNotSent
	}
	if err == nil && r.Stage == stageReceived {
		// Somebody cleared it away or gave it another name: it may be sent again.
		if _, gone := s.root.Lstat(r.Path); errors.Is(gone, fs.ErrNotExist) {
			err = errNotSent
		}
	}
	if err == nil && r.Stage == stagePlacing {
		err = s.putInPlace(id, r)
	}
	if err == nil {
		return id, r, s.received(id, r), nil
	}
	if !errors.Is(err, errNotSent) {
		return "", nil, 0, err
	}
	unfinished, wanted := s.unfinished()
	if unfinished >= unsentLimit {
		return "", nil, 0, errMany
	}
	free, err := s.free(s.dir)
	if err != nil {
		return "", nil, 0, err
	}
	if free-s.reserve-wanted < o.Size {
		return "", nil, 0, errDisk
	}
	r = &receipt{Schema: receiptSchema, offer: o, Stage: stageSending, Began: s.now().UTC().Truncate(time.Second)}
	if err := s.write(id, r); err != nil {
		return "", nil, 0, full(err)
	}
	return id, r, 0, nil
}

// unfinished counts the clips that are half sent and the bytes that they still
// want. What nobody went on with for long is cleared away.
func (s *store) unfinished() (n int, wanted int64) {
	entries, err := fs.ReadDir(s.root.FS(), receiving)
	if err != nil {
		return 0, 0
	}
	for _, e := range entries {
		id, is := strings.CutSuffix(e.Name(), ".json")
		if !is || !isID(id) {
			continue
		}
		r, err := s.read(id)
		if err != nil || r.Stage != stageSending {
			continue
		}
		touched := r.Began
		if stat, err := s.root.Lstat(partName(id)); err == nil {
			touched = stat.ModTime()
		}
		if s.now().Sub(touched) > keptUnsent {
			_ = s.root.Remove(partName(id))
			_ = s.root.Remove(receiptName(id))
			continue
		}
		n++
		wanted += r.Size - s.received(id, r)
	}
	return n, wanted
}

// full turns a full disk's error into words for the handler.
func full(err error) error {
	if fsx.NoRoom(err) {
		return errDisk
	}
	return err
}

// check refuses offers that no page of ours makes, and makes the horse's name fit
// to be a folder's.
func (s *store) check(o *offer) error {
	day, err := time.Parse(time.DateOnly, o.Date)
	if err != nil || day.Year() < 2000 || day.After(s.now().Add(36*time.Hour)) {
		return &errRefused{fmt.Sprintf("on %q no clip can have been filmed: check the date", o.Date)}
	}
	if o.View != traj.Toward && o.View != traj.Away {
		return &errRefused{"choose whether the horse comes toward the camera or goes away from it"}
	}
	if o.Visit != "" && (len(o.Visit) > 2 || strings.Trim(o.Visit, "0123456789") != "" || o.Visit == "0" || o.Visit == "1" || o.Visit[0] == '0') {
		return &errRefused{"there is no such visit on that day"}
	}
	if o.Size < 1 {
		return &errRefused{"the file is empty"}
	}
	if o.Size > s.most {
		return &errRefused{fmt.Sprintf("the file has %.1f GB, more than the %.1f GB that are taken: film one pass a clip", float64(o.Size)/1e9, float64(s.most)/1e9)}
	}
	if o.Horse, err = s.horse(o.Horse); err != nil {
		return err
	}
	if len(o.Name) > 255 {
		o.Name = o.Name[:255]
	}
	o.Name = strings.ToValidUTF8(o.Name, "�")
	return nil
}

// horse returns the folder of the horse: one that is there, or else the name made
// fit to be one.
func (s *store) horse(name string) (string, error) {
	if slices.Contains(s.horses(), name) {
		return name, nil
	}
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			b.WriteRune(r)
		case unicode.IsMark(r):
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	folder := strings.Trim(b.String(), "-")
	if folder == "" || utf8.RuneCountInString(folder) > nameLimit || len(folder) > 200 {
		return "", &errRefused{fmt.Sprintf("a horse’s name has 1 to %d letters or digits", nameLimit)}
	}
	return folder, nil
}

// horses lists the yard's horses by folder.
func (s *store) horses() []string {
	out := []string{}
	entries, err := fs.ReadDir(s.root.FS(), "horses")
	if err != nil {
		return out
	}
	for _, e := range entries {
		if e.IsDir() && !strings.HasPrefix(e.Name(), ".") && !strings.HasSuffix(e.Name(), ".out") && utf8.ValidString(e.Name()) {
			out = append(out, e.Name())
		}
	}
	return out
}

// visits lists which visits of a horse there are on a day: "" for the first, "2"
// for the folder yyyy-mm-dd-2, and so on.
func (s *store) visits(horse, date string) []string {
	out := []string{}
	if !slices.Contains(s.horses(), horse) {
		return out
	}
	entries, err := fs.ReadDir(s.root.FS(), path.Join("horses", horse))
	if err != nil {
		return out
	}
	for _, e := range entries {
		if rest, of := strings.CutPrefix(e.Name(), date); of && e.IsDir() {
			if n, numbered := strings.CutPrefix(rest, "-"); rest == "" || numbered && n != "" && len(n) <= 2 && strings.Trim(n, "0123456789") == "" {
				out = append(out, n)
			}
		}
	}
	return out
}

// add takes the piece of a clip that begins at byte at. sum is its CRC-32. It
// returns how far the clip has come; what is counted there is on the disk.
func (s *store) add(id string, at int64, sum uint32, piece []byte) (received int64, err error) {
	defer s.lock(id)()
	r, err := s.read(id)
	if err != nil {
		return 0, err
	}
	if r.Stage == stageRefused {
		return 0, &errRefused{r.Why}
	}
	have := s.received(id, r)
	if at != have || r.Stage != stageSending || at+int64(len(piece)) > r.Size {
		return have, &errAt{have}
	}
	if crc32.ChecksumIEEE(piece) != sum {
		return have, &errAt{have} // It was garbled on its way: sent again.
	}
	if at == 0 {
		if err := whatItIs(piece); err != nil {
			return 0, s.refuse(id, r, err.Error())
		}
	}
	free, err := s.free(s.dir)
	if err != nil {
		return have, err
	}
	if free-s.reserve < int64(len(piece)) {
		return have, errDisk
	}
	f, err := s.root.OpenFile(partName(id), os.O_WRONLY|os.O_CREATE|fsx.NoFollow, 0o644)
	if err != nil {
		return have, full(fmt.Errorf("write clip that arrives: %w", err))
	}
	defer func() {
		if err != nil {
			err = full(errors.Join(err, f.Truncate(at)))
		}
		err = errors.Join(err, f.Close())
	}()
	if _, err := f.WriteAt(piece, at); err != nil {
		return have, fmt.Errorf("write clip that arrives: %w", err)
	}
	if err := f.Sync(); err != nil {
		return have, fmt.Errorf("write clip that arrives: %w", err)
	}
	return at + int64(len(piece)), nil
}

// refuse notes for good that a file is not taken.
func (s *store) refuse(id string, r *receipt, why string) error {
	r.Stage, r.Why = stageRefused, why
	if err := s.write(id, r); err != nil {
		return full(err)
	}
	if err := s.root.Remove(partName(id)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("clear away what was refused: %w", err)
	}
	return &errRefused{why}
}

// end puts a clip that is whole where it belongs. Asked again it answers as
// before.
func (s *store) end(ctx context.Context, id string) (*receipt, error) {
	defer s.lock(id)()
	r, err := s.read(id)
	if err != nil {
		return nil, err
	}
	switch r.Stage {
	case stageReceived:
		return r, nil
	case stageRefused:
		return nil, &errRefused{r.Why}
	case stageSending:
		if have := s.received(id, r); have != r.Size {
			return nil, &errAt{have}
		}
		if why, err := s.sameEnds(id, r); err != nil {
			return nil, err
		} else if why != "" {
			return nil, s.refuse(id, r, why)
		}
		if err := s.isFilm(ctx, filepath.Join(s.dir, partName(id))); err != nil {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			return nil, s.refuse(id, r, "the file can’t be read as a film: "+strings.ReplaceAll(err.Error(), s.dir+"/", ""))
		}
	}
	return r, s.putInPlace(id, r)
}

// sameEnds compares the ends of what arrived with what was offered.
func (s *store) sameEnds(id string, r *receipt) (why string, err error) {
	f, err := s.root.Open(partName(id))
	if err != nil {
		return "", fmt.Errorf("read clip that arrived: %w", err)
	}
	defer func() { _ = f.Close() }()
	for _, end := range []struct {
		at   int64
		want uint32
	}{{0, r.Head}, {max(0, r.Size-endSample), r.Tail}} {
		data, err := io.ReadAll(io.NewSectionReader(f, end.at, endSample))
		if err != nil {
			return "", fmt.Errorf("read clip that arrived: %w", err)
		}
		if crc32.ChecksumIEEE(data) != end.want {
			return "the file changed while it was sent: send it again", nil
		}
	}
	return "", nil
}

// putInPlace moves a whole clip into its visit's folder, under the view's next
// free name, and never over anything. Killed at any moment it is gone on with.
func (s *store) putInPlace(id string, r *receipt) error {
	s.place.Lock()
	defer s.place.Unlock()
	if r.Stage == stagePlacing {
		if _, err := s.root.Lstat(partName(id)); errors.Is(err, fs.ErrNotExist) {
			r.Stage = stageReceived // It was moved; only the note of it is missing.
			return full(s.write(id, r))
		}
	}
	day := r.Date
	if r.Visit != "" {
		day += "-" + r.Visit
	}
	folder := path.Join("horses", r.Horse, day)
	if err := s.makeFolders(folder); err != nil {
		return full(fmt.Errorf("make the visit’s folder: %w", err))
	}
	for range 100 {
		name, err := s.freeName(folder, string(r.View), extension(r.Name, s.partHead(id)))
		if err != nil {
			return err
		}
		r.Stage, r.Path = stagePlacing, path.Join(folder, name)
		if err := s.write(id, r); err != nil {
			return full(err)
		}
		err = s.move(partName(id), folder, name)
		if errors.Is(err, fs.ErrExist) {
			continue // Somebody was faster: the next name.
		}
		if err != nil {
			return full(fmt.Errorf("put clip in place: %w", err))
		}
		fsx.Share(filepath.Join(s.dir, r.Path))
		r.Stage = stageReceived
		return full(s.write(id, r))
	}
	return fmt.Errorf("put clip in place: no name is free in %s", folder)
}

// makeFolders makes a folder and those above it where they are missing, for
// whoever shares the yard. The root follows no link that leads out of it.
func (s *store) makeFolders(folder string) error {
	if folder == "." {
		return nil
	}
	_, err := s.root.Stat(folder)
	if err == nil {
		return nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if _, err := s.root.Lstat(folder); err == nil {
		return fmt.Errorf("%s is a link that leads nowhere", folder)
	}
	if err := s.makeFolders(path.Dir(folder)); err != nil {
		return err
	}
	return fsx.MakeFolder(filepath.Join(s.dir, folder))
}

func (s *store) partHead(id string) []byte {
	f, err := s.root.Open(partName(id))
	if err != nil {
		return nil
	}
	defer func() { _ = f.Close() }()
	head, _ := io.ReadAll(io.LimitReader(f, 64))
	return head
}

// freeName returns the first of view-1, view-2, … that no file of the folder
// has, whatever its ending: a clip shares its marks' and results' names with none.
func (s *store) freeName(folder, view, ext string) (string, error) {
	entries, err := fs.ReadDir(s.root.FS(), folder)
	if err != nil {
		return "", fmt.Errorf("look for a free name: %w", err)
	}
	taken := map[string]bool{}
	for _, e := range entries {
		stem, _, _ := strings.Cut(strings.ToLower(e.Name()), ".")
		taken[stem] = true
	}
	for n := 1; ; n++ {
		if stem := fmt.Sprintf("%s-%d", view, n); !taken[stem] {
			return stem + ext, nil
		}
	}
}

// move gives the file from a new name in folder unless that is taken, and makes
// it last through a power cut. Both are opened below the root, so no link leads
// out of it.
func (s *store) move(from, folder, name string) (err error) {
	source, err := s.root.Open(path.Dir(from))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, source.Close()) }()
	target, err := s.root.Open(folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, target.Close()) }()
	err = fsx.RenameNew(source, path.Base(from), target, name)
	if errors.Is(err, errors.ErrUnsupported) {
		// Drives and systems that don't know this (network drives): a name is looked for and taken.
		// This program takes only one at a time.
		if _, err := s.root.Lstat(path.Join(folder, name)); !errors.Is(err, fs.ErrNotExist) {
			return errors.Join(fs.ErrExist, err)
		}
		err = s.root.Rename(from, path.Join(folder, name))
	}
	if err != nil {
		return err
	}
	for _, folder := range []*os.File{target, source} {
		// Some network drives cannot sync a folder.
		if err := folder.Sync(); err != nil && !fsx.CannotSync(err) {
			return err
		}
	}
	// A visit's folder that is new has to last as well.
	return fsx.SyncDir(filepath.Dir(filepath.Join(s.dir, folder)))
}

// noted writes down what the film check found.
func (s *store) noted(id string, v *Verdict) error {
	defer s.lock(id)()
	r, err := s.read(id)
	if err != nil {
		return err
	}
	r.Check = v
	return s.write(id, r)
}

// filmIn returns what tells whether a file is a film that can be read.
func filmIn(probe func(ctx context.Context, path string) (*clip.Info, error)) func(ctx context.Context, path string) error {
	return func(ctx context.Context, path string) error {
		_, err := probe(ctx, path)
		return err
	}
}
