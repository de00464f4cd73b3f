package stats

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
)

// A general-purpose statistics library of others ships the data of the NIST
// Statistical Reference Datasets as its test's literals. They are read from
// there, with the sum that the Go module proxy gives for that version.
const (
	nistModule = "github.com/montanaflynn/stats@v0.7.1"
	nistSum    = "h1:etflOAAHORrCC44V+aR6Ftzort912ZU+YLiSTuV8eaE="
)

// nistData returns the number literals of that library's NIST test by variable.
func nistData(t *testing.T) map[string][]float64 {
	t.Helper()
	out, err := exec.Command("go", "mod", "download", "-json", nistModule).Output()
	var module struct{ Dir, Sum, Error string }
	if len(out) > 0 {
		if err := json.Unmarshal(out, &module); err != nil {
			t.Fatal(err)
		}
	}
	if err != nil || module.Error != "" {
		t.Skipf("SKIPPED: the NIST sets Lottery, Mavro, Michelso and Lew are not checked: %s is not at hand (scripts/setup test fetches it): %v %s", nistModule, err, module.Error)
	}
	if module.Sum != nistSum {
		t.Fatalf("%s has sum %s, want %s", nistModule, module.Sum, nistSum)
	}
	file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(module.Dir, "nist_test.go"), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	sets := map[string][]float64{}
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || len(spec.Names) != 1 || len(spec.Values) != 1 {
			return true
		}
		list, ok := spec.Values[0].(*ast.CompositeLit)
		if !ok {
			return true
		}
		for _, e := range list.Elts {
			sign := 1.0
			if u, ok := e.(*ast.UnaryExpr); ok && u.Op == token.SUB {
				sign, e = -1, u.X
			}
			if l, ok := e.(*ast.BasicLit); ok {
				v, err := strconv.ParseFloat(l.Value, 64)
				if err != nil {
					t.Fatalf("%s: %v", spec.Names[0].Name, err)
				}
				sets[spec.Names[0].Name] = append(sets[spec.Names[0].Name], sign*v)
			}
		}
		return true
	})
	return sets
}

// Certified values of the NIST Statistical Reference Datasets, univariate summary
// statistics: mean, standard deviation with n − 1. Those of
// Michelso and Lew but for the former's mean are from memory.
func TestNISTData(t *testing.T) {
	sets := nistData(t)
	for _, c := range []struct {
		name     string
		n        int
		mean, sd float64
	}{
		{"lottery", 218, 518.958715596330, 291.699727470969},
		{"mavro", 50, 2.00185600000000, 0.000429123454003053},
		{"michelson", 100, 299.852400000000, 0.0790105478190518},
		{"lew", 200, -177.435000000000, 277.332168044316},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := sets[c.name]
			if len(x) != c.n {
				t.Fatalf("%d values, want %d", len(x), c.n)
			}
			// Mavro's spread is two ten-thousandths of its mean, which costs digits.
			near(t, "mean over certified", meanOf(t, x)/c.mean, 1, 1e-14)
			sd, _ := SEM([][]float64{x})
			near(t, "SD over certified", sd/c.sd, 1, 1e-12)
		})
	}
}
