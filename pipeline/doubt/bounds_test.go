package doubt

import (
	"go/ast"
	"go/parser"
	"go/token"
	"regexp"
	"testing"
)

// Every bound says where it comes from: in its comment, or in what it holds.
func TestEveryBoundHasAnOrigin(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "bounds.go", nil, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	// A publication has a year.
	origin := regexp.MustCompile(`[Cc]ommon\s+practice|derived|judged|seen\s+on|[12][0-9]{3}|definition`)
	looked := 0
	for _, declared := range file.Decls {
		group, ok := declared.(*ast.GenDecl)
		if !ok || group.Tok == token.IMPORT || group.Tok == token.TYPE {
			continue
		}
		above := ""
		for _, s := range group.Specs {
			spec := s.(*ast.ValueSpec)
			if spec.Doc != nil {
				above = spec.Doc.Text()
			}
			text := above + spec.Comment.Text()
			ast.Inspect(spec, func(n ast.Node) bool {
				if v, ok := n.(*ast.BasicLit); ok && v.Kind == token.STRING {
					text += v.Value
				}
				return true
			})
			looked++
			if !origin.MatchString(text) {
				t.Errorf("%s does not say where it comes from: %s", spec.Names[0], text)
			}
		}
	}
	if looked < 30 {
		t.Errorf("only %d bounds were looked at", looked)
	}
}
