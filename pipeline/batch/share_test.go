package batch

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestEveryClipBelongsToExactlyOneShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "shares")
		clip := rapid.String().Draw(t, "clip")
		owners := 0
		for i := 1; i <= n; i++ {
			if (Share{Index: i, Count: n}).Has(clip) {
				owners++
			}
		}
		if owners != 1 {
			t.Fatalf("%d shares of %d take %q", owners, n, clip)
		}
	})
}

func TestSharesAreOfAboutTheSameSize(t *testing.T) {
	const clips, shares = 8000, 8
	sizes := make([]int, shares)
	for c := range clips {
		for i := range shares {
			if (Share{Index: i + 1, Count: shares}).Has(fmt.Sprintf("horses/h%d/2026-03-02/toward-%d.mp4", c%97, c)) {
				sizes[i]++
			}
		}
	}
	for i, n := range sizes {
		// Six standard deviations of a binomial share.
		if n < 1000-180 || n > 1000+180 {
			t.Errorf("share %d has %d of %d clips", i+1, n, clips)
		}
	}
}

func TestParseShare(t *testing.T) {
	for text, want := range map[string]Share{"1/1": {1, 1, "--share"}, "2/8": {2, 8, "--share"}, "off": {}} {
		if got, err := ParseShare(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "0/3", "4/3", "1", "1/0", "a/b", "-1/2", "1/2/3", "1/999999999"} {
		if got, err := ParseShare(text); err == nil || !strings.Contains(err.Error(), "allowed") {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
}

// The names are those of the Slurm sbatch manual ("job arrays") and of the
// Kubernetes documentation of indexed jobs.
func TestShareFromEnvironment(t *testing.T) {
	tests := []struct {
		name string
		env  map[string]string
		want string // "i of n"; "" is the whole; "error: word".
	}{
		{"neither", nil, ""},
		{"Slurm 1-8", map[string]string{slurmID: "3", slurmMin: "1", slurmMax: "8", slurmCount: "8", slurmStep: "1"}, "3 of 8"},
		{"Slurm 0-7", map[string]string{slurmID: "0", slurmMin: "0", slurmMax: "7", slurmCount: "8"}, "1 of 8"},
		{"Slurm 0-14:2", map[string]string{slurmID: "14", slurmMin: "0", slurmMax: "14", slurmCount: "8", slurmStep: "2"}, "8 of 8"},
		{"Slurm one task", map[string]string{slurmID: "5", slurmMin: "5", slurmMax: "5", slurmCount: "1"}, ""},
		{"Slurm with gaps", map[string]string{slurmID: "9", slurmMin: "1", slurmMax: "9", slurmCount: "3"}, "error: gaps"},
		{"Slurm with gaps, a low task", map[string]string{slurmID: "1", slurmMin: "1", slurmMax: "9", slurmCount: "3"}, "error: gaps"},
		{"Slurm without a count", map[string]string{slurmID: "9"}, "error: --share"},
		{"Slurm with nonsense", map[string]string{slurmID: "nine"}, "error: whole number"},
		{"Kubernetes", map[string]string{jobIndex: "0", ownCount: "4"}, "1 of 4"},
		{"Kubernetes, last", map[string]string{jobIndex: "3", ownCount: "4"}, "4 of 4"},
		{"Kubernetes, beyond", map[string]string{jobIndex: "4", ownCount: "4"}, "error: allowed"},
		{"Kubernetes without a count", map[string]string{jobIndex: "4"}, "error: JOGSTRIP_SHARES"},
		{"a count alone", map[string]string{ownCount: "4"}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := ShareFromEnvironment(func(name string) (string, bool) { v, ok := tt.env[name]; return v, ok })
			if word, wrong := strings.CutPrefix(tt.want, "error: "); wrong {
				if err == nil || !strings.Contains(err.Error(), word) {
					t.Errorf("%+v, %v; want an error with %q", got, err, word)
				}
				return
			}
			if err != nil || got.String() != tt.want {
				t.Errorf("%q, %v; want %q", got, err, tt.want)
			}
		})
	}
}
