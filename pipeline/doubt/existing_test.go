package doubt_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// TestExistingYard makes every mistake with the clips of a yard that demo made and
// that were measured, on what tracking really gave: JOGSTRIP_DEMO names the demo's
// folder. It prints how many are doubted, and fails where a wrong side is named.
func TestExistingYard(t *testing.T) {
	folder := os.Getenv("JOGSTRIP_DEMO")
	if folder == "" {
		t.Skip("JOGSTRIP_DEMO names no demo folder")
	}
	outs, err := filepath.Glob(filepath.Join(folder, "yard/horses/*/*/*.out"))
	if err != nil {
		t.Fatal(err)
	}
	all := append([]mistake{{"nothing", nil, func(*filmed) {}}}, mistakes...)
	for _, m := range all {
		n, doubted, refused, named := 0, 0, 0, 0
		for _, out := range outs {
			f := existing(t, out)
			if f == nil {
				continue
			}
			m.do(f)
			n++
			s, _, doubts, err := f.measured()
			if err != nil {
				refused++
				continue
			}
			look := slices.ContainsFunc(doubts, func(d record.Doubt) bool { return d.Severity != record.Remark })
			if look {
				doubted++
			}
			// The demo's horse is uneven on its left fore.
			right := s.Limb.Limb.Side() == traj.Right || strings.Contains(s.Limb.Sentence, "point to the right")
			if right && !look {
				named++
				t.Errorf("%s, %s: %s", m.name, out, s.Limb.Sentence)
			}
			if m.name == "nothing" && look {
				t.Logf("%s: %s", out, doubts[0].Sentence)
			}
		}
		t.Logf("%-50s %2d clips: %2d doubted, %2d refused by measuring, %d wrong sides named", m.name, n, doubted, refused, named)
	}
}

// existing reads a clip's marks and what was followed; nil where out is no clip's.
func existing(t *testing.T, out string) *filmed {
	t.Helper()
	marks, err := record.ReadMarks(strings.TrimSuffix(out, ".out") + ".marks.json")
	if err != nil {
		return nil
	}
	marks.WithersM = 1.6
	file, err := os.Open(filepath.Join(out, "signals.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	number := func(row []string, name string) float64 {
		v, err := strconv.ParseFloat(row[column[name]], 64)
		if err != nil {
			t.Fatalf("%s: %v", out, err)
		}
		return v
	}
	f := &filmed{marks: marks, set: &traj.Set{Width: marks.Picture.Width, Height: marks.Picture.Height}, limb: traj.LeftFore}
	f.scene.View, f.scene.Gait = marks.View, marks.Gait
	for _, row := range rows[1:] {
		f.set.Times = append(f.set.Times, number(row, "time_s"))
	}
	status := map[string]traj.Status{"marked": traj.Marked, "tracked": traj.Tracked, "across": traj.Across}
	for _, l := range traj.Landmarks() {
		name := strings.ReplaceAll(string(l), "-", "_")
		if _, ok := column[name+"_status"]; !ok {
			continue
		}
		track := traj.Track{Landmark: l}
		for _, row := range rows[1:] {
			k, ok := status[row[column[name+"_status"]]]
			if !ok {
				track.Samples = append(track.Samples, traj.Gone())
				continue
			}
			track.Samples = append(track.Samples, traj.Sample{X: number(row, name+"_x_px"), Y: number(row, name+"_y_px"), SD: number(row, name+"_sd_px"), SDY: number(row, name+"_sd_y_px"), Quality: 1, Status: k})
		}
		f.set.Tracks = append(f.set.Tracks, track)
	}
	return f
}
