// Package report writes the pages people read: one clip, one visit, the
// comparison of two visits, the morning after a batch, and a horse's history.
//
// Every page is one HTML file that opens without a network: style and figures
// are inside it, no script runs, and a content security policy forbids the
// page to fetch anything. Text comes first: a paragraph in plain words stands
// above every table, every table above every picture. Pages print on A4 and
// on Letter.
//
// The package takes plain data and decides nothing: sentences of findings and
// verdicts come from package metrics, figures from package plots. What it adds
// are words for the side of a difference, and how far the way a clip was
// filmed limits the numbers (see Film).
//
// Whatever a person wrote is escaped. Figures are read as SVG and written anew
// from a list of harmless elements, so that a picture cannot carry a script.
// Links are relative to the page.
package report
