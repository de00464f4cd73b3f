package errormodel

import (
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"strings"
	"testing"
)

// Every field says where its value comes from.
func TestEveryFieldHasAnOrigin(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "errormodel.go", nil, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	fields := 0
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.TypeSpec)
		if !ok {
			return true
		}
		s, ok := spec.Type.(*ast.StructType)
		if !ok || spec.Name.Name == "Model" {
			return true
		}
		for _, f := range s.Fields.List {
			fields++
			said := strings.Join(strings.Fields(f.Doc.Text()), " ")
			origin := false
			for _, word := range []string{"Derived:", "Source:", "Common practice", "Fitted on", "Judged"} {
				origin = origin || strings.Contains(said, word)
			}
			if !origin {
				t.Errorf("%s.%s does not say where its value comes from: %q", spec.Name, f.Names[0], said)
			}
		}
		return true
	})
	if fields < 30 {
		t.Errorf("only %d fields were looked at", fields)
	}
}

// Every value of the usual model is set, and a change of any changes the hash.
func TestHash(t *testing.T) {
	usual := Usual()
	seen := map[string]string{usual.Hash(): "the usual model"}
	v := reflect.ValueOf(&usual).Elem()
	for i := range v.NumField() {
		part := v.Field(i)
		for k := range part.NumField() {
			name := v.Type().Field(i).Name + "." + part.Type().Field(k).Name
			f := part.Field(k)
			if f.IsZero() {
				t.Errorf("%s is not set", name)
			}
			old := reflect.ValueOf(f.Interface())
			switch f.Kind() {
			case reflect.Float64:
				f.SetFloat(f.Float() * 1.01)
			case reflect.Int:
				f.SetInt(f.Int() + 1)
			}
			if other, ok := seen[usual.Hash()]; ok {
				t.Errorf("%s changed: same hash as %s", name, other)
			}
			seen[usual.Hash()] = name
			f.Set(old)
		}
	}
	if (Model{}).OrUsual() != usual {
		t.Error("the zero value is not the usual model")
	}
}
