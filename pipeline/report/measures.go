package report

import (
	"fmt"
	"math"
	"strings"

	"jogstrip/metrics"
)

// measureRow is a row of a table of measures.
type measureRow struct {
	Title     string
	Unit      string
	Left      cell
	Right     cell
	Value     cell
	Index     cell
	Tolerance cell // Its second line says where it comes from, if not from the table.
	N         string
	Words     string
	Beyond    bool
	Sided     bool
}

// measureTables splits a summary's results into what describes the run as a
// whole, what compares the sides on established evidence, on suggested evidence and as
// description, and what could not be measured.
type measureTables struct {
	Whole       []measureRow
	Established []measureRow
	Suggested   []measureRow
	Description []measureRow
	Missing     []missingRow
}

// missingRow groups the measures that share a reason.
type missingRow struct {
	Reason string
	Titles []string
}

func tables(s *metrics.Summary) measureTables {
	var t measureTables
	for _, r := range s.Results {
		d := define(r.Name)
		if r.Value == nil && r.Left == nil && r.Right == nil {
			t.miss(d.Title, r.Reason)
			continue
		}
		row := measureRowOf(d, r)
		switch {
		case !compares(d):
			t.Whole = append(t.Whole, row)
		case d.Evidence == metrics.Established:
			t.Established = append(t.Established, row)
		case d.Evidence == metrics.Suggested:
			t.Suggested = append(t.Suggested, row)
		default:
			t.Description = append(t.Description, row)
		}
	}
	return t
}

// measuresSection tables a summary's measures; of doubted ones without words.
func measuresSection(sum *metrics.Summary, doubted bool) section {
	all := tables(sum)
	if doubted {
		for _, rows := range [][]measureRow{all.Established, all.Description} {
			for i := range rows {
				rows[i].Words, rows[i].Beyond = "–", false
			}
		}
	}
	s := section{title: "Measures"}
	s.add(paragraph("In brackets: 95 % intervals. Intervals made in this way hold the true value 95 times in 100. n: strides. A difference is claimed only where it is beyond its tolerance and its interval excludes even."))
	s.table(sidesTable("Left and right: established measures", "Published work shows that these go with lameness.", all.Established))
	s.table(sidesTable("Left and right: suggested measures", "The trade takes these for signs, with little published work behind it: they count in the score and name no limb.", all.Suggested))
	s.table(sidesTable("Left and right: described measures", "Seen and reported; not shown to tell a lame limb. Stance time may be longer or shorter on a sore limb.", all.Description))
	whole := table{caption: "The gait as a whole", facts: true, wide: true, head: []string{"Measure", "Value", "n"}}
	for _, r := range all.Whole {
		whole.rows = append(whole.rows, tableRow{cells: []tableCell{textCell(r.Title + ", " + r.Unit), valueCell(r.Value), {text: plain(r.N), number: true}}})
	}
	s.table(whole)
	if !doubted {
		s.list("How the feet are set", baseWords(sum))
	}
	var missing []string
	for _, m := range all.Missing {
		missing = append(missing, strings.Join(m.Titles, "; ")+": "+m.Reason+".")
	}
	s.list("Not measurable", missing)
	return s
}

func sidesTable(caption, note string, rows []measureRow) table {
	t := table{caption: caption, note: note, wide: true,
		head: []string{"Measure", "Left", "Right", "Difference right − left", "Symmetry index, %", "Tolerance", "n", "In words"}}
	for _, r := range rows {
		in := r.Words
		if r.Beyond {
			in = "beyond tolerance: " + in
		}
		t.rows = append(t.rows, tableRow{counts: r.Beyond, cells: []tableCell{
			nameCell(r.Title, r.Unit), valueCell(r.Left), valueCell(r.Right), valueCell(r.Value), valueCell(r.Index), valueCell(r.Tolerance),
			{text: plain(r.N), number: true}, {text: plain(in), words: true},
		}})
	}
	return t
}

func (t *measureTables) miss(title, reason string) {
	if reason == "" {
		reason = "no reason was recorded"
	}
	for i := range t.Missing {
		if t.Missing[i].Reason == reason {
			t.Missing[i].Titles = append(t.Missing[i].Titles, title)
			return
		}
	}
	t.Missing = append(t.Missing, missingRow{Reason: reason, Titles: []string{title}})
}

func measureRowOf(d metrics.Definition, r metrics.Result) measureRow {
	cells := measuredCells(d, r.Unit, r.Left, r.Right, r.Value)
	row := measureRow{
		Title:     d.Title,
		Unit:      saidUnit(d, r.Unit),
		Left:      cells[0],
		Right:     cells[1],
		Value:     cells[2],
		Index:     estimateCell(r.SymmetryIndex, 1),
		Tolerance: sizeCell(d, r.Unit, "± ", r.Tolerance),
		N:         fmt.Sprint(r.Strides),
		Beyond:    r.Beyond,
		Sided:     d.Sided,
	}
	if r.Tolerance > 0 && r.OwnTolerance {
		row.Tolerance.Interval = ownRepeats(r)
	}
	if compares(d) {
		row.Words = inWords(d, r)
	}
	return row
}

// even returns the value of a measure at which the sides are alike.
func even(n metrics.Name) float64 {
	e, _ := define(n).Even()
	return e
}

// compares reports whether a measure's value is a comparison of the sides.
func compares(d metrics.Definition) bool {
	_, ok := d.Even()
	return ok
}

// inWords says which side a difference is on: nothing is claimed below the
// tolerance or where the interval holds even.
func inWords(d metrics.Definition, r metrics.Result) string {
	if r.Value == nil {
		if r.Left != nil && r.Right != nil {
			return "difference not measured"
		}
		return "one side not measured"
	}
	e := even(r.Name)
	holdsEven := r.Value.Low <= e && e <= r.Value.High
	if !r.Beyond {
		switch {
		case r.Tolerance <= 0:
			return "no tolerance known"
		case holdsEven:
			return "no difference shown"
		case math.Abs(r.Value.Value-e) <= r.Tolerance:
			return "within tolerance"
		}
		return "not certain"
	}
	positive, negative, ok := sideWords(r.Name)
	if !ok {
		positive, negative = "right larger", "left larger"
	}
	if r.Value.Value > e {
		return positive
	}
	return negative
}

// sideWords says in words what a positive and a negative difference
// (right − left) of a measure means; ok is false for measures that do not
// compare the sides.
func sideWords(n metrics.Name) (positive, negative string, ok bool) {
	switch n {
	case metrics.StepLengthFore, metrics.StepLengthHind:
		return "left step shorter", "right step shorter", true
	case metrics.StepTimingFore, metrics.StepTimingHind:
		return "right lands late after the left", "right lands early after the left", true
	case metrics.HeadLowDifference:
		return "head stays higher over the right fore", "head stays higher over the left fore", true
	case metrics.HeadHighDifference:
		return "head rises higher after the right fore", "head rises higher after the left fore", true
	case metrics.WithersLowDifference:
		return "withers stay higher over the right fore", "withers stay higher over the left fore", true
	case metrics.WithersHighDifference:
		return "withers rise higher after the right fore", "withers rise higher after the left fore", true
	case metrics.CroupLowDifference:
		return "croup stays higher over the right hind", "croup stays higher over the left hind", true
	case metrics.CroupHighDifference:
		return "croup rises higher after the right hind", "croup rises higher after the left hind", true
	case metrics.HipExcursion:
		return "right hip moves more", "left hip moves more", true
	case metrics.StanceDurationFore, metrics.StanceDurationHind, metrics.DutyFactorFore, metrics.DutyFactorHind:
		return "left stands shorter", "right stands shorter", true
	case metrics.SwingDurationFore, metrics.SwingDurationHind:
		return "left swings shorter", "right swings shorter", true
	case metrics.PlacementOffsetFore, metrics.PlacementOffsetHind:
		return "right lands further out", "left lands further out", true
	case metrics.LateralArcFore, metrics.LateralArcHind:
		return "right swings further outward", "left swings further outward", true
	case metrics.MedialArcFore, metrics.MedialArcHind:
		return "right swings further inward", "left swings further inward", true
	case metrics.FlightHeightFore, metrics.FlightHeightHind:
		return "left carried lower", "right carried lower", true
	case metrics.PlacementSpreadFore, metrics.PlacementSpreadHind:
		return "right placements more scattered", "left placements more scattered", true
	case metrics.ShoulderExcursion:
		return "right shoulder moves more", "left shoulder moves more", true
	case metrics.ShoulderLift:
		return "left shoulder lifted less", "right shoulder lifted less", true
	case metrics.ChestSway, metrics.CroupSway, metrics.HeadSway:
		return "swings further to the right", "swings further to the left", true
	case metrics.HeadToSide:
		return "head carried to the right", "head carried to the left", true
	case metrics.QuartersToSide:
		return "quarters to the right of the forehand", "quarters to the left of the forehand", true
	case metrics.LineDrift:
		return "drifts to the right", "drifts to the left", true
	case metrics.StepLengthSpreadFore, metrics.StepLengthSpreadHind:
		return "right steps more scattered", "left steps more scattered", true
	}
	return "", "", false
}

// scoreSentence says what the score is and how far to trust it.
func scoreSentence(s *metrics.Summary) string {
	if s.Score == nil {
		return "No asymmetry score: none of its components could be measured."
	}
	txt := fmt.Sprintf("Asymmetry score %s, from %s in %s: %s.",
		inText(s.Score.Estimate, "", 2), count(s.Score.Strides, "stride"), count(s.Score.Runs, "run"), metrics.ScoreScale)
	if s.Score.Runs == 1 {
		txt += " With one run the interval holds for that run only, not for the horse on that day."
	}
	return txt
}

// scoreMissing says what the score lacks.
func scoreMissing(s *metrics.Summary) string {
	if s.Score == nil || len(s.Score.Missing) == 0 {
		return ""
	}
	var titles []string
	for _, n := range s.Score.Missing {
		titles = append(titles, lowerFirst(define(n).Title))
	}
	return "Not part of the score, because not measurable here: " + strings.Join(titles, "; ") + "."
}
