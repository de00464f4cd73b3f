package record

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

const writtenByHand = `# Bramble, first visit.
# Owner rides three days a week.

reason = "short on the near fore" # as the owner says
surface = 'firm sand'
presented = "led"
vet_file = "B-17"        # a key of the yard's own

# Everything felt on one morning.
[[palpation]]
region = "triceps"
side = "left"
soreness = 3 # sank away
note = """
tense
and warm"""
felt_by = "R. Reed"

[[palpation]] # the other side
region = "triceps"
side = "right"
soreness = 1

[[treatment]]
what = "massage"   # twenty minutes
who = "R. Reed"

[function]
field = "stands apart"
# barn: not asked
appetite = "good"

[yard.own] # a table of the yard's own
list = [1, # one
  2] # two
`

func TestEditVisit(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		old    string
		change func(v *Visit)
		// want holds lines that must be in the new page, gone lines that must not.
		want, gone []string
	}{
		{"nothing changes nothing", writtenByHand, func(*Visit) {}, []string{writtenByHand}, nil},
		{"a text changes in place", writtenByHand, func(v *Visit) { v.Reason = "reluctant to turn left" },
			[]string{`reason = "reluctant to turn left" # as the owner says` + "\n" + `surface = 'firm sand'`}, []string{"short on the near fore"}},
		{"a text that goes leaves its remark", writtenByHand, func(v *Visit) { v.Reason = "" }, []string{"\n# as the owner says\nsurface"}, []string{"reason ="}},
		{"a new key joins the others at the top", writtenByHand, func(v *Visit) { v.Shoeing = "barefoot" },
			[]string{"own\nshoeing = \"barefoot\"\n\n# Everything felt"}, nil},
		{"a grade in place", writtenByHand, func(v *Visit) { v.Palpation[0].Soreness = 1 }, []string{"soreness = 1 # sank away", `felt_by = "R. Reed"`}, []string{"soreness = 3"}},
		{"a reading joins its block", writtenByHand, func(v *Visit) { v.Palpation[1].Pressure, v.Palpation[1].PressureUnit = 41.5, "N" },
			[]string{"side = \"right\"\nsoreness = 1\npressure = 41.5\npressure_unit = \"N\"\n\n[[treatment]]"}, nil},
		{"a block that goes leaves remarks and further keys as remarks", writtenByHand, func(v *Visit) { v.Palpation = v.Palpation[1:] },
			[]string{"# Everything felt on one morning.\n# sank away\n# felt_by = \"R. Reed\"\n\n[[palpation]] # the other side"}, []string{"soreness = 3", "tense"}},
		{"a new block stands behind its kind", writtenByHand, func(v *Visit) {
			v.Palpation = append(v.Palpation, Palpation{Region: "loin", Side: traj.Left, Soreness: 2})
		}, []string{"soreness = 1\n\n[[palpation]]\nregion = \"loin\"\nside = \"left\"\nsoreness = 2\n\n[[treatment]]"}, nil},
		{"what the horse did joins its block", writtenByHand, func(v *Visit) { v.Palpation[1].Behaviour = "ears back, tenses" },
			[]string{"side = \"right\"\nsoreness = 1\nbehaviour = \"ears back, tenses\"\n\n[[treatment]]"}, nil},
		{"a limb moved by hand", writtenByHand, func(v *Visit) {
			v.Motion = []Motion{{Limb: "fore", Side: traj.Left, Direction: "forward", Ease: "less", Note: "at the shoulder"}, {Limb: "hind", Side: traj.Right, Direction: "across", Ease: "free"}}
		}, []string{"\n\n[[motion]]\nlimb = \"fore\"\nside = \"left\"\ndirection = \"forward\"\nease = \"less\"\nnote = \"at the shoulder\"\n\n[[motion]]\nlimb = \"hind\"\nside = \"right\"\ndirection = \"across\"\nease = \"free\"\n"}, nil},
		{"a limb that moves more freely", "[[motion]] # stiff\nlimb = \"fore\"\nside = \"left\"\ndirection = \"back\"\nease = \"refused\" # put down\n", func(v *Visit) { v.Motion[0].Ease = "less" },
			[]string{"[[motion]] # stiff\nlimb = \"fore\"\nside = \"left\"\ndirection = \"back\"\nease = \"less\" # put down\n"}, []string{"refused"}},
		{"function in its table", writtenByHand, func(v *Visit) { v.Function.Barn = "eats well"; v.Function.Field = "" },
			[]string{"[function]\n# barn: not asked\nappetite = \"good\"\nbarn = \"eats well\"\n\n[yard.own]"}, []string{"stands apart"}},
		{"an empty page", "", func(v *Visit) {
			grade := 2
			*v = Visit{Reason: "a \"quoted\" reason\nin two lines \\", AAEPGrade: &grade, GradedBy: "Dr. Hale", Function: Function{Work: "x", Barn: "y"}, Treatment: []Treatment{{What: "rest"}}}
		}, []string{"reason = \"\"\"\na \\\"quoted\\\" reason\nin two lines \\\\\"\"\"\ngraded_by = \"Dr. Hale\"\naaep_grade = 2", "\n\n[function]\nbarn = \"y\"\nwork = \"x\"\n\n[[treatment]]\nwhat = \"rest\"\n"}, nil},
		{"dotted keys", "function.field = \"a\" # f\n", func(v *Visit) { v.Function.Field = "b"; v.Function.Work = "c" }, []string{"function.field = \"b\" # f\nfunction.work = \"c\"\n"}, nil},
		{"an empty list makes room for blocks", "palpation = [] # none yet\n", func(v *Visit) { v.Palpation = []Palpation{{Region: "loin", Soreness: 0}} }, []string{"# none yet\n\n[[palpation]]\nregion = \"loin\"\nsoreness = 0\n"}, nil},
		{"line breaks of another system stay", "# a\r\nreason = \"x\"\r\n", func(v *Visit) { v.Reason = "two\nlines"; v.Notes = "z" }, []string{"# a\r\nreason = \"two\\nlines\"\r\nnotes = \"z\"\r\n"}, nil},
		{"no line break at the end", "reason = \"x\"", func(v *Visit) { v.Notes = "z" }, []string{"reason = \"x\"\nnotes = \"z\"\n"}, nil},
		{"remarks alone", "# the yard's template\n", func(v *Visit) { v.Notes = "z" }, []string{"# the yard's template\nnotes = \"z\"\n"}, nil},
		{"remarks above a table", "# page\n\n# about function\n[function]\nbarn = \"b\"\n", func(v *Visit) { v.Notes = "z" }, []string{"# page\n\nnotes = \"z\"\n# about function\n[function]"}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			v, _, err := ParseVisit("visit.toml", []byte(tt.old))
			if err != nil {
				t.Fatal(err)
			}
			tt.change(v)
			got, err := EditVisit("visit.toml", []byte(tt.old), v)
			if err != nil {
				t.Fatal(err)
			}
			for _, w := range tt.want {
				if !strings.Contains(string(got), w) {
					t.Errorf("missing:\n%s\nin:\n%s", w, got)
				}
			}
			for _, g := range tt.gone {
				if strings.Contains(string(got), g) {
					t.Errorf("should be gone: %s\nin:\n%s", g, got)
				}
			}
			again, _, err := ParseVisit("visit.toml", got)
			if err != nil {
				t.Fatalf("%v\n%s", err, got)
			}
			if !sameVisit(again, v) {
				t.Errorf("reads back otherwise (-want +got):\n%s", cmp.Diff(v, again))
			}
		})
	}
}

func TestEditVisitRefusesWhatItCannotKeep(t *testing.T) {
	t.Parallel()
	const inline = "palpation = [{region = \"loin\", side = \"left\", soreness = 2}] # one line\nfunction = {barn = \"b\", mood = \"m\"}\n"
	tests := []struct {
		name   string
		change func(v *Visit)
		say    string
	}{
		{"blocks within a line", func(v *Visit) { v.Palpation[0].Soreness = 0 }, "[[palpation]]"},
		{"a table within a line", func(v *Visit) { v.Function.Barn = "c" }, "[function]"},
		{"a grade that does not exist", func(v *Visit) { g := 6; v.AAEPGrade = &g }, "0 to 5"},
		{"a date that does not exist", func(v *Visit) { v.NextCheck = "2026-02-30" }, "yyyy-mm-dd"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			v, _, err := ParseVisit("visit.toml", []byte(inline))
			if err != nil {
				t.Fatal(err)
			}
			tt.change(v)
			got, err := EditVisit("visit.toml", []byte(inline), v)
			if err == nil || !strings.Contains(err.Error(), tt.say) {
				t.Errorf("error %v does not say %q; page:\n%s", err, tt.say, got)
			}
		})
	}
	// What is written within a line may stay while something else changes.
	v, _, err := ParseVisit("visit.toml", []byte(inline))
	if err != nil {
		t.Fatal(err)
	}
	v.Reason = "r"
	got, err := EditVisit("visit.toml", []byte(inline), v)
	if err != nil || string(got) != inline+"reason = \"r\"\n" {
		t.Errorf("got %v:\n%s", err, got)
	}
}

func drawVisit(t *rapid.T) *Visit {
	text := rapid.OneOf(rapid.Just(""), rapid.StringN(0, 12, -1), rapid.SampledFrom([]string{"a\nb", `"""`, `\`, "# no comment", "x = 1", "[t]", "é 馬"}))
	clean := func(label string) string { return strings.ReplaceAll(text.Draw(t, label), "\r", "") }
	v := &Visit{
		Reason: clean("reason"), Surface: clean("surface"), Shoeing: clean("shoeing"), Notes: clean("notes"), GradedBy: clean("by"),
		Presented: rapid.SampledFrom(presentations).Draw(t, "presented"),
		Followed:  rapid.SampledFrom([]metrics.Name{"", metrics.StepLengthFore}).Draw(t, "followed"),
		NextCheck: rapid.SampledFrom([]string{"", "2026-04-01"}).Draw(t, "next"),
		Function:  Function{clean("barn"), clean("field"), clean("work")},
	}
	if rapid.Bool().Draw(t, "graded") {
		g := rapid.IntRange(0, 5).Draw(t, "grade")
		v.AAEPGrade = &g
	}
	for range rapid.IntRange(0, 4).Draw(t, "felt") {
		p := Palpation{Region: rapid.SampledFrom([]string{"triceps", "loin", "hock"}).Draw(t, "region"), Side: rapid.SampledFrom([]traj.Side{traj.Left, traj.Right, traj.Middle}).Draw(t, "side"), Soreness: rapid.IntRange(0, 4).Draw(t, "soreness"), Note: clean("note")}
		if rapid.Bool().Draw(t, "measured") {
			p.Pressure, p.PressureUnit = float64(rapid.IntRange(1, 4000).Draw(t, "pressure"))/8, "kg/cm2"
		}
		v.Palpation = append(v.Palpation, p)
	}
	for range rapid.IntRange(0, 3).Draw(t, "treatments") {
		v.Treatment = append(v.Treatment, Treatment{clean("what"), clean("who"), clean("tnote")})
	}
	return v
}

// Whatever is entered one after the other, the page says it, and every remark
// and every key of the yard's own is still there, as itself or as a remark.
func TestEditVisitLosesNothing(t *testing.T) {
	t.Parallel()
	remarks := []string{"# Bramble, first visit.", "# Owner rides three days a week.", "# as the owner says", "# a key of the yard's own", "# Everything felt on one morning.", "# sank away", "# the other side", "# twenty minutes", "# barn: not asked", "# a table of the yard's own", "# one", "# two",
		`vet_file = "B-17"`, `felt_by = "R. Reed"`, `appetite = "good"`, "[yard.own]", "list = [1,"}
	rapid.Check(t, func(t *rapid.T) {
		page := []byte(writtenByHand)
		if rapid.Bool().Draw(t, "other line breaks") {
			page = []byte(strings.ReplaceAll(writtenByHand, "\n", "\r\n"))
		}
		for range rapid.IntRange(1, 4).Draw(t, "edits") {
			v := drawVisit(t)
			next, err := EditVisit("visit.toml", page, v)
			if err != nil {
				t.Fatalf("%v\npage:\n%s", err, page)
			}
			for _, r := range remarks {
				if !strings.Contains(string(next), r) {
					t.Fatalf("%q is lost:\n%s\nbefore:\n%s", r, next, page)
				}
			}
			page = next
		}
	})
}

func FuzzEditVisit(f *testing.F) {
	f.Add([]byte(writtenByHand))
	f.Add([]byte("function.barn = \"x\"\npalpation = []\n"))
	f.Add([]byte("[[palpation]]\nregion='a'\n[palpation.more]\nx=1\n[[palpation.list]]\ny=2\n"))
	f.Add([]byte("\"reason\" = 'quoted key'\n'notes'=\"\"\"a\"\"\"\"\"\n"))
	f.Add([]byte("\xef\xbb\xbfreason = \"x\"\r\n"))
	f.Fuzz(func(t *testing.T, old []byte) {
		v, _, err := ParseVisit("visit.toml", old)
		if err != nil {
			return
		}
		same, err := EditVisit("visit.toml", old, v)
		if err != nil || string(same) != string(old) {
			t.Fatalf("an unchanged visit changes the page: %v\n%q\n%q", err, old, same)
		}
		v.Reason, v.Notes = "why", ""
		v.Palpation = append(v.Palpation, Palpation{Region: "loin", Side: traj.Left, Soreness: 1})
		if len(v.Palpation) > 1 {
			v.Palpation = v.Palpation[1:]
		}
		v.Treatment = nil
		next, err := EditVisit("visit.toml", old, v)
		if err != nil {
			return // Refused in words; nothing is written.
		}
		again, _, err := ParseVisit("visit.toml", next)
		if err != nil || !sameVisit(again, v) {
			t.Fatalf("reads back otherwise: %v\n%q\n%q", err, old, next)
		}
	})
}

func TestPalpationListsAreWhole(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, p := range PalpationRegions() {
		for _, r := range p.Regions {
			if seen[r.Name] {
				t.Errorf("region %q is listed twice", r.Name)
			}
			seen[r.Name] = true
		}
	}
	if len(SorenessGrades()) != 5 {
		t.Errorf("soreness has %d grades, the format has 0 to 4", len(SorenessGrades()))
	}
	// The format's page and the program must name the same grades.
	formats, err := os.ReadFile(filepath.Join(".", "FORMATS.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"0 none", "1 slight", "2 clear", "3 marked"} {
		if !strings.Contains(string(formats), word) {
			t.Errorf("FORMATS.md does not say %q", word)
		}
	}
}

// What cannot be is refused by field, with what is allowed.
func TestMotionOutOfRange(t *testing.T) {
	t.Parallel()
	good := Motion{Limb: "fore", Side: traj.Left, Direction: "across", Ease: "free"}
	for field, change := range map[string]func(m *Motion){
		"motion.0.limb": func(m *Motion) { m.Limb = "neck" }, "motion.0.side": func(m *Motion) { m.Side = "" },
		"motion.0.direction": func(m *Motion) { m.Direction = "up" }, "motion.0.ease": func(m *Motion) { m.Ease = "" },
	} {
		m := good
		change(&m)
		if _, err := EditVisit("visit.toml", nil, &Visit{Motion: []Motion{m}}); err == nil || !strings.Contains(err.Error(), field) || !strings.Contains(err.Error(), "allowed") {
			t.Errorf("%s: %v", field, err)
		}
	}
	if _, err := EditVisit("visit.toml", nil, &Visit{Motion: []Motion{good}}); err != nil {
		t.Error(err)
	}
}
