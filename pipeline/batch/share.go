package batch

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strconv"
	"strings"
)

// Share is one of several batches that divide a folder among machines. The
// zero value is the whole.
type Share struct {
	Index int `json:"index"` // 1 to Count; 0 is 1.
	Count int `json:"count"` // 0 is 1.
	// From says what decided it: "--share", "the Slurm array", …; empty for the whole.
	From string `json:"from,omitempty"`
}

func (s Share) normal() Share {
	if s.Count == 0 {
		s.Index, s.Count = 1, 1
	}
	return s
}

func (s Share) whole() bool { return s.Count <= 1 }

// Has reports whether the share takes the clip whose path below the folder,
// with slashes, is clip. It depends on that path alone, so shares agree
// whatever each of them sees of the folder and wherever it is mounted.
func (s Share) Has(clip string) bool {
	if s.whole() {
		return true
	}
	sum := sha256.Sum256([]byte(clip))
	return int(binary.BigEndian.Uint64(sum[:8])%uint64(s.Count)) == s.Index-1
}

// String returns "2 of 8", or "" for the whole.
func (s Share) String() string {
	if s.whole() {
		return ""
	}
	return fmt.Sprintf("%d of %d", s.Index, s.Count)
}

const maxShares = 100000

// ParseShare reads "i/n", 1 ≤ i ≤ n. "off" is the whole.
func ParseShare(text string) (Share, error) {
	if text == "off" {
		return Share{}, nil
	}
	a, b, ok := strings.Cut(text, "/")
	i, err1 := strconv.Atoi(a)
	n, err2 := strconv.Atoi(b)
	if !ok || err1 != nil || err2 != nil || n < 1 || n > maxShares || i < 1 || i > n {
		return Share{}, fmt.Errorf("share is %q; allowed: i/n with 1 ≤ i ≤ n, such as 2/8, or off", text)
	}
	return Share{Index: i, Count: n, From: "--share"}, nil
}

// Names of the environment variables that tell a job its share.
const (
	slurmID    = "SLURM_ARRAY_TASK_ID"
	slurmMin   = "SLURM_ARRAY_TASK_MIN"
	slurmMax   = "SLURM_ARRAY_TASK_MAX"
	slurmCount = "SLURM_ARRAY_TASK_COUNT"
	slurmStep  = "SLURM_ARRAY_TASK_STEP"
	jobIndex   = "JOB_COMPLETION_INDEX" // Kubernetes, from 0.
	ownCount   = "JOGSTRIP_SHARES"      // Kubernetes does not tell a pod how many there are.
)

// ShareFromEnvironment reads the share from what Slurm arrays and Kubernetes
// indexed jobs put into the environment; without either it is the whole.
func ShareFromEnvironment(lookup func(string) (string, bool)) (Share, error) {
	number := func(name string, missing int) (int, error) {
		text, ok := lookup(name)
		if !ok || text == "" {
			return missing, nil
		}
		n, err := strconv.Atoi(text)
		if err != nil {
			return 0, fmt.Errorf("%s in the environment is %q; allowed: a whole number", name, text)
		}
		return n, nil
	}
	read := func(names []string, into ...*int) error {
		for i, name := range names {
			n, err := number(name, *into[i])
			if err != nil {
				return err
			}
			*into[i] = n
		}
		return nil
	}
	if id, ok := lookup(slurmID); ok && id != "" {
		task, first, last, count, step := 0, 0, -1, 0, 1
		if err := read([]string{slurmID, slurmMin, slurmMax, slurmCount, slurmStep}, &task, &first, &last, &count, &step); err != nil {
			return Share{}, err
		}
		if step < 1 {
			return Share{}, fmt.Errorf("%s in the environment is %d; allowed: 1 or more", slurmStep, step)
		}
		if count < 1 {
			return Share{}, fmt.Errorf("%s is set in the environment and %s is not: give --share i/n, or --share off for the whole folder", slurmID, slurmCount)
		}
		index := (task-first)/step + 1
		if index < 1 || index > count || (task-first)%step != 0 || last >= 0 && (last-first)/step+1 != count {
			return Share{}, fmt.Errorf("the Slurm array has gaps (task %d, %d to %d, %d tasks): submit it as --array=1-%d, or give --share i/n", task, first, last, count, count)
		}
		return Share{Index: index, Count: count, From: "the Slurm array"}, nil
	}
	if at, ok := lookup(jobIndex); ok && at != "" {
		index, count := 0, 0
		if err := read([]string{jobIndex, ownCount}, &index, &count); err != nil {
			return Share{}, err
		}
		if count < 1 {
			return Share{}, fmt.Errorf("%s is set in the environment (a Kubernetes indexed job) and %s is not: set it to the job's completions, or give --share i/n, or --share off for the whole folder", jobIndex, ownCount)
		}
		if index < 0 || index >= count {
			return Share{}, fmt.Errorf("%s in the environment is %d and %s is %d; allowed: 0 to %d", jobIndex, index, ownCount, count, count-1)
		}
		return Share{Index: index + 1, Count: count, From: "the Kubernetes indexed job"}, nil
	}
	return Share{}, nil
}
