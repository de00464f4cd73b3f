package pipeline_test

import (
	"bytes"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"jogstrip/pipeline/record"
)

// schemaOf compiles a published schema.
func schemaOf(t *testing.T, kind string) (schema *jsonschema.Schema, document any) {
	t.Helper()
	text, err := record.Schema(kind)
	if err != nil {
		t.Fatal(err)
	}
	if document, err = jsonschema.UnmarshalJSON(bytes.NewReader(text)); err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(kind, document); err != nil {
		t.Fatal(err)
	}
	return c.MustCompile(kind), document
}

// conforms checks a file that was written against its published schema, and that the
// schema has teeth: every field that it asks for is missed where it is taken out, and a
// field that it does not know is refused.
func conforms(t *testing.T, kind, path string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	schema, document := schemaOf(t, kind)
	read := func() map[string]any {
		value, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		return value.(map[string]any)
	}
	if err := schema.Validate(read()); err != nil {
		t.Errorf("%s: %v", path, err)
	}
	for _, field := range document.(map[string]any)["required"].([]any) {
		value := read()
		delete(value, field.(string))
		if schema.Validate(value) == nil {
			t.Errorf("%s: %s is not missed", kind, field)
		}
	}
	value := read()
	value["lameness"] = true
	if schema.Validate(value) == nil {
		t.Errorf("%s: a field that nobody knows is let through", kind)
	}
	// What is deep inside counts, too.
	for from, to := range map[string]string{`"value":`: `"valeu":`, `"beyond_tolerance": `: `"beyond_tolerance": 7, "x": `, `"sentence":`: `"sentense":`} {
		changed := strings.Replace(string(data), from, to, 1)
		if changed == string(data) {
			t.Errorf("%s has no %s", path, from)
			continue
		}
		value, err := jsonschema.UnmarshalJSON(strings.NewReader(changed))
		if err != nil {
			t.Fatal(err)
		}
		if schema.Validate(value) == nil {
			t.Errorf("%s: %s in place of %s is let through", kind, to, from)
		}
	}
}

// TestSchemasAgree compares what the schemas of a comparison and of a history have in
// common: an estimate, a summary, a visit's page mean one thing.
func TestSchemasAgree(t *testing.T) {
	read := func(kind string) map[string]json.RawMessage {
		text, err := record.Schema(kind)
		if err != nil {
			t.Fatal(err)
		}
		var s struct {
			Defs map[string]json.RawMessage `json:"$defs"`
		}
		if err := json.Unmarshal(text, &s); err != nil {
			t.Fatal(err)
		}
		return s.Defs
	}
	comparison, history := read("comparison-1"), read("history-1")
	if len(history) < 5 {
		t.Fatalf("%d definitions", len(history))
	}
	for name, want := range history {
		if diff := cmp.Diff(string(want), string(comparison[name])); diff != "" {
			t.Errorf("%s differs:\n%s", name, diff)
		}
	}
}
