package markpage

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/record"
)

// errNotThere is returned for paths that are not, or must not be, served. It
// does not tell which of the two.
var errNotThere = errors.New("there is no such file in the folder")

// Extensions of files that are taken for clips: those that the batch finds.
var clipExtensions = []string{".mp4", ".mov", ".m4v", ".3gp", ".mkv", ".webm", ".avi", ".mts", ".mpg", ".mpeg"}

// How many clips a folder may hold before the list says that it left some out.
const clipLimit = 5000

// folder confines every path to one folder. Paths are slash-separated and
// relative to it.
type folder struct {
	dir  string // Absolute, symbolic links resolved.
	root *os.Root
}

func openFolder(dir string) (*folder, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("open folder %s: %w", dir, err)
	}
	abs, err = filepath.EvalSymlinks(abs)
	if err != nil {
		return nil, fmt.Errorf("open folder: %w", err)
	}
	root, err := os.OpenRoot(abs)
	if err != nil {
		return nil, fmt.Errorf("open folder: %w", err)
	}
	return &folder{dir: abs, root: root}, nil
}

func (f *folder) close() error { return f.root.Close() }

// plain reports whether rel is a path that the page itself could have named:
// clean, inside the folder, no hidden part, no results folder.
func plain(rel string) bool {
	if rel == "" || path.Clean(rel) != rel || !filepath.IsLocal(filepath.FromSlash(rel)) || strings.ContainsRune(rel, 0) {
		return false
	}
	if rel == "." {
		return true
	}
	for _, part := range strings.Split(rel, "/") {
		if strings.HasPrefix(part, ".") || strings.HasSuffix(part, ".out") || (os.PathSeparator != '/' && strings.ContainsRune(part, os.PathSeparator)) {
			return false
		}
	}
	return true
}

func isClipName(name string) bool {
	return slices.Contains(clipExtensions, strings.ToLower(path.Ext(name)))
}

// clipFile returns the absolute path of the clip rel and what Stat says of it.
func (f *folder) clipFile(rel string) (string, fs.FileInfo, error) {
	if !isClipName(rel) {
		return "", nil, errNotThere
	}
	abs, stat, err := f.inside(rel)
	if err != nil {
		return "", nil, err
	}
	if !stat.Mode().IsRegular() {
		return "", nil, errNotThere
	}
	return abs, stat, nil
}

// subfolder returns the absolute path of the folder rel; "." is the folder itself.
func (f *folder) subfolder(rel string) (string, error) {
	abs, stat, err := f.inside(rel)
	if err != nil {
		return "", err
	}
	if !stat.IsDir() {
		return "", errNotThere
	}
	return abs, nil
}

// inside resolves rel. The root follows links inside the folder and refuses
// those that lead out; the resolved path is compared once more, since programs
// that decode clips open paths by themselves.
func (f *folder) inside(rel string) (string, fs.FileInfo, error) {
	if !plain(rel) {
		return "", nil, errNotThere
	}
	stat, err := f.root.Stat(filepath.FromSlash(rel))
	if err != nil {
		return "", nil, errNotThere
	}
	abs := filepath.Join(f.dir, filepath.FromSlash(rel))
	real, err := filepath.EvalSymlinks(abs)
	if err != nil || (real != f.dir && !strings.HasPrefix(real, f.dir+string(os.PathSeparator))) {
		return "", nil, errNotThere
	}
	return abs, stat, nil
}

// resultsInside fails where the results folder of the clip rel is, or lies
// behind, a link that leads out of the folder. That there are no results is no error.
func (f *folder) resultsInside(rel string) error {
	out := record.OutPath(rel)
	if _, err := f.root.Lstat(filepath.FromSlash(out)); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	// Files in it may be links themselves.
	for _, name := range []string{".", record.ResultFile, "signals.csv"} {
		if _, err := f.root.Stat(filepath.FromSlash(path.Join(out, name))); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("the results folder %s leads out of this folder and is not read", path.Base(out))
		} else if err != nil {
			// A link into nothing reads as missing; one that leads out and into nothing, too.
			if stat, linkErr := f.root.Lstat(filepath.FromSlash(path.Join(out, name))); linkErr == nil && stat.Mode()&fs.ModeSymlink != 0 {
				return fmt.Errorf("the results folder %s holds a link that leads nowhere and is not read", path.Base(out))
			}
		}
	}
	return nil
}

// read returns the bytes of a file inside the folder, at most limit of them. A
// missing file gives fs.ErrNotExist.
func (f *folder) read(rel string, limit int64) (data []byte, err error) {
	file, err := f.root.Open(filepath.FromSlash(rel))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	stat, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if !stat.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not an ordinary file", rel)
	}
	data, err = io.ReadAll(io.LimitReader(file, limit+1))
	if err == nil && int64(len(data)) > limit {
		return nil, fmt.Errorf("%s is larger than %d bytes", rel, limit)
	}
	return data, err
}

// writable makes sure that the folder in which rel would be written lies inside,
// and returns where to write.
func (f *folder) writable(rel string) (string, error) {
	dir := path.Dir(rel)
	if _, err := f.subfolder(dir); err != nil {
		return "", err
	}
	abs := filepath.Join(f.dir, filepath.FromSlash(rel))
	if stat, err := os.Lstat(abs); err == nil && !stat.Mode().IsRegular() {
		return "", fmt.Errorf("%s is not an ordinary file and is left as it is", rel)
	}
	return abs, nil
}

// found is what a walk through the folder finds.
type found struct {
	clips []string // Slash-separated, sorted by folder and name.
	more  bool     // There are more than clipLimit.
}

// walk lists the clips. Links to files inside the folder are followed, links to
// folders are not.
func (f *folder) walk(ctx context.Context) (found, error) {
	var out found
	err := fs.WalkDir(f.root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			if name == "." {
				return err
			}
			return nil // A folder that can't be read hides its clips, not those of others.
		}
		if name != "." && !plain(name) {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if d.IsDir() || !isClipName(name) {
			return nil
		}
		if _, _, err := f.clipFile(name); err != nil {
			return nil
		}
		if len(out.clips) == clipLimit {
			out.more = true
			return fs.SkipAll
		}
		out.clips = append(out.clips, name)
		return nil
	})
	if err != nil {
		return found{}, fmt.Errorf("list folder %s: %w", f.dir, err)
	}
	return out, nil
}

// clipCache keeps what probing found of the clips looked at last.
type clipCache struct {
	look    Probe
	mu      sync.Mutex
	entries map[string]*clipEntry
}

type clipEntry struct {
	size     int64
	modified time.Time
	once     sync.Once
	info     *clip.Info
	err      error
}

func newClipCache(look Probe) *clipCache {
	if look == nil {
		look = clip.Probe
	}
	return &clipCache{look: look, entries: make(map[string]*clipEntry)}
}

// probe returns what the container of the clip at abs says, from memory where
// the file has not changed.
func (c *clipCache) probe(ctx context.Context, abs string, stat fs.FileInfo) (*clip.Info, error) {
	c.mu.Lock()
	e := c.entries[abs]
	if e == nil || e.size != stat.Size() || !e.modified.Equal(stat.ModTime()) {
		const kept = 2048
		if len(c.entries) >= kept {
			clear(c.entries)
		}
		e = &clipEntry{size: stat.Size(), modified: stat.ModTime()}
		c.entries[abs] = e
	}
	c.mu.Unlock()
	e.once.Do(func() {
		// Others may wait for this; it must not end with the first one's request.
		bounded, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Minute)
		defer cancel()
		e.info, e.err = c.look(bounded, abs)
	})
	if errors.Is(e.err, context.DeadlineExceeded) {
		c.mu.Lock()
		delete(c.entries, abs)
		c.mu.Unlock()
	}
	return e.info, e.err
}

// keyedMutex locks by name.
type keyedMutex struct {
	mu    sync.Mutex
	locks map[string]*heldLock
}

type heldLock struct {
	mu      sync.Mutex
	waiting int
}

func (k *keyedMutex) lock(name string) (unlock func()) {
	k.mu.Lock()
	if k.locks == nil {
		k.locks = make(map[string]*heldLock)
	}
	l := k.locks[name]
	if l == nil {
		l = new(heldLock)
		k.locks[name] = l
	}
	l.waiting++
	k.mu.Unlock()
	l.mu.Lock()
	return func() {
		l.mu.Unlock()
		k.mu.Lock()
		defer k.mu.Unlock()
		if l.waiting--; l.waiting == 0 {
			delete(k.locks, name)
		}
	}
}
