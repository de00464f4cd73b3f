//go:build study

package accuracy_test

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"jogstrip/pipeline/accuracy"
	"jogstrip/pipeline/scene"
)

var accuracyWrite = flag.String("accuracy-write", "", "page between whose markers the reports write their tables; empty prints only")

// publish prints a section's tables and, where asked to, writes them between the
// section's markers on the page.
func publish(t *testing.T, section string, tables []byte) {
	t.Helper()
	fmt.Printf("%s\n", tables)
	if *accuracyWrite == "" {
		return
	}
	page, err := os.ReadFile(*accuracyWrite)
	if err != nil {
		t.Fatal(err)
	}
	page, err = accuracy.Between(page, section, tables)
	if err != nil {
		t.Fatalf("%s: %v", *accuracyWrite, err)
	}
	if err := os.WriteFile(*accuracyWrite, page, 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestReportReal prints the table of real clips.
func TestReportReal(t *testing.T) {
	root := shared(t)
	clips := accuracy.RealClips()
	figures := make([]*accuracy.RealFigures, len(clips))
	for i, c := range clips {
		out, err := filedReal(t, root, c)
		if err != nil {
			t.Logf("%s: %v", c.Name, err)
			continue
		}
		if figures[i], err = accuracy.JudgeReal(filepath.Join(root, "data", "real"), c, out); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	accuracy.WriteReal(&b, clips, figures)
	// The same clips with other readings as marks: three, four and six of each foot.
	// Slow motion is left out, which says nothing new of that.
	clips = slices.DeleteFunc(clips, func(c accuracy.RealClip) bool { return c.Name == "horse-trot" })
	others := make([][]*accuracy.RealFigures, len(clips))
	for i, c := range clips {
		for which, n := range []int{3, 3, 4, 6} {
			marks, err := accuracy.OtherMarks(filepath.Join(root, "data", "real"), c, n, which)
			if err != nil {
				t.Fatal(err)
			}
			var f *accuracy.RealFigures
			if out, err := measuredReal(t, t.TempDir(), root, c, marks); err != nil {
				t.Logf("%s, other marks %d: %v", c.Name, which+1, err)
			} else if f, err = accuracy.JudgeReal(filepath.Join(root, "data", "real"), c, out); err != nil {
				t.Fatal(err)
			}
			others[i] = append(others[i], f)
		}
	}
	fmt.Fprintf(&b, "\nWith other readings as marks, three, four or six of each foot:\n\n")
	accuracy.WriteStrides(&b, clips, others)
	publish(t, "real", b.Bytes())
}

// TestReportSealed prints the tables of the hard clips of the sealed set; JOGSTRIP_SET
// names another set, whose tables are only printed, JOGSTRIP_SECTION one of the sections
// sealed, shoulders and dots. JOGSTRIP_COUNT takes the first few clips
// only, which are printed and not written. JOGSTRIP_CLIPS names a folder in which rendered clips
// are kept for the next run.
func TestReportSealed(t *testing.T) {
	if missing := scene.MissingPhotographs(); missing != nil {
		t.Fatalf("photographs are missing: install %v (./scripts/setup test)", missing)
	}
	set := accuracy.Sealed
	if s := os.Getenv("JOGSTRIP_SET"); s != "" {
		set = accuracy.Set(s)
	}
	if len(accuracy.Clips(set)) == 0 {
		t.Fatalf("set %q is not one of fit, check, sealed", set)
	}
	folder := os.Getenv("JOGSTRIP_CLIPS")
	if folder == "" {
		folder = t.TempDir()
	}
	folder = filepath.Join(folder, string(set))
	for _, part := range []struct {
		section string
		clips   []accuracy.Clip
		write   func(*accuracy.Yardstick, io.Writer)
	}{
		{"sealed", accuracy.Clips(set), (*accuracy.Yardstick).Write},
		{"walk", accuracy.WalkClips(set), (*accuracy.Yardstick).Write},
		{"shoulders", accuracy.ShoulderClips(set), (*accuracy.Yardstick).WriteShoulders},
		{"dots", accuracy.DottedClips(set), (*accuracy.Yardstick).WriteShoulders},
	} {
		if only := os.Getenv("JOGSTRIP_SECTION"); only != "" && only != part.section {
			continue
		}
		if len(part.clips) == 0 {
			t.Logf("set %q has no clips for the table %s", set, part.section)
			continue
		}
		n, err := strconv.Atoi(os.Getenv("JOGSTRIP_COUNT"))
		if err != nil || n <= 0 || n > len(part.clips) {
			n = len(part.clips)
		}
		var b bytes.Buffer
		part.write(yardstickOf(t, part.clips[:n], folder, nil), &b)
		if set != accuracy.Sealed || n < len(part.clips) {
			fmt.Printf("%s\n", b.Bytes())
			continue
		}
		publish(t, part.section, b.Bytes())
	}
}

// TestCalibrate prints, of the fit set, by what factor the stated spreads of every part
// would have to grow for errors and spreads to agree.
func TestCalibrate(t *testing.T) {
	if missing := scene.MissingPhotographs(); missing != nil {
		t.Fatalf("photographs are missing: install %v (./scripts/setup test)", missing)
	}
	clips := accuracy.Clips(accuracy.Fit)
	if n, err := strconv.Atoi(os.Getenv("JOGSTRIP_COUNT")); err == nil && n > 0 && n < len(clips) {
		clips = clips[:n]
	}
	folder := os.Getenv("JOGSTRIP_CLIPS")
	if folder == "" {
		folder = t.TempDir()
	}
	var b bytes.Buffer
	y := yardstickOf(t, clips, filepath.Join(folder, string(accuracy.Fit)), nil)
	y.WriteFactors(&b)
	fmt.Printf("%s\n", b.Bytes())
}
