package report

import (
	"cmp"
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
	this, other, when := "left", "right", "early"
	if r.Value.Value > e {
		this, other, when = "right", "left", "late"
	}
	words := cmp.Or(sideWords[r.Name], "{this} larger")
	return strings.NewReplacer("{this}", this, "{other}", other, "{when}", when).Replace(words)
}

// sideWords says in words what a difference of a measure means. {this} is the side to which it
// is, right for a positive one; {when} is late for those, else early.
var sideWords = map[metrics.Name]string{
	metrics.StepLengthFore:        "{other} step shorter",
	metrics.StepLengthHind:        "{other} step shorter",
	metrics.StepTimingFore:        "right lands {when} after the left",
	metrics.StepTimingHind:        "right lands {when} after the left",
	metrics.HeadLowDifference:     "head stays higher over the {this} fore",
	metrics.HeadHighDifference:    "head rises higher after the {this} fore",
	metrics.WithersLowDifference:  "withers stay higher over the {this} fore",
	metrics.WithersHighDifference: "withers rise higher after the {this} fore",
	metrics.CroupLowDifference:    "croup stays higher over the {this} hind",
	metrics.CroupHighDifference:   "croup rises higher after the {this} hind",
	metrics.HipExcursion:          "{this} hip moves more",
	metrics.StanceDurationFore:    "{other} stands shorter",
	metrics.StanceDurationHind:    "{other} stands shorter",
	metrics.DutyFactorFore:        "{other} stands shorter",
	metrics.DutyFactorHind:        "{other} stands shorter",
	metrics.SwingDurationFore:     "{other} swings shorter",
	metrics.SwingDurationHind:     "{other} swings shorter",
	metrics.LateralArcFore:        "{this} swings further outward",
	metrics.LateralArcHind:        "{this} swings further outward",
	metrics.MedialArcFore:         "{this} swings further inward",
	metrics.MedialArcHind:         "{this} swings further inward",
	metrics.PlacementSpreadFore:   "{this} placements more scattered",
	metrics.PlacementSpreadHind:   "{this} placements more scattered",
	metrics.StepLengthSpreadFore:  "{this} steps more scattered",
	metrics.StepLengthSpreadHind:  "{this} steps more scattered",
	metrics.ShoulderExcursion:     "{this} shoulder moves more",
	metrics.ShoulderLift:          "{other} shoulder lifted less",
	metrics.ChestSway:             "swings further to the {this}",
	metrics.CroupSway:             "swings further to the {this}",
	metrics.HeadSway:              "swings further to the {this}",
	metrics.HeadToSide:            "head carried to the {this}",
	metrics.QuartersToSide:        "quarters to the {this} of the forehand",
	metrics.LineDrift:             "drifts to the {this}",
}

// scoreSentence says what the score is and how far to trust it.
func scoreSentence(s *metrics.Summary) string {
	if s.Score == nil {
		return "No asymmetry score: none of its components could be measured."
	}
	if metrics.TooLittleSeen(s.Limb.Sentence) {
		return sentence(metrics.NoScore)
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
