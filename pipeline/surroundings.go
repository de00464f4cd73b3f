package pipeline

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"jogstrip/metrics"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
)

// How far above a clip yard.toml is looked for.
const yardDepth = 6

// Surroundings is what the pages around a clip say: the yard's, the horse's
// and the visit's. A loose clip has empty ones.
type Surroundings struct {
	Folder     string // The clip's folder: the visit.
	YardFolder string // Where yard.toml lies; empty where there is none.
	Yard       record.Yard
	Horse      record.Horse
	HasHorse   bool
	Visit      record.Visit
	Tolerances *metrics.ToleranceTable // Nil is the built-in table.
	Warnings   []string                // What the pages hold that is kept and not used.

	tolerances []byte
}

// Date returns the visit folder's name, which by the yard folder's layout is
// its date.
func (s *Surroundings) Date() string { return filepath.Base(s.Folder) }

// Look reads the pages around the clips in folder.
func Look(folder string) (*Surroundings, error) {
	abs, err := filepath.Abs(folder)
	if err != nil {
		return nil, fmt.Errorf("find folder %s: %w", folder, err)
	}
	s := &Surroundings{Folder: abs}
	visit, unknown, err := record.ReadVisit(filepath.Join(abs, "visit.toml"))
	if err != nil {
		return nil, err
	}
	s.Visit = *visit
	s.warn(filepath.Join(abs, "visit.toml"), unknown)
	if visit.FollowsUnknown() {
		s.Warnings = append(s.Warnings, fmt.Sprintf("%s: followed %s is no measure of this program; result.json lists their names; it is kept and not used", filepath.Join(abs, "visit.toml"), visit.Followed))
		s.Visit.Followed = ""
	}
	if visit.NextCheckBefore(day(abs)) {
		s.Warnings = append(s.Warnings, fmt.Sprintf("%s: next_check %s is before the visit; it is not used", filepath.Join(abs, "visit.toml"), visit.NextCheck))
	}

	page := filepath.Join(filepath.Dir(abs), "horse.toml")
	if _, err := os.Stat(page); err == nil {
		s.HasHorse = true
	}
	horse, unknown, err := record.ReadHorse(page)
	if err != nil {
		return nil, err
	}
	s.Horse = *horse
	if !s.HasHorse {
		s.Horse.Name = ""
	}
	s.warn(page, unknown)

	for dir, i := abs, 0; i < yardDepth; i++ {
		path := filepath.Join(dir, "yard.toml")
		if _, err := os.Stat(path); err == nil {
			if err := s.readYard(dir, path); err != nil {
				return nil, err
			}
			break
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			break
		}
		dir = parent
	}
	return s, nil
}

func (s *Surroundings) readYard(dir, path string) error {
	yard, unknown, err := record.ReadYard(path)
	if err != nil {
		return err
	}
	s.YardFolder, s.Yard = dir, *yard
	s.warn(path, unknown)
	name := yard.Tolerances
	if name == "" {
		name = "tolerances.toml"
	}
	data, err := fsx.ReadFile(filepath.Join(dir, name), 1<<20)
	if errors.Is(err, fs.ErrNotExist) && yard.Tolerances == "" {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read tolerances: %w", err)
	}
	table, err := metrics.ParseTolerances(filepath.Join(dir, name), data)
	if err != nil {
		return err
	}
	s.Tolerances, s.tolerances = table, data
	return nil
}

func (s *Surroundings) warn(file string, keys []string) {
	for _, k := range keys {
		s.Warnings = append(s.Warnings, fmt.Sprintf("%s: key %s is not known to this program; it is kept and not used", file, k))
	}
}

// settingsHash identifies everything beside the clip and its marks on which a
// clip's results depend, but for the number of resamples.
func (s *Surroundings) settingsHash() (string, error) {
	data, err := json.Marshal(struct {
		Horse      string
		WithersM   float64
		Tolerances []byte
		Date       string
	}{s.Horse.Name, s.Horse.WithersM, s.tolerances, s.Date()})
	if err != nil {
		return "", fmt.Errorf("hash settings: %w", err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}
