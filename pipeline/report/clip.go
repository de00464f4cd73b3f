package report

import (
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
)

// Clip is the report of one clip.
type Clip struct {
	Header    Header
	Visit     time.Time // Day of the visit; zero is not known.
	VisitLink string    // Where the visit's page will be, relative to this one; empty leaves it out.
	Summary   *metrics.Summary
	// Doubted: a person must look again first. Numbers are shown, and none is put into
	// words that name a side.
	Doubted    bool
	Film       Film
	Notes      []string // Of measuring, in sentences.
	NextMarks  []string // Which frames to mark next, in sentences.
	Front      Front
	Films      []Footage // The clip with its marks drawn on it, stride by stride.
	Figures    []Figure
	Video      string // The clip with the marks drawn on it, relative to this page; empty where there is none.
	Provenance Provenance
}

// findingSections say what was found in plain words.
func findingSections(s *metrics.Summary, doubted bool) []section {
	limb := sentence(s.Limb.Sentence)
	if limb == "" {
		limb = "The measures of this clip do not allow a finding."
	}
	finding := section{title: "Finding in full", first: true}
	finding.paragraphs(limb, scoreSentence(s))
	if agree := strings.Join(s.Limb.Agree, "; "); agree != "" && !strings.Contains(s.Limb.Sentence, agree) {
		finding.add(paragraph("What points the same way: " + agree + "."))
	}
	if others := strings.Join(s.Limb.Disagree, "; "); others != "" && !strings.Contains(s.Limb.Sentence, others) {
		finding.add(paragraph("What does not: " + others + "."))
	}
	var notes section
	if doubted {
		notes.paragraphs("What is beyond tolerance is not put into words until then. The numbers stand below; left and right in them are as marked.")
	}
	notes.paragraphs(scoreMissing(s))
	notes.paragraphs(sentences(s.Notes)...)
	return []section{finding, notes}
}

// Page makes the report of one clip.
func (c Clip) Page() (*Page, error) {
	pictures, err := figures(c.Figures)
	if err != nil {
		return nil, err
	}
	summary := c.Summary.Said(c.Header.Lengths)
	c.Film.Lengths = c.Header.Lengths
	if summary == nil {
		summary = &metrics.Summary{}
	}
	p := &Page{title: titled(c.Header.Horse, c.Film.File), header: c.Header, date: c.Visit, caution: Cautions(), terms: glossary(), provenance: c.Provenance}
	if visit := date(c.Visit); visit != "" {
		p.under = append(p.under, span{text: "Visit of " + visit + ". "})
	}
	p.under = append(p.under, span{text: "Report of one clip."})
	if c.VisitLink != "" {
		// The page is made from the reports, so it may not be there yet.
		p.under = append(p.under, span{text: " All runs of the visit together are on "}, span{text: "the visit’s page", link: relative(c.VisitLink)},
			span{text: ", which a batch writes when it has measured them."})
	}
	if c.Video != "" {
		p.under = append(p.under, span{text: " Watch it with the marks drawn on: "}, span{text: c.Video, link: relative(c.Video)}, span{text: "."})
	}
	limits := section{title: "What limits this clip"}
	limits.list("", sentences(c.Film.Problems))
	said, shown := glance.OfSummary(summary), part{title: leftRight, rows: glance.Rows(summary), visits: []*metrics.Summary{summary}}
	if c.Doubted {
		said, shown.rows = glance.Doubted, nil
	}
	if p.front, err = newFront(said, false, c.Front, shown); err != nil {
		return nil, err
	}
	films, err := footageSection("Stride by stride, on film", c.Films)
	if err != nil {
		return nil, err
	}
	p.build(films)
	p.build(findingSections(summary, c.Doubted)...)
	p.build(limits, measuresSection(summary, c.Doubted), pictures, filmSection(c), sourcesSection(summary))
	return p, nil
}

// filmSection says how the clip was filmed and followed, and what to mark next.
func filmSection(c Clip) section {
	s := section{title: "How the clip was filmed, and how far that limits the numbers"}
	clip := table{caption: "The clip", facts: true}
	for _, f := range c.Film.facts() {
		clip.rows = append(clip.rows, tableRow{cells: []tableCell{textCell(f.Name), textCell(f.Value)}})
	}
	s.table(clip)
	s.list("What that means", c.Film.limits())
	marks := table{caption: "How the marks were followed", note: "In frames of the clip", facts: true, wide: true,
		head: []string{"Mark", "Set by hand", "Followed", "In the air, across only", "Bridged", "Lost", "Median spread, px"}}
	for _, m := range c.Film.Marks {
		marks.rows = append(marks.rows, tableRow{cells: []tableCell{
			textCell(m.Landmark.Words()), countCell(m.Marked), countCell(m.Seen), countCell(m.Across), countCell(m.Bridged), countCell(m.Lost),
			{text: plain(spread(m.MedianSD)), number: true},
		}})
	}
	s.table(marks)
	s.list("What to mark next", sentences(c.NextMarks))
	s.list("Notes of measuring", sentences(c.Notes))
	return s
}
