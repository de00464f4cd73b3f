package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
)

// Comparison is the page of two visits beside each other.
type Comparison struct {
	Header     Header
	Before     Visited
	After      Visited
	Comparison *metrics.Comparison
	Front      Front
	Films      []Footage // Of before and after; empty leaves it out.
	NotFilmed  []string  // What the film lacks, and why.
	Figures    []Figure
	Records    []RecordSection // Palpation, treatment, function: what both visits wrote down.
	Provenance Provenance
}

// Visited names a visit.
type Visited struct {
	Date time.Time
	Link string // To the visit's page; empty leaves it out.
	Note string // "before treatment", surface, shoeing: in a few words.
}

// RecordSection is one kind of record of two visits, side by side.
type RecordSection struct {
	Title string // "Soreness on palpation".
	Note  string // The scale, or who felt.
	Rows  []RecordRow
}

// RecordRow is one region or item at both visits.
type RecordRow struct {
	Region string
	Before string // Empty: not recorded.
	After  string
}

type changeRow struct {
	Title    string
	Unit     string
	Followed bool
	Before   cell
	After    cell
	Change   cell
	Smallest cell // Its second line says where it comes from, if not from the table.
	Verdict  string
	Why      string // Why there is no measurable change although the interval leaves out zero.
	Counts   bool   // The verdict is a change.
	Sentence string
}

func changeRowOf(c metrics.Change, d metrics.Definition) changeRow {
	cells := measuredCells(d, c.Unit, c.Before, c.After, c.Judged)
	row := changeRow{
		Title: d.Title, Unit: saidUnit(d, c.Unit), Followed: c.Followed,
		Before: cells[0], After: cells[1], Change: cells[2],
		Smallest: sizeCell(d, c.Unit, "", c.SmallestJudged()),
		Verdict:  string(c.Verdict), Sentence: sentence(c.Sentence), Why: glance.WhyNoChange(&c),
		Counts: c.Verdict == metrics.Improved || c.Verdict == metrics.Worse || c.Verdict == metrics.Changed,
	}
	if c.Smallest > 0 && c.OwnMDC {
		row.Smallest.Interval = "own visits"
	}
	if c.Verdict == metrics.NotComparable {
		row.Sentence = sentence(c.Reason)
	}
	return row
}

// scoreDefinition stands for the score where a measure's definition is expected.
var scoreDefinition = metrics.Definition{Name: metrics.ScoreName, Title: "Asymmetry score", Decimals: 2}

// comparedHow says what a comparison's page does with its visits.
func comparedHow(v metrics.Verdict) string {
	if v == metrics.NotComparable {
		return "Two visits, each by itself."
	}
	return "Two visits compared, measure by measure."
}

// Page makes the comparison of two visits. Without a comparison there is an
// error.
func (c Comparison) Page() (*Page, error) {
	m := c.Comparison.Said(c.Header.Lengths)
	if m == nil {
		return nil, fmt.Errorf("make comparison page: no comparison given")
	}
	pictures, err := figures(c.Figures)
	if err != nil {
		return nil, err
	}
	p := &Page{title: titled(c.Header.Horse, fmt.Sprintf("%s and %s compared", orWord(date(c.Before.Date), "before"), orWord(date(c.After.Date), "after"))),
		header: c.Header, date: c.After.Date, under: plain(comparedHow(m.Verdict)),
		caution: Cautions(), terms: glossary(), provenance: c.Provenance}

	verdict := sentence(string(m.Verdict))
	finding := section{title: "Finding in full", first: true}
	finding.add(paragraph(orWord(sentence(m.Sentence), verdict)), block{text: []span{{text: "Verdict: "}, {text: verdict, strong: true}}})
	var visits section
	visits.table(table{caption: "The two visits", wide: true, head: []string{"Visit", "Date", "Asymmetry score", "Measured", "Finding of the visit"},
		note: scoreNote(m),
		rows: []tableRow{visitedRow("before", c.Before, &m.Before, comparedScore(m, false)), visitedRow("after", c.After, &m.After, comparedScore(m, true))}})
	shown := c.Front
	shown.Course = differs(m)
	if p.front, err = newFront(glance.OfComparison(m, c.Before.Date), true, shown, comparedParts(m, c.Before.Date, c.After.Date)...); err != nil {
		return nil, err
	}
	films, err := footageSection("Before beside after, on film", c.Films)
	if err != nil {
		return nil, err
	}
	films.list("Not on film", sentences(c.NotFilmed))
	p.build(films, finding, visits, changesSection(m), pictures, besideSection(c.Records), notesSection(m, c.Films), sourcesSection(&m.After))
	return p, nil
}

// differs says what else changed from one visit to the other, or is not known. What keeps
// the visits from being compared stands in the sentence above it.
func differs(m *metrics.Comparison) string {
	return strings.Join(sentences(m.Reasons[len(m.Barriers):]), " ")
}

// notesSection explains what stands further up.
func notesSection(m *metrics.Comparison, films []Footage) section {
	s := section{title: "Notes"}
	if m.Verdict != metrics.NotComparable {
		s.add(note("Judged together.", "Of several measures one may change by chance, so the interval of each is widened for their number (Holm’s method), here and on the first page; the established measures and the suggested ones each among themselves. The measure declared beforehand and the score are judged alone."))
	}
	for _, f := range films {
		if f.Note != "" {
			s.add(note("The film.", f.Note))
		}
	}
	return s
}

func note(about, text string) block {
	return block{text: []span{{text: about, strong: true}, {text: " " + text}}}
}

// comparedParts makes the tables of a comparison's first page: one of changes, or, where
// the visits cannot be compared, one for each, which nobody reads as a change.
func comparedParts(m *metrics.Comparison, before, after time.Time) []part {
	if m.Verdict != metrics.NotComparable {
		return []part{{title: leftRight, rows: glance.ComparedRows(m), compared: true, visits: []*metrics.Summary{&m.Before, &m.After}}}
	}
	single := func(s *metrics.Summary, name string, filmed []string) part {
		said := lowerFirst(strings.TrimSuffix(glance.OfOneOfTwo(s), "."))
		return part{title: glance.Entitled(name, filmed) + ", by itself: " + said, rows: glance.Rows(s), tight: true, visits: []*metrics.Summary{s}}
	}
	x, y := glance.Apart(m)
	return []part{single(&m.Before, orWord(date(before), "The first visit"), x), single(&m.After, orWord(date(after), "The second visit"), y)}
}

// comparedScore returns the score of a visit as the comparison takes it, so that the page
// shows one number; nil where there is none.
func comparedScore(m *metrics.Comparison, after bool) *metrics.Estimate {
	switch {
	case m.Score == nil:
		return nil
	case after:
		return m.Score.After
	}
	return m.Score.Before
}

// scoreNote says why the scores are not those of the visits' own pages.
func scoreNote(m *metrics.Comparison) string {
	if m.Score == nil || m.Score.Before == nil || !m.Scored() {
		return ""
	}
	return "The scores take only what both visits measured, and their intervals allow for how a horse differs from day to day. So they differ from those on the visits’ own pages."
}

func visitedRow(name string, v Visited, s *metrics.Summary, compared *metrics.Estimate) tableRow {
	score := "not measured"
	switch {
	case metrics.TooLittleSeen(s.Limb.Sentence):
		score = metrics.NoScore
	case compared != nil:
		score = inText(*compared, "", 2)
	case s.Score != nil:
		score = inText(s.Score.Estimate, "", 2)
	}
	when := []span{{text: date(v.Date), link: relative(v.Link)}}
	if v.Note != "" {
		when = append(when, span{text: ", " + v.Note})
	}
	return tableRow{cells: []tableCell{
		textCell(name), {text: when}, {text: plain(score), number: true},
		textCell(fmt.Sprintf("%s in %s", count(s.Strides, "stride"), count(s.Runs, "run"))), textCell(sentence(s.Limb.Sentence)),
	}}
}

// changesSection says of every measure how it changed.
func changesSection(m *metrics.Comparison) section {
	var followed, established, suggested, described []changeRow
	var apart []string
	for _, ch := range m.Changes {
		d := define(ch.Name)
		if ch.Before == nil && ch.After == nil {
			continue
		}
		row := changeRowOf(ch, d)
		switch {
		case ch.Verdict == metrics.NotComparable:
			apart = append(apart, row.Title+": "+row.Sentence)
		case ch.Followed:
			followed = append(followed, row)
		case d.Evidence == metrics.Established && compares(d):
			established = append(established, row)
		case d.Evidence == metrics.Suggested:
			suggested = append(suggested, row)
		default:
			described = append(described, row)
		}
	}
	s := section{title: "What changed"}
	s.add(paragraph("Improved or worse is said only where the 95 % interval of the change excludes zero. That interval allows for how a horse differs from day to day, which runs of one day cannot show. The smallest change that counts is the smallest whose interval would exclude zero. Values are differences right − left where a measure has sides."),
		paragraph("That a change comes after a treatment does not show that the treatment did it: horses change by themselves, with shoeing, ground and work."))
	if m.Before.Runs == 1 || m.After.Runs == 1 {
		s.add(paragraph("One of the visits has a single run: its interval holds for that run, not for the horse on that day. Two runs or more per view make a comparison."))
	}
	s.table(changesTable("Followed, as declared beforehand", "Judged alone: its interval is not widened.", followed))
	if m.Score != nil && m.Scored() {
		s.table(changesTable("Asymmetry score", metrics.ScoreScale+".", []changeRow{changeRowOf(*m.Score, scoreDefinition)}))
	}
	s.table(changesTable("Established measures", "Published work shows that these go with lameness. Judged together, see the notes.", established))
	s.table(changesTable("Suggested measures", "The trade takes these for signs, with little published work behind it; they name no limb. Judged together, see the notes.", suggested))
	s.table(changesTable("Described measures", "Seen and reported; not shown to tell a lame limb, so no verdict is given.", described))
	s.list("Not comparable", apart)
	return s
}

func changesTable(caption, note string, rows []changeRow) table {
	t := table{caption: caption, note: note, wide: true, head: []string{"Measure", "Before", "After", "Change", "Smallest change that counts", "Verdict"}}
	// A column that says the same of every row says nothing: the note has it.
	judged := slices.ContainsFunc(rows, func(r changeRow) bool { return r.Verdict != string(metrics.NotJudged) })
	if !judged {
		t.head = t.head[:len(t.head)-1]
	}
	for _, r := range rows {
		title := r.Title
		if r.Followed {
			title += " (followed)"
		}
		row := tableRow{counts: r.Counts, cells: []tableCell{
			nameCell(title, r.Unit), valueCell(r.Before), valueCell(r.After), valueCell(r.Change), valueCell(r.Smallest),
		}}
		if judged {
			row.cells = append(row.cells, tableCell{text: plain(r.Verdict), under: r.Why, words: true})
		}
		t.rows = append(t.rows, row)
	}
	return t
}

// besideSection puts what both visits wrote down side by side.
func besideSection(records []RecordSection) section {
	s := section{title: "Felt, treated, and seen at work"}
	if len(records) == 0 {
		return s
	}
	s.add(paragraph("As written down at the two visits; not measured by the program."))
	for _, r := range records {
		t := table{caption: r.Title, note: r.Note, wide: true, head: []string{"What or where", "Before", "After"}}
		for _, row := range r.Rows {
			t.rows = append(t.rows, tableRow{cells: []tableCell{textCell(row.Region), orCell(row.Before, notRecorded), orCell(row.After, notRecorded)}})
		}
		s.table(t)
	}
	return s
}
