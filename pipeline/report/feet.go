package report

import (
	"fmt"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
)

// hoofWidth is the width of a hoof by which base width is told in words, cm. Common practice.
const hoofWidth = 12.0

// baseWords says in words how wide the limbs of each pair that was measured are set, and
// whether they cross, in the unit in which s is said. Nothing is said that an interval does
// not hold as a whole.
func baseWords(s *metrics.Summary) []string {
	var out []string
	for g, n := range [2]metrics.Name{metrics.BaseWidthFore, metrics.BaseWidthHind} {
		r := s.Lookup(n)
		if r == nil || r.Value == nil {
			continue
		}
		hoof := hoofWidth
		if r.Unit == lengths.Inches.Unit("cm") {
			hoof = lengths.Inches.Of(hoof, "cm")
		}
		pair := [2]string{"fores", "hinds"}[g]
		v := *r.Value
		text := fmt.Sprintf("The %s land %.1f %s apart, centre to centre (95 %% interval %.1f to %.1f)", pair, v.Value, r.Unit, v.Low, v.High)
		switch {
		case v.High < 0:
			text = fmt.Sprintf("The %s cross: each lands on the other's side, by %.1f %s (95 %% interval %.1f to %.1f)", pair, -v.Value, r.Unit, -v.High, -v.Low)
		case v.Low > -hoof/2 && v.High < hoof/2:
			text += ": on one line"
		case v.High < hoof:
			text += ": narrow, less than a hoof's width"
		case v.Low > 3*hoof:
			text += ": wide, with room for two hooves between them"
		case v.Low >= hoof && v.High <= 3*hoof:
			text += ": neither narrow nor wide"
		}
		out = append(out, text+".")
	}
	return out
}
