package record_test

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

func result() *record.Result {
	nan := math.NaN()
	return &record.Result{
		Schema:  record.ResultSchema,
		Program: record.Program{Version: "0.1.0", Measuring: 1, OpenCV: "4.6.0", FFmpeg: "5.1"},
		Inputs:  record.Inputs{ClipSHA256: strings.Repeat("a", 64), MarksSHA256: strings.Repeat("b", 64), SettingsSHA256: strings.Repeat("c", 64)},
		Clip:    record.ClipFacts{File: "toward-1.mp4", Width: 1920, Height: 1080, Frames: 300, PromisedFrames: 301, DurationS: 5},
		Tracking: record.Tracking{
			Landmarks: []record.LandmarkFacts{{Landmark: traj.Head, Tracked: 299, Marked: 1, MedianSD: 0.2}},
			Losses:    []record.Loss{{Landmark: traj.Head, First: 3, Last: 4, FromS: 0.05, ToS: 0.07, Cause: "hidden by another limb"}},
		},
		Problems: []string{"The clip breaks off."},
		Run: metrics.Run{View: traj.Toward, Gait: traj.Trot, Level: geometry.LevelMetric, Reference: traj.LeftFore,
			Contacts: []metrics.Contact{{Limb: traj.LeftFore, On: 1, Off: 1.3, Placed: true}},
			Strides:  []metrics.Stride{{Start: 1, End: 1.7}},
			Series: []metrics.Series{
				{Name: metrics.StepLengthFore, Unit: "m", Observations: []metrics.Observation{{Stride: 0, Time: 1, Left: 1.2, Right: nan, Value: nan, SD: nan}}},
				{Name: metrics.StepLengthHind, Unit: "m", Reason: "no hind hoof was marked"},
			}},
		Summary: &metrics.Summary{Gait: traj.Trot, Runs: 1, Strides: 1, Limb: metrics.LimbFinding{Sentence: "no side"}},
	}
}

func TestResultSurvivesWritingAndReading(t *testing.T) {
	want := result()
	data, err := record.MarshalResult(want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := record.ParseResult("result.json", data)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
		t.Error(diff)
	}
	again, err := record.MarshalResult(got)
	if err != nil || !bytes.Equal(data, again) {
		t.Error("bytes change when a result is read and written")
	}
}

func TestResultConformsToItsSchema(t *testing.T) {
	text, err := record.Schema("result-1")
	if err != nil {
		t.Fatal(err)
	}
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("result", document); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile("result")
	if err != nil {
		t.Fatal(err)
	}
	data, err := record.MarshalResult(result())
	if err != nil {
		t.Fatal(err)
	}
	check := func(data []byte) error {
		value, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		return schema.Validate(value)
	}
	if err := check(data); err != nil {
		t.Errorf("%#v", err)
	}
	if check(bytes.Replace(data, []byte(`"toward"`), []byte(`"sideways"`), 1)) == nil {
		t.Error("the schema lets an unknown view pass")
	}
}

func TestResultErrors(t *testing.T) {
	data, err := record.MarshalResult(result())
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name string
		data []byte
		want []string
	}{
		{"half a file", data[:len(data)/2], []string{"whole"}},
		{"empty", nil, []string{"whole"}},
		{"later version", bytes.Replace(data, []byte("result/1"), []byte("result/7"), 1), []string{"jogstrip-result/7", "another version"}},
		{"wrong type", bytes.Replace(data, []byte(`"frames": 300`), []byte(`"frames": "many"`), 1), []string{"clip.frames", "string"}},
		{"unknown gait", bytes.Replace(data, []byte(`"gait": "trot"`), []byte(`"gait": "canter"`), 1), []string{"run.gait", "canter", "walk, trot or pace"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := record.ParseResult("x/result.json", tt.data)
			if err == nil {
				t.Fatal("no error")
			}
			for _, word := range append(tt.want, "x/result.json") {
				if !strings.Contains(err.Error(), word) {
					t.Errorf("error lacks %q: %v", word, err)
				}
			}
		})
	}
}

func FuzzResult(f *testing.F) {
	data, err := record.MarshalResult(result())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := record.ParseResult("x", data)
		if err != nil {
			return
		}
		if _, err := record.MarshalResult(r); err != nil {
			t.Fatalf("read, but can't be written: %v", err)
		}
	})
}
