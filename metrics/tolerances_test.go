package metrics

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"jogstrip/track/traj"
)

// Hardeman AM et al. 2019, Equine Vet J, 10.1111/evj.13075: variation between
// measurements of sound horses, mm.
func TestDefaultTolerancesArePublished(t *testing.T) {
	table, err := DefaultTolerances()
	if err != nil {
		t.Fatal(err)
	}
	for n, want := range map[Name]float64{
		HeadLowDifference: 13, HeadHighDifference: 12,
		WithersLowDifference: 4, WithersHighDifference: 3,
		CroupLowDifference: 5, CroupHighDifference: 4,
	} {
		row, ok := table.Lookup(n)
		if !ok || row.Tolerance != want || row.Unit != "mm" || !strings.Contains(row.Source, "Hardeman") {
			t.Errorf("%s: %+v, want %v mm from Hardeman", n, row, want)
		}
	}
	for _, d := range Definitions() {
		row, ok := table.Lookup(d.Name)
		if !ok {
			t.Errorf("%s has no row", d.Name)
			continue
		}
		established := d.Evidence == Established
		_, hasEven := d.Even()
		switch {
		case established && hasEven && row.Weight != 1:
			t.Errorf("%s: weight %v, want full weight for an established component", d.Name, row.Weight)
		case !established && (d.Name == PlacementOffsetFore || d.Name == PlacementOffsetHind):
			if row.Weight <= 0 || row.Weight > 0.25 {
				t.Errorf("%s: weight %v, want a small one", d.Name, row.Weight)
			}
		case !established && row.Weight != 0:
			t.Errorf("%s: weight %v, want none for a description", d.Name, row.Weight)
		}
	}
}

func TestParseTolerancesKeepsTheRest(t *testing.T) {
	table, err := ParseTolerances("yard.toml", []byte(`
schema = "tolerances/1"
[[measure]]
name = "head_low_difference"
unit = "mm"
tolerance = 9
weight = 1
source = "ours"
`))
	if err != nil {
		t.Fatal(err)
	}
	if r, _ := table.Lookup(HeadLowDifference); r.Tolerance != 9 || r.Source != "ours" {
		t.Errorf("row not replaced: %+v", r)
	}
	if r, _ := table.Lookup(CroupLowDifference); r.Tolerance != 5 {
		t.Errorf("row that is not listed changed: %+v", r)
	}
	if _, err := ParseTolerances("copy.toml", ToleranceSource()); err != nil {
		t.Errorf("a copy of the default table does not parse: %v", err)
	}
}

func TestParseTolerancesRefuses(t *testing.T) {
	row := func(lines string) string { return "schema = \"tolerances/1\"\n[[measure]]\n" + lines }
	good := "name = \"speed\"\nunit = \"m/s\"\ntolerance = 0.2\nweight = 0\nsource = \"common practice\"\n"
	for _, c := range []struct{ name, in, want string }{
		{"not TOML", "schema = ", "yard.toml"},
		{"no schema", "[[measure]]\n" + good, `schema is "", want "tolerances/1"`},
		{"later schema", "schema = \"tolerances/2\"", `"tolerances/2"`},
		{"unknown field", row(good + "colour = 1\n"), `unknown field "measure.colour"`},
		{"unknown measure", row(strings.Replace(good, "speed", "sped", 1)), `measure 1 ("sped"): no such measure`},
		{"wrong unit", row(strings.Replace(good, "m/s", "km/h", 1)), `unit is "km/h", want "m/s"`},
		{"no tolerance", row(strings.Replace(good, "tolerance = 0.2\n", "", 1)), "tolerance is 0, want a number above 0"},
		{"negative", row(strings.Replace(good, "0.2", "-0.2", 1)), "tolerance is -0.2"},
		{"not a number", row(strings.Replace(good, "0.2", "nan", 1)), "tolerance is NaN"},
		{"weight without an even value", row(strings.Replace(good, "weight = 0", "weight = 1", 1)), "weight is 1, want 0"},
		{"no source", row(strings.Replace(good, "common practice", "", 1)), "source is empty"},
		{"twice", row(good) + "[[measure]]\n" + good, "listed twice"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ParseTolerances("yard.toml", []byte(c.in))
			if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "yard.toml") {
				t.Errorf("error %v, want one with yard.toml and %q", err, c.want)
			}
		})
	}
}

func FuzzParseTolerances(f *testing.F) {
	f.Add(ToleranceSource())
	f.Add([]byte("schema = \"tolerances/1\"\n[[measure]]\nname = \"speed\"\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		table, err := ParseTolerances("fuzz.toml", b)
		if err != nil {
			return
		}
		for _, r := range table.Rows {
			if err := checkTolerance(r); err != nil {
				t.Fatalf("accepted a bad row %+v: %v", r, err)
			}
		}
	})
}

func TestOwnTolerances(t *testing.T) {
	h := evenHorse()
	h.runSD = map[Name]float64{HeadLowDifference: 3}
	h.strideSD[HeadLowDifference] = 2
	rng := rand.New(rand.NewPCG(1, 1))
	var visits [][]Run
	for range 40 {
		runs, _ := h.runs(rng, traj.Trot, passes(4, 1), 10)
		visits = append(visits, runs)
	}
	table, err := OwnTolerances(visits, nil)
	if err != nil {
		t.Fatal(err)
	}
	row, _ := table.Lookup(HeadLowDifference)
	// A run mean varies by 3 mm and by its strides' 2/√10.
	if want := 1.96 * math.Sqrt(9+0.4); !row.Own || math.Abs(row.Tolerance/want-1) > 0.15 || math.Abs(row.RunSD/3-1) > 0.15 {
		t.Errorf("row %+v, want own, tolerance %.1f, run SD 3", row, want)
	}
	if row.DF != 120 {
		t.Errorf("%v degrees of freedom, want 160 runs − 40 visits", row.DF)
	}
	if row, _ := table.Lookup(CroupLowDifference); row.Own {
		t.Errorf("one run a visit in that view replaced a row: %+v", row)
	}
	few, err := OwnTolerances(visits[:1], nil)
	if err != nil {
		t.Fatal(err)
	}
	if row, _ := few.Lookup(HeadLowDifference); row.Own {
		t.Errorf("3 degrees of freedom replaced a row: %+v", row)
	}
	s, err := Summarise(visits[0], SummaryOptions{Tolerances: table})
	if err != nil {
		t.Fatal(err)
	}
	if r := s.Lookup(HeadLowDifference); !r.OwnTolerance || len(s.Notes) == 0 || !strings.Contains(strings.Join(s.Notes, " "), "Head low-point difference") {
		t.Errorf("the reader is not told of the yard's own tolerance: %+v, notes %q", r, s.Notes)
	}
}
