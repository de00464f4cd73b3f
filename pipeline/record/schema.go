package record

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/big"
	"strconv"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/santhosh-tekuri/jsonschema/v6/kind"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
)

//go:embed schemas/*.json
var schemas embed.FS

// Schema returns the published JSON Schema of a file kind, such as "marks-1".
func Schema(kind string) ([]byte, error) {
	b, err := schemas.ReadFile("schemas/" + kind + ".schema.json")
	if err != nil {
		return nil, fmt.Errorf("no schema %q", kind)
	}
	return b, nil
}

// conform checks the JSON in data against schema kind, which belongs to the
// version string want. path only serves the error.
func conform(path string, data []byte, kindName, want string) error {
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		return notJSON(path, data, err)
	}
	object, ok := value.(map[string]any)
	if !ok {
		return fmt.Errorf("read %s: it holds no JSON object", path)
	}
	if err := version(path, object["schema"], want); err != nil {
		return err
	}
	text, err := Schema(kindName)
	if err != nil {
		return err
	}
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		return fmt.Errorf("read schema %s: %w", kindName, err)
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource(kindName, document); err != nil {
		return fmt.Errorf("read schema %s: %w", kindName, err)
	}
	schema, err := compiler.Compile(kindName)
	if err != nil {
		return fmt.Errorf("read schema %s: %w", kindName, err)
	}
	err = schema.Validate(value)
	var invalid *jsonschema.ValidationError
	if errors.As(err, &invalid) {
		var problems []string
		collect(invalid, value, &problems)
		const shown = 5
		if len(problems) > shown {
			problems = append(problems[:shown], fmt.Sprintf("and %d more", len(problems)-shown))
		}
		return fmt.Errorf("read %s: %s", path, strings.Join(problems, "; "))
	}
	if err != nil {
		return fmt.Errorf("read %s: %w", path, err)
	}
	return nil
}

// version tells a file of another kind or of a later program from a damaged one.
func version(path string, found any, want string) error {
	text, ok := found.(string)
	if !ok {
		return fmt.Errorf("read %s: field schema is missing; it must be %q", path, want)
	}
	if text == want {
		return nil
	}
	if kindOf(text) == kindOf(want) {
		return fmt.Errorf("read %s: field schema is %q, this program reads %q: the file was written by another version of the program and is left as it is", path, text, want)
	}
	return fmt.Errorf("read %s: field schema is %q, must be %q", path, text, want)
}

func kindOf(schema string) string {
	name, _, _ := strings.Cut(schema, "/")
	return name
}

// collect walks to the leaves of a validation error: they name the field.
func collect(e *jsonschema.ValidationError, root any, problems *[]string) {
	if len(e.Causes) > 0 {
		// Of alternatives only their heading helps; their parts contradict each other.
		if _, alternatives := e.ErrorKind.(*kind.OneOf); !alternatives {
			for _, c := range e.Causes {
				collect(c, root, problems)
			}
			return
		}
	}
	what := wrong(e.ErrorKind)
	where := strings.Join(e.InstanceLocation, ".")
	if where == "" {
		*problems = append(*problems, what)
		return
	}
	if value, ok := lookup(root, e.InstanceLocation); ok {
		if b, err := json.Marshal(value); err == nil && len(b) <= 60 {
			*problems = append(*problems, fmt.Sprintf("%s is %s: %s", where, b, what))
			return
		}
	}
	*problems = append(*problems, where+": "+what)
}

// wrong says in words what a value must be and is not.
func wrong(k jsonschema.ErrorKind) string {
	switch k := k.(type) {
	case *kind.Required:
		return "missing: " + strings.Join(k.Missing, ", ")
	case *kind.AdditionalProperties:
		return "not known here: " + strings.Join(k.Properties, ", ")
	case *kind.Enum:
		var want []string
		for _, w := range k.Want {
			want = append(want, fmt.Sprint(w))
		}
		return "allowed: " + strings.Join(want, ", ")
	case *kind.Const:
		return fmt.Sprintf("allowed: %v", k.Want)
	case *kind.Type:
		return "must be " + strings.Join(named(k.Want), " or ")
	case *kind.Minimum:
		return "allowed: " + plain(k.Want) + " or more"
	case *kind.ExclusiveMinimum:
		return "allowed: more than " + plain(k.Want)
	case *kind.Maximum:
		return "allowed: at most " + plain(k.Want)
	case *kind.ExclusiveMaximum:
		return "allowed: less than " + plain(k.Want)
	case *kind.MinItems:
		return fmt.Sprintf("must have %d or more entries, has %d", k.Want, k.Got)
	case *kind.MaxItems:
		return fmt.Sprintf("must have at most %d entries, has %d", k.Want, k.Got)
	case *kind.MaxProperties:
		return fmt.Sprintf("holds %d fields where %d are allowed together", k.Got, k.Want)
	case *kind.OneOf:
		return "its fields do not go together; see FORMATS.md for what may stand here"
	}
	return k.LocalizedString(message.NewPrinter(language.English))
}

func plain(r *big.Rat) string {
	f, _ := r.Float64()
	return strconv.FormatFloat(f, 'g', -1, 64)
}

// named gives JSON's types the names that people use.
func named(types []string) []string {
	words := map[string]string{"object": "an object in braces", "array": "a list in brackets", "string": "text in quotes", "number": "a number", "integer": "a whole number", "boolean": "true or false", "null": "null"}
	var out []string
	for _, t := range types {
		out = append(out, words[t])
	}
	return out
}

// withoutMark returns the bytes of a text file without the mark at its beginning by
// which some editors say that it is UTF-8.
func withoutMark(data []byte) []byte { return bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) }

// notJSON says what is wrong with a file that is no JSON; err is what reading it met.
func notJSON(path string, data []byte, err error) error {
	switch {
	case len(bytes.TrimSpace(data)) == 0:
		return fmt.Errorf("read %s: it is not whole JSON: it is empty; restore it from a backup, or delete it and make it anew", path)
	case bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")):
		return fmt.Errorf("read %s: it is stored as UTF-16; store it as UTF-8", path)
	case bytes.IndexByte(data, 0) >= 0:
		return fmt.Errorf("read %s: it is not whole JSON but holds zero bytes: the drive or the copy failed; restore it from a backup", path)
	}
	line := 0
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		line = 1 + bytes.Count(data[:min(int(syntax.Offset), len(data))], []byte("\n"))
	}
	if line == 0 || errors.Is(err, io.ErrUnexpectedEOF) || strings.Contains(err.Error(), "unexpected end") || errors.Is(err, io.EOF) {
		return fmt.Errorf("read %s: it is not whole JSON: it breaks off; restore it from a backup, or delete it and make it anew", path)
	}
	return fmt.Errorf("read %s: it is not whole JSON: line %d: %s", path, line, strings.TrimPrefix(syntax.Error(), "json: "))
}

func lookup(value any, path []string) (any, bool) {
	for _, step := range path {
		switch v := value.(type) {
		case map[string]any:
			value = v[step]
		case []any:
			var i int
			if _, err := fmt.Sscan(step, &i); err != nil || i < 0 || i >= len(v) {
				return nil, false
			}
			value = v[i]
		default:
			return nil, false
		}
	}
	return value, true
}
