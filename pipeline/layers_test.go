package pipeline_test

import (
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const module = "jogstrip/"

// TestLayers holds every package to the two tables in DEVELOPERS.md: what it may import of
// this program, and who may import what reaches outside.
func TestLayers(t *testing.T) {
	text, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	names, allowed := layerTable(t, string(text))
	only := onlyTable(t, string(text))
	seen := map[string]bool{}
	for _, p := range packagesOfModule(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		seen[name] = true
		at := slices.Index(names, name)
		if at < 0 {
			t.Errorf("package %s is not in the table of DEVELOPERS.md", name)
			continue
		}
		var own []string
		for _, i := range p.Imports {
			if of, ok := strings.CutPrefix(i, module); ok {
				own = append(own, of)
				if slices.Index(names, of) <= at {
					t.Errorf("%s imports %s, which stands above it in the table of DEVELOPERS.md", name, of)
				}
			}
			if who, held := only[i]; held && !slices.ContainsFunc(who, func(w string) bool { return name == w || strings.HasPrefix(name, w+"/") }) {
				t.Errorf("%s imports %s, which only %v may", name, i, who)
			}
		}
		slices.Sort(own)
		if want := allowed[name]; !slices.Equal(own, want) {
			t.Errorf("%s imports\n  %v\nand the table of DEVELOPERS.md lists\n  %v", name, own, want)
		}
	}
	for _, name := range names {
		if !seen[name] {
			t.Errorf("the table of DEVELOPERS.md has %s, which is no package", name)
		}
	}
}

// layerTable reads the packages from top to bottom and the sorted imports of each.
func layerTable(t *testing.T, text string) (names []string, imports map[string][]string) {
	rows := tableAfter(t, text, "| package |")
	for _, r := range rows {
		names = append(names, strings.Trim(r[0], "`"))
	}
	imports = map[string][]string{}
	for i, r := range rows {
		for _, short := range strings.FieldsFunc(r[2], func(c rune) bool { return c == ',' || c == ' ' }) {
			at := slices.IndexFunc(names, func(n string) bool { return n == short || path.Base(n) == short })
			if at < 0 {
				t.Fatalf("the table of DEVELOPERS.md lets %s import %q, which is no package", names[i], short)
			}
			imports[names[i]] = append(imports[names[i]], names[at])
		}
		slices.Sort(imports[names[i]])
	}
	return names, imports
}

// onlyTable reads which packages, with those below them, may import what.
func onlyTable(t *testing.T, text string) map[string][]string {
	only := map[string][]string{}
	for _, r := range tableAfter(t, text, "| import |") {
		for _, w := range strings.Split(r[1], ",") {
			what := strings.Trim(r[0], "`")
			only[what] = append(only[what], strings.Trim(strings.TrimSpace(w), "`"))
		}
	}
	return only
}

// tableAfter returns the cells of the table whose head begins with head.
func tableAfter(t *testing.T, text, head string) (rows [][]string) {
	_, body, found := strings.Cut(text, "\n"+head)
	if !found {
		t.Fatalf("DEVELOPERS.md has no table that begins with %q", head)
	}
	ruler := regexp.MustCompile(`^\|( --- \|)+$`)
	for _, line := range strings.Split(body, "\n")[1:] {
		if !strings.HasPrefix(line, "|") {
			break
		}
		if ruler.MatchString(line) {
			continue
		}
		cells := strings.Split(strings.Trim(line, "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		rows = append(rows, cells)
	}
	if len(rows) == 0 {
		t.Fatalf("the table of DEVELOPERS.md that begins with %q is empty", head)
	}
	return rows
}

type listed struct {
	ImportPath string
	Imports    []string
}

func packagesOfModule(t *testing.T) (all []listed) {
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "./...")
	cmd.Dir, cmd.Stderr = "..", os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		if err := dec.Decode(&p); err == io.EOF {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}
