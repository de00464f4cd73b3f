package pipeline

import (
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// What hands found stands beside what was measured of the same limbs, and the sentence
// says whether both found the same side.
func TestFeltBeside(t *testing.T) {
	result := func(n metrics.Name, value float64) metrics.Result {
		d, _ := metrics.Define(n)
		return metrics.Result{Name: n, Unit: d.Unit, Value: &metrics.Estimate{Value: value, Low: value - 1e-3, High: value + 1e-3}, Tolerance: 0.5 * max(value, -value), Beyond: true}
	}
	within := result(metrics.StepLengthFore, 0.01)
	within.Beyond = false
	sore := func(region string, side traj.Side, grade int) record.Palpation {
		return record.Palpation{Region: region, Side: side, Soreness: grade}
	}
	for _, c := range []struct {
		name      string
		palpation []record.Palpation
		motion    []record.Motion
		results   []metrics.Result
		want      string // Of the one row; empty: none.
	}{
		{"agree", []record.Palpation{sore("shoulder blade, rear", traj.Left, 3), sore("shoulder blade, rear", traj.Right, 1)}, nil, []metrics.Result{result(metrics.StepLengthFore, 0.09), result(metrics.ShoulderLift, 20)}, "They agree: hands found more on the left, and film points to the left."},
		{"differ", []record.Palpation{sore("triceps", traj.Right, 2)}, nil, []metrics.Result{result(metrics.HeadLowDifference, -40)}, "They differ: hands found more on the right, film points to the left."},
		{"moved by hand", nil, []record.Motion{{Limb: "fore", Side: traj.Right, Direction: "forward", Ease: "less"}}, []metrics.Result{result(metrics.HeadLowDifference, 40)}, "They agree: hands found more on the right, and film points to the right."},
		{"both", []record.Palpation{sore("triceps", traj.Right, 2)}, nil, []metrics.Result{result(metrics.HeadLowDifference, -40), result(metrics.StepLengthFore, -0.09)}, "Hands found more on the right, film points to both sides."},
		{"within tolerance", []record.Palpation{sore("triceps", traj.Right, 2)}, nil, []metrics.Result{within}, "Hands found more on the right; nothing measured points to a side."},
		{"described only", []record.Palpation{sore("triceps", traj.Right, 2)}, nil, []metrics.Result{result(metrics.HeadToSide, -5)}, "Hands found more on the right; nothing measured points to a side."},
		{"nothing sore", []record.Palpation{sore("triceps", traj.Right, 0)}, nil, []metrics.Result{within}, "They agree: hands found nothing sore, and nothing measured points to a side."},
		{"alike", []record.Palpation{sore("triceps", traj.Right, 1), sore("triceps", traj.Left, 1)}, nil, []metrics.Result{result(metrics.HeadLowDifference, 40)}, "Hands found both sides alike, film points to the right."},
		{"not measured", []record.Palpation{sore("triceps", traj.Right, 1)}, nil, []metrics.Result{result(metrics.CroupLowDifference, 40)}, "Film says nothing here."},
		{"another part", []record.Palpation{sore("poll", traj.Left, 3)}, nil, []metrics.Result{within}, ""},
	} {
		rows := feltBeside(&record.Visit{Palpation: c.palpation, Motion: c.motion}, &metrics.Summary{Results: c.results})
		got := ""
		if len(rows) == 1 {
			got = rows[0].Together
		}
		if got != c.want || len(rows) > 1 {
			t.Errorf("%s: %+v, want %q", c.name, rows, c.want)
		}
		if c.name == "agree" && (!strings.Contains(rows[0].Felt, "shoulder blade, rear, left: 3 marked") || !strings.Contains(rows[0].Measured, "the left fore’s step was")) {
			t.Errorf("%+v", rows[0])
		}
	}
}
