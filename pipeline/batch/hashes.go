package batch

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"jogstrip/pipeline/fsx"
)

const hashesSchema = "jogstrip-hashes/1"

// memoryLimit bounds the files of the state folder that are read, bytes.
const memoryLimit = 256 << 20

// identity tells one state of a file from another without reading it. The time
// of the last change of the file's own record cannot be set by hand, so a file
// put in the place of another with the same size and date is noticed.
type identity struct {
	Size       int64  `json:"size"`
	ModifiedNS int64  `json:"modified_ns"`
	ChangedNS  int64  `json:"changed_ns,omitempty"`
	Number     uint64 `json:"number,omitempty"` // Of the file on its drive.
}

func identify(path string) (identity, error) {
	stat, err := os.Stat(path)
	if err != nil {
		return identity{}, err
	}
	id := identity{Size: stat.Size(), ModifiedNS: stat.ModTime().UnixNano()}
	id.ChangedNS, id.Number = fsx.ChangeTime(stat)
	return id, nil
}

// settled reports whether the file was last touched long enough ago that a
// further change would show: clocks of file systems tick as coarsely as 2 s.
func (i identity) settled(now time.Time) bool {
	const tick = 3 * time.Second
	latest := max(i.ModifiedNS, i.ChangedNS)
	return now.Sub(time.Unix(0, latest)) > tick
}

// Hashes remembers SHA-256 sums of files, so that an unchanged clip need not be
// read again. It is safe for use by several goroutines.
type Hashes struct {
	root string
	now  func() time.Time

	mu    sync.Mutex
	known map[string]knownHash // By path below root, with slashes.
	fresh map[string]bool      // Asked for since it was read: the others are forgotten.
	grown bool
}

type knownHash struct {
	identity
	SHA256 string `json:"sha256"`
}

type hashesFile struct {
	Schema string               `json:"schema"`
	Files  map[string]knownHash `json:"files"`
}

// newHashes reads what earlier batches and other shares remembered. A memory
// that cannot be read is an empty one.
func newHashes(root string, now func() time.Time) *Hashes {
	h := &Hashes{root: root, now: now, known: map[string]knownHash{}, fresh: map[string]bool{}}
	paths, _ := filepath.Glob(filepath.Join(escapeGlob(filepath.Join(root, StateFolder)), "hashes*.json"))
	for _, path := range paths {
		data, err := fsx.ReadFile(path, memoryLimit)
		if err != nil {
			continue
		}
		var f hashesFile
		if json.Unmarshal(data, &f) != nil || f.Schema != hashesSchema {
			continue
		}
		for name, k := range f.Files {
			if len(k.SHA256) == 64 {
				h.known[fsx.UnescapeName(name)] = k
			}
		}
	}
	return h
}

// Hash returns the SHA-256 of the file at path in hexadecimal, from memory
// where the file is unchanged.
func (h *Hashes) Hash(ctx context.Context, path string) (string, error) {
	before, err := identify(path)
	if err != nil {
		return "", fmt.Errorf("hash: %w", err)
	}
	name, below := relative(h.root, path)
	if below {
		h.mu.Lock()
		k, ok := h.known[name]
		if ok && k.identity == before {
			h.fresh[name] = true
		}
		h.mu.Unlock()
		if ok && k.identity == before {
			return k.SHA256, nil
		}
	}
	sum, err := fsx.Hash(ctx, path)
	if err != nil {
		return "", err
	}
	after, err := identify(path)
	if err != nil {
		return "", fmt.Errorf("hash: %w", err)
	}
	if below && before == after && after.settled(h.now()) {
		h.mu.Lock()
		h.known[name] = knownHash{after, sum}
		h.fresh[name], h.grown = true, true
		h.mu.Unlock()
	}
	return sum, nil
}

// save writes what is remembered of the files that this batch asked for.
func (h *Hashes) save(name string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if !h.grown {
		return nil
	}
	f := hashesFile{Schema: hashesSchema, Files: map[string]knownHash{}}
	for name := range h.fresh {
		f.Files[fsx.EscapeName(name)] = h.known[name]
	}
	data, err := json.Marshal(f)
	if err != nil {
		return fmt.Errorf("write hashes: %w", err)
	}
	return fsx.WriteFile(filepath.Join(h.root, StateFolder, name), append(data, '\n'))
}

// relative returns path below root with slashes, and whether it lies there.
func relative(root, path string) (string, bool) {
	rel, err := filepath.Rel(root, path)
	if err != nil || !filepath.IsLocal(rel) {
		return filepath.ToSlash(path), false
	}
	return filepath.ToSlash(rel), true
}

// escapeGlob makes a path mean itself in a pattern.
func escapeGlob(path string) string {
	var out []rune
	for _, r := range path {
		if r == '*' || r == '?' || r == '[' || r == '\\' {
			out = append(out, '\\')
		}
		out = append(out, r)
	}
	return string(out)
}
