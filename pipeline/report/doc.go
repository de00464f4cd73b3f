// Package report writes the pages people read: one clip, one visit, the
// comparison of two visits, the morning after a batch, and a horse's history.
//
// A Page is made once, of paragraphs, lists, tables and figures, and written
// twice: as HTML for the screen and as PDF for paper and post. Both are made of
// the same words and numbers, so they cannot differ.
//
// Pages about horses begin with what is seen at a glance (Front): one sentence, a row for
// each question, pictures cut from the clips. It is the sheet that is handed over; the
// details follow, on paper as a document of their own.
//
// On the screen every page is one HTML file that opens without a network: style, figures and
// pictures are inside it, and a content security policy forbids the page to fetch
// anything. A page that shows a film, which lies beside it, has one script,
// that of package stepping, which the policy names by its hash; no other runs.
//
// On paper every page is A4 with all ink within 178 × 259 mm, so that it comes
// out whole on Letter, too; fonts are inside the file, figures are lines and
// letters. Headers of tables stand again above their rest on the next page, and
// headings never alone at a page's foot. A letter that the typeface lacks is
// shown as a box, and a note says so. Links are left out: a PDF travels alone. The
// same page gives the same bytes: no clock is asked.
//
// The package takes plain data and decides nothing: sentences of findings and
// verdicts come from package metrics, figures from package plots. What it adds
// are words for the side of a difference, and how far the way a clip was
// filmed limits the numbers (see Film).
//
// Whatever a person wrote is escaped. Figures are read as SVG and written anew
// from a list of harmless elements, so that a picture cannot carry a script.
// Links are relative to the page. The PDF is written with codeberg.org/go-pdf/fpdf
// in the Liberation typefaces.
package report
