package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// ReadSignals reads what Signals wrote: times, tracks and heights of every frame. Columns
// that it doesn't know are passed over.
func ReadSignals(in io.Reader) (*traj.Set, []metrics.Signal, error) {
	reader := csv.NewReader(in)
	reader.ReuseRecord = true
	head, err := reader.Read()
	if err != nil {
		return nil, nil, fmt.Errorf("read signals: %w", err)
	}
	at := map[string]int{}
	for i, name := range head {
		at[name] = i
	}
	time, ok := at["time_s"]
	if !ok {
		return nil, nil, errors.New("read signals: there is no column time_s")
	}
	r := signalReader{set: new(traj.Set), time: time}
	r.find(at)
	for {
		row, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return r.set, r.signals, nil
		}
		if err != nil {
			return nil, nil, fmt.Errorf("read signals: %w", err)
		}
		r.add(row)
	}
}

// signalReader gathers tracks and heights from rows.
type signalReader struct {
	set     *traj.Set
	signals []metrics.Signal

	time    int // Columns.
	tracks  []struct{ x, y, sd, sdY, status int }
	heights []int
}

// statuses by the word that stands in the table.
var statuses = func() map[string]traj.Status {
	out := map[string]traj.Status{}
	for _, s := range []traj.Status{traj.Lost, traj.Bridged, traj.Tracked, traj.Marked, traj.Across} {
		out[s.String()] = s
	}
	return out
}()

// find looks where the columns of each landmark are, by name.
func (r *signalReader) find(at map[string]int) {
	for _, l := range traj.Landmarks() {
		name := strings.ReplaceAll(string(l), "-", "_")
		if status, ok := at[name+"_status"]; ok {
			r.set.Tracks = append(r.set.Tracks, traj.Track{Landmark: l})
			r.tracks = append(r.tracks, struct{ x, y, sd, sdY, status int }{at[name+"_x_px"], at[name+"_y_px"], at[name+"_sd_px"], at[name+"_sd_y_px"], status})
		}
		for _, unit := range []string{"mm", "%"} {
			if i, ok := at[Column(name+"_height", unit)]; ok {
				r.signals, r.heights = append(r.signals, metrics.Signal{Landmark: l, Unit: unit}), append(r.heights, i)
			}
		}
	}
}

// add takes the row of a frame.
func (r *signalReader) add(row []string) {
	number := func(i int) float64 {
		v, err := strconv.ParseFloat(row[i], 64)
		if err != nil {
			return math.NaN() // An empty cell was not measured.
		}
		return v
	}
	r.set.Times = append(r.set.Times, number(r.time))
	for i, c := range r.tracks {
		s := traj.Sample{X: number(c.x), Y: number(c.y), SD: number(c.sd), SDY: number(c.sdY), Status: statuses[row[c.status]]}
		if math.IsNaN(s.X + s.Y) {
			s = traj.Gone()
		}
		r.set.Tracks[i].Samples = append(r.set.Tracks[i].Samples, s)
	}
	for i, c := range r.heights {
		r.signals[i].Height = append(r.signals[i].Height, number(c))
	}
}
