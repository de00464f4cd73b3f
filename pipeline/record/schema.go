package record

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
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
		return fmt.Errorf("read %s: it is not whole JSON: %w", path, err)
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
	where := "the file"
	if len(e.InstanceLocation) > 0 {
		where = strings.Join(e.InstanceLocation, ".")
	}
	what := e.ErrorKind.LocalizedString(message.NewPrinter(language.English))
	if value, ok := lookup(root, e.InstanceLocation); ok {
		if b, err := json.Marshal(value); err == nil && len(b) <= 60 {
			what = fmt.Sprintf("is %s: %s", b, what)
		}
	}
	*problems = append(*problems, where+" "+what)
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
