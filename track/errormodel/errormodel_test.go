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
	fields := 0
	look := func(n ast.Node) bool {
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
	}
	for _, name := range []string{"errormodel.go", "tracking.go"} {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, look)
	}
	if fields < 100 {
		t.Errorf("only %d fields were looked at", fields)
	}
}

// Every value of the usual model is set, and a change of any changes the hash.
func TestHash(t *testing.T) {
	usual := Usual()
	seen := map[string]string{usual.Hash(): "the usual model"}
	var change func(v reflect.Value, name string)
	change = func(v reflect.Value, name string) {
		old := reflect.ValueOf(v.Interface())
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				change(v.Field(i), name+"."+v.Type().Field(i).Name)
			}
			return
		case reflect.Float64, reflect.Float32:
			v.SetFloat(v.Float() * 1.01)
		case reflect.Int:
			v.SetInt(v.Int() + 1)
		}
		if old.IsZero() {
			t.Errorf("%s is not set", name)
		}
		if other, ok := seen[usual.Hash()]; ok {
			t.Errorf("%s changed: same hash as %s", name, other)
		}
		seen[usual.Hash()] = name
		v.Set(old)
	}
	change(reflect.ValueOf(&usual).Elem(), "Model")
	if (Model{}).OrUsual() != usual {
		t.Error("the zero value is not the usual model")
	}
}
