package metrics

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jogstrip/track/traj"
)

// Hardeman AM et al. 2019, Equine Vet J, 10.1111/evj.13075: variation between
// measurements of sound horses, mm.
func TestDefaultTolerancesArePublished(t *testing.T) {
	table := defaultTable()
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
		case d.Evidence == Suggested && row.Weight != 1:
			t.Errorf("%s: weight %v, want full weight for a suggested component", d.Name, row.Weight)
		case d.Evidence == Suggested:
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
	if _, err := ParseTolerances("copy.toml", defaultTolerances); err != nil {
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
	f.Add(defaultTolerances)
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

// repeatsOf simulates visits of one horse without a treatment between them, four runs
// toward and one away, whose days differ by daySD in the head's low points, mm.
func repeatsOf(rng *rand.Rand, name string, daySD float64, visits int) []Repeat {
	var out []Repeat
	for range visits {
		h := evenHorse()
		h.runSD = map[Name]float64{HeadLowDifference: 1}
		h.strideSD[HeadLowDifference] = 2
		h.mean[HeadLowDifference] += daySD * rng.NormFloat64()
		runs, _ := h.runs(rng, traj.Trot, passes(4, 1), 10)
		out = append(out, Repeat{Horse: name, Series: "1", Runs: runs})
	}
	return out
}

func ownTable(t *testing.T, repeats []Repeat, horse string, table *ToleranceTable) *ToleranceTable {
	t.Helper()
	own := OwnTolerances(repeats, horse, table)
	return own
}

// Visits on different days tell how a horse differs from day to day; runs of one day,
// however many, and visits with a treatment between them do not.
func TestOwnTolerances(t *testing.T) {
	repeats := repeatsOf(rand.New(rand.NewPCG(1, 1)), "juniper", 3, 60)
	table := ownTable(t, repeats, "juniper", nil)
	row, _ := table.Lookup(HeadLowDifference)
	// A visit's mean varies by the day's 3 mm and the runs' 1/√4.
	if want := 2.0 * math.Sqrt(9+0.25); !row.Own || math.Abs(row.Tolerance/want-1) > 0.2 {
		t.Errorf("row %+v, want own, tolerance %.1f", row, want)
	}
	if row.Source != "this horse's own visits without treatment between them, n = 60" {
		t.Errorf("source %q", row.Source)
	}
	if row, _ := ownTable(t, repeats[:6], "juniper", nil).Lookup(HeadLowDifference); row.Own {
		t.Errorf("5 degrees of freedom replaced a row: %+v", row)
	}
	treated := slices.Clone(repeats)
	for i := range treated {
		treated[i].Series = fmt.Sprint(i)
	}
	if row, _ := ownTable(t, treated, "juniper", nil).Lookup(HeadLowDifference); row.Own {
		t.Errorf("visits with treatments between them replaced a row: %+v", row)
	}
	s, err := Summarise(repeats[0].Runs, SummaryOptions{Tolerances: table})
	if err != nil {
		t.Fatal(err)
	}
	if r := s.Lookup(HeadLowDifference); !r.OwnTolerance || r.ToleranceSource != row.Source || !strings.Contains(strings.Join(s.Notes, " "), "Head low-point difference") {
		t.Errorf("the reader is not told of the yard's own tolerance: %+v, notes %q", r, s.Notes)
	}
}

// A horse with enough visits of its own goes by them; another one by those of the
// whole yard.
func TestOwnTolerancesOfHorseAndYard(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	repeats := repeatsOf(rng, "steady", 2, 40)
	repeats = append(repeats, repeatsOf(rng, "loose", 8, 40)...)
	repeats = append(repeats, repeatsOf(rng, "new", 5, 2)...)
	for _, c := range []struct {
		horse string
		sd    float64
		says  string
	}{
		{"steady", 2, "this horse's own visits without treatment between them, n = 40"},
		{"loose", 8, "this horse's own visits without treatment between them, n = 40"},
		{"new", math.Sqrt((4 + 64) / 2.0), "this yard's own visits of 3 horses without treatment between them, n = 82"},
	} {
		row, _ := ownTable(t, repeats, c.horse, nil).Lookup(HeadLowDifference)
		if !row.Own || math.Abs(row.Tolerance/(2*c.sd)-1) > 0.25 || row.Source != c.says {
			t.Errorf("%s: %+v, want a tolerance of %.1f from %q", c.horse, row, 2*c.sd, c.says)
		}
	}
	forward := ownTable(t, repeats, "new", nil)
	slices.Reverse(repeats)
	if d := cmp.Diff(forward, ownTable(t, repeats, "new", nil)); d != "" {
		t.Errorf("the order of visits changes the table:\n%s", d)
	}
}

// What the yard wrote wins over its own visits, be it only to say so.
func TestWrittenTolerancesWin(t *testing.T) {
	repeats := repeatsOf(rand.New(rand.NewPCG(1, 1)), "juniper", 3, 40)
	written := string(defaultTolerances)
	_, head, _ := strings.Cut(written, "name = \"head_low_difference\"")
	head, _, _ = strings.Cut(head, "[[measure]]")
	for _, c := range []struct {
		name    string
		edit    func(string) string
		written bool
	}{
		{"a copy left as it is", func(s string) string { return s }, false},
		{"another tolerance", func(s string) string { return strings.Replace(s, "tolerance = 13.0", "tolerance = 9.5", 1) }, true},
		{"another source alone", func(s string) string { return strings.Replace(s, `source = "`, `source = "kept: `, 1) }, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			table, err := ParseTolerances("tolerances.toml", []byte(strings.Replace(written, head, c.edit(head), 1)))
			if err != nil {
				t.Fatal(err)
			}
			was, _ := table.Lookup(HeadLowDifference)
			row, _ := ownTable(t, repeats, "juniper", table).Lookup(HeadLowDifference)
			if was.Written != c.written || row.Own == c.written {
				t.Errorf("written %v, want %v; then %+v", was.Written, c.written, row)
			}
			if c.written && row != was {
				t.Errorf("%+v became %+v", was, row)
			}
			if other, _ := table.Lookup(CroupLowDifference); other.Written {
				t.Errorf("a row nobody touched counts as written: %+v", other)
			}
		})
	}
}
