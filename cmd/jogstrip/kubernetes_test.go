package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"
)

// The jobs for Kubernetes are held against the schema that Kubernetes itself publishes
// (testdata/kubernetes).
func TestKubernetesJobsFitTheirSchema(t *testing.T) {
	t.Parallel()
	schema, err := jsonschema.NewCompiler().Compile(filepath.Join("..", "..", "testdata", "kubernetes", "job.schema.json"))
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join("..", "..", "scripts", "batch.kubernetes.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	jobs := yamlDocuments(t, data)
	if len(jobs) != 2 {
		t.Fatalf("%d jobs, want one that measures and one that merges", len(jobs))
	}
	for i, job := range jobs {
		if err := schema.Validate(job); err != nil {
			t.Errorf("job %d: %v", i, err)
		}
	}
	// The pods' number must be told to the program as well.
	spec := jobs[0].(map[string]any)["spec"].(map[string]any)
	if shares := "JOGSTRIP_SHARES, value: \"" + strings.TrimSpace(yamlText(t, spec["completions"])) + "\""; !bytes.Contains(data, []byte(shares)) {
		t.Errorf("completions is %v, and there is no %s", spec["completions"], shares)
	}
	// What a slip would be noticed by.
	for _, slip := range [][2]string{{"backoffLimit: 16", "backofLimit: 16"}, {"completions: 8", "completions: eight"}, {"restartPolicy: Never", "restartPolicy: [Never]"}, {"      containers:\n        - name: batch", "      container:\n        - name: batch"}} {
		harmed := strings.Replace(string(data), slip[0], slip[1], 1)
		if harmed == string(data) {
			t.Fatalf("there is no %q", slip[0])
		}
		if schema.Validate(yamlDocuments(t, []byte(harmed))[0]) == nil {
			t.Errorf("%q passes for %q", slip[1], slip[0])
		}
	}
}

func yamlDocuments(t *testing.T, data []byte) (out []any) {
	t.Helper()
	for in := yaml.NewDecoder(bytes.NewReader(data)); ; {
		var document any
		err := in.Decode(&document)
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, document)
	}
}

func yamlText(t *testing.T, value any) string {
	t.Helper()
	text, err := yaml.Marshal(value)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
