package report

import (
	"io"
	"time"

	"jogstrip/metrics"
)

// Clip is the report of one clip.
type Clip struct {
	Header     Header
	Visit      time.Time // Day of the visit; zero is not known.
	VisitLink  string    // To the visit's page, relative to this one; empty leaves it out.
	Summary    *metrics.Summary
	Film       Film
	Notes      []string // Of measuring, in sentences.
	NextMarks  []string // Which frames to mark next, in sentences.
	Figures    []Figure
	Video      string // The clip with the marks drawn on it, relative to this page; empty where there is none.
	Provenance Provenance
}

// clipView is a Clip as its template takes it.
type clipView struct {
	Visit     string
	VisitLink string
	Finding   findingView
	Tables    measureTables
	Facts     []fact
	Marks     []MarkFacts
	Limits    []string
	Problems  []string
	Notes     []string
	NextMarks []string
	Video     string
	VideoName string
}

// findingView is a summary in plain words.
type findingView struct {
	Limb         string
	Agree        []string
	Disagree     []string
	Score        string
	Beyond       []string
	ScoreMissing string
	Notes        []string
}

func viewFinding(s *metrics.Summary) findingView {
	limb := sentence(s.Limb.Sentence)
	if limb == "" {
		limb = "The measures of this clip do not allow a finding."
	}
	return findingView{
		Limb: limb, Agree: s.Limb.Agree, Disagree: s.Limb.Disagree,
		Score: scoreSentence(s), Beyond: beyondSentences(s), ScoreMissing: scoreMissing(s), Notes: s.Notes,
	}
}

// WriteClip writes the report of one clip as one HTML page.
func WriteClip(w io.Writer, c Clip) error {
	shown, missing, err := viewFigures(c.Figures)
	if err != nil {
		return err
	}
	summary := c.Summary
	if summary == nil {
		summary = &metrics.Summary{}
	}
	title := c.Film.File
	if c.Header.Horse != "" {
		title = c.Header.Horse + ": " + title
	}
	return write(w, "clip", page{
		Title: title, Header: c.Header, Shown: shown, Missing: missing,
		Cautions: Cautions(), Glossary: glossary(), Provenance: c.Provenance,
		View: clipView{
			Visit: date(c.Visit), VisitLink: relative(c.VisitLink), Finding: viewFinding(summary), Tables: tables(summary),
			Facts: c.Film.facts(), Marks: c.Film.Marks, Limits: c.Film.limits(), Problems: c.Film.Problems,
			Notes: c.Notes, NextMarks: c.NextMarks, Video: relative(c.Video), VideoName: c.Video,
		},
	})
}
