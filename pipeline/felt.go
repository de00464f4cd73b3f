package pipeline

import (
	"slices"
	"strings"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/track/traj"
)

// parts of the body that go with each pair of limbs, as record.PalpationRegions names
// them. The base of the neck is a region of the forehand; the rest of head, neck, back
// and trunk goes with neither.
var partOf = map[metrics.Girdle]string{metrics.Fore: "Shoulder and forehand", metrics.Hind: "Hindquarters"}

// feltBeside puts what hands found on the fores and on the hinds beside what was
// measured of them, and says whether both found the same side. It infers no cause.
func feltBeside(v *record.Visit, s *metrics.Summary) []report.FeltBeside {
	var out []report.FeltBeside
	for _, g := range []metrics.Girdle{metrics.Fore, metrics.Hind} {
		words, worst := felt(v, g)
		if len(words) == 0 {
			continue
		}
		seen := glance.Of(s, g)
		row := report.FeltBeside{Limbs: map[metrics.Girdle]string{metrics.Fore: "Forehand", metrics.Hind: "Hindquarters"}[g], Felt: strings.Join(words, "; "), Measured: strings.Join(seen.Words, "; ")}
		switch {
		case !seen.Measured:
			row.Measured = "nothing that compares left and right"
		case len(seen.Words) == 0:
			row.Measured = "nothing beyond tolerance"
		}
		row.Together = together(worst, seen)
		out = append(out, row)
	}
	return out
}

// felt says what hands found on the limbs of a girdle, and how much on each side at the
// worst: a grade of soreness, or 1 for less freedom and 2 for none. Index: 0 left, 1
// right.
func felt(v *record.Visit, g metrics.Girdle) (words []string, worst [2]int) {
	var regions []record.Region
	for _, p := range record.PalpationRegions() {
		if p.Name == partOf[g] {
			regions = p.Regions
		}
	}
	count := func(side traj.Side, grade int) {
		for i, s := range [2]traj.Side{traj.Left, traj.Right} {
			if s == side {
				worst[i] = max(worst[i], grade)
			}
		}
	}
	for _, p := range v.Palpation {
		if slices.ContainsFunc(regions, func(r record.Region) bool { return r.Name == p.Region }) {
			words = append(words, regionWords(p)+": "+sorenessWords(p.Soreness))
			count(p.Side, p.Soreness)
		}
	}
	for _, m := range v.Motion {
		if m.Limb == string(g) {
			words = append(words, motionPlace(m)+": "+m.Ease)
			count(m.Side, slices.Index(record.MotionEases, m.Ease))
		}
	}
	return words, worst
}

// together says whether hands and film found the same side.
func together(worst [2]int, seen glance.Seen) string {
	side := ""
	switch {
	case worst[0] > worst[1]:
		side = "left"
	case worst[1] > worst[0]:
		side = "right"
	}
	film := ""
	switch {
	case seen.Left && seen.Right:
		film = "both"
	case seen.Left:
		film = "left"
	case seen.Right:
		film = "right"
	}
	switch {
	case !seen.Measured:
		return "Film says nothing here."
	case side == "" && film == "" && worst[0] == 0:
		return "They agree: hands found nothing sore, and nothing measured points to a side."
	case side == "" && worst[0] == 0:
		return "They differ: hands found nothing sore, film points to " + sideOrBoth(film) + "."
	case side == "" && film == "":
		return "Hands found both sides alike, and nothing measured points to a side."
	case side == "":
		return "Hands found both sides alike, film points to " + sideOrBoth(film) + "."
	case film == "":
		return "Hands found more on the " + side + "; nothing measured points to a side."
	case film == side:
		return "They agree: hands found more on the " + side + ", and film points to the " + film + "."
	case film == "both":
		return "Hands found more on the " + side + ", film points to both sides."
	}
	return "They differ: hands found more on the " + side + ", film points to the " + film + "."
}

func sideOrBoth(film string) string {
	if film == "both" {
		return "both sides"
	}
	return "the " + film
}
