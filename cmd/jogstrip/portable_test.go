package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The program is built for Linux. What differs from system to system lies behind build
// tags, so that it can be built elsewhere once the libraries in C are there: without
// these, every package is held against macOS and Windows by Go's own type checker. That
// takes names of C as they come (types.Config.FakeImportC); no C compiler is asked.
func TestOtherSystemsAreOnlyALibraryAway(t *testing.T) {
	// Most files are the same everywhere.
	sources := &sources{files: token.NewFileSet(), parsed: map[string]*ast.File{}}
	for _, system := range []string{"darwin", "windows"} {
		t.Run(system, func(t *testing.T) { checkTypesFor(t, system, sources) })
	}
}

// sources are files of Go, each parsed once.
type sources struct {
	files  *token.FileSet
	parsed map[string]*ast.File
}

func (s *sources) file(path string) (*ast.File, error) {
	if f := s.parsed[path]; f != nil {
		return f, nil
	}
	f, err := parser.ParseFile(s.files, path, nil, parser.SkipObjectResolution)
	s.parsed[path] = f
	return f, err
}

// listedPackage is what go list says of a package.
type listedPackage struct {
	ImportPath, Dir   string
	GoFiles, CgoFiles []string
	ImportMap         map[string]string
}

// listed returns all packages of the program and those they need, each after what it
// needs.
func listed(t *testing.T, system string) []listedPackage {
	t.Helper()
	cmd := exec.Command("go", "list", "-e", "-deps", "-json=ImportPath,Dir,GoFiles,CgoFiles,ImportMap", "jogstrip/...")
	cmd.Env = append(os.Environ(), "GOOS="+system, "GOARCH=amd64", "CGO_ENABLED=1", "GOFLAGS=")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.String())
	}
	var all []listedPackage
	for in := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listedPackage
		if err := in.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

func checkTypesFor(t *testing.T, system string, sources *sources) {
	done := map[string]*types.Package{"unsafe": types.Unsafe}
	for _, p := range listed(t, system) {
		if p.ImportPath == "unsafe" || p.ImportPath == "C" {
			continue
		}
		var parsed []*ast.File
		for _, name := range append(append([]string{}, p.GoFiles...), p.CgoFiles...) {
			f, err := sources.file(filepath.Join(p.Dir, name))
			if err != nil {
				t.Fatal(err)
			}
			parsed = append(parsed, f)
		}
		ours := strings.HasPrefix(p.ImportPath, "jogstrip")
		config := types.Config{
			FakeImportC: true, IgnoreFuncBodies: !ours, Sizes: types.SizesFor("gc", "amd64"),
			Importer: importerFrom{done, p.ImportMap},
			Error: func(err error) {
				// What C's own types are is not known.
				if ours && !strings.Contains(err.Error(), "invalid type") {
					t.Error(err)
				}
			},
		}
		done[p.ImportPath], _ = config.Check(p.ImportPath, sources.files, parsed, nil) // Its errors were told above.
	}
	if done["jogstrip/cmd/jogstrip"] == nil {
		t.Fatal("the program itself was not looked at")
	}
}

// importerFrom finds packages among those that were checked already.
type importerFrom struct {
	done map[string]*types.Package
	as   map[string]string
}

var _ types.Importer = importerFrom{}

func (i importerFrom) Import(path string) (*types.Package, error) {
	if real, ok := i.as[path]; ok {
		path = real
	}
	if p := i.done[path]; p != nil {
		return p, nil
	}
	return nil, errors.New("not found: " + path)
}
