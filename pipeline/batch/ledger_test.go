package batch

import (
	"bytes"
	"strings"
	"testing"
)

const goodLedger = `{
 "schema": "jogstrip-batch/1", "program": "0.1.0", "share": {"index": 2, "count": 8, "from": "--share"}, "host": "barn",
 "started": "2026-03-02T21:14:03Z", "ended": "2026-03-02T23:00:00Z",
 "totals": {"clips": 2, "measured": 1, "up_to_date": 0, "needs_marks": 0, "second_look": 0, "failed": 1, "busy": 0, "not_reached": 0},
 "clips": [
  {"clip": "a.mp4", "outcome": "measured", "fresh": true, "seconds": 12.5, "report": "a.out/report.html",
   "facts": {"view": "toward", "gait": "trot", "level": "metric", "strides": 7, "score": {"value": 0.8, "low": 0.2, "high": 1.4, "se": 0.3}}},
  {"clip": "b.mp4", "outcome": "failed", "cause": "crash", "reason": "it aborted", "said": "what(): x"}
 ]
}`

func TestLedgerErrorsNameFieldValueAndAllowed(t *testing.T) {
	edit := func(old, new string) string {
		if !strings.Contains(goodLedger, old) {
			t.Fatalf("no %q", old)
		}
		return strings.Replace(goodLedger, old, new, 1)
	}
	tests := []struct {
		name, text string
		want       []string
	}{
		{"cut off", goodLedger[:300], []string{"whole"}},
		{"empty", "", []string{"whole"}},
		{"another version", edit("batch/1", "batch/2"), []string{"schema", "jogstrip-batch/2", "jogstrip-batch/1"}},
		{"unknown field", edit(`"host"`, `"hots"`), []string{"hots"}},
		{"unknown outcome", edit(`"measured", "fresh"`, `"done", "fresh"`), []string{"clips.0.outcome", "done", "measured"}},
		{"wrong type", edit(`12.5`, `"long"`), []string{"seconds", "string"}},
		{"path that leaves the folder", edit(`"b.mp4"`, `"../../b.mp4"`), []string{"clips.1.clip", "../../b.mp4", "below"}},
		{"share beyond", edit(`"index": 2`, `"index": 9`), []string{"share", "9 of 8"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ParseLedger("ledger.json", []byte(tt.text))
			if err == nil {
				t.Fatal("no error")
			}
			for _, w := range append(tt.want, "ledger.json") {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("%q does not say %q", err, w)
				}
			}
		})
	}
}

func FuzzParseLedger(f *testing.F) {
	f.Add([]byte(goodLedger))
	f.Add([]byte(`{"schema":"jogstrip-batch/1","clips":null}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := ParseLedger("x", data)
		if err != nil {
			return
		}
		first, err := l.marshal()
		if err != nil {
			return // Times beyond the year 9999 cannot be written.
		}
		again, err := ParseLedger("x", first)
		if err != nil {
			t.Fatalf("what was read can be written and not be read: %v\n%s", err, first)
		}
		second, err := again.marshal()
		if err != nil || !bytes.Equal(first, second) {
			t.Fatalf("writing what was read changes it: %v", err)
		}
	})
}

func FuzzMessages(f *testing.F) {
	f.Add([]byte("{\"type\":\"progress\",\"stage\":\"x\",\"done\":1,\"total\":2}\n{\"type\":\"answer\",\"facts\":{\"strides\":3}}\n"))
	f.Add([]byte("{\"type\":\"failure\",\"error\":\"e\",\"cause\":\"clip\"}\nnoise\n\x00\xff"))
	f.Fuzz(func(t *testing.T, data []byte) {
		messages := 0
		strange, err := readMessages(bytes.NewReader(data), func(m message) {
			messages++
			if m.Type == messageAnswer && m.Facts == nil || m.Type == messageFailure && m.Error == "" {
				t.Fatalf("half a message: %+v", m)
			}
		})
		if err == nil && messages+strange > bytes.Count(data, []byte("\n"))+1 {
			t.Fatalf("%d messages and %d strange lines in %q", messages, strange, data)
		}
	})
}

func TestHeadAndTailKeepsBothEnds(t *testing.T) {
	h := headAndTail{half: 4}
	for _, s := range []string{"ab", "cdef", "", "ghijklmnop", "q"} {
		n, err := h.Write([]byte(s))
		if n != len(s) || err != nil {
			t.Fatal(n, err)
		}
	}
	if got := h.String(); got != "abcd\n… 9 bytes left out …\nnopq" {
		t.Errorf("%q", got)
	}
	short := headAndTail{half: 4}
	_, _ = short.Write([]byte("abcdefg"))
	if got := short.String(); got != "abcdefg" {
		t.Errorf("%q", got)
	}
}
