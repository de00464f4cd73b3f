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
	set := new(traj.Set)
	type columns struct{ x, y, sd, sdY, status int }
	var tracks []columns
	var heights []int
	var signals []metrics.Signal
	for _, l := range traj.Landmarks() {
		name := strings.ReplaceAll(string(l), "-", "_")
		if status, ok := at[name+"_status"]; ok {
			set.Tracks = append(set.Tracks, traj.Track{Landmark: l})
			tracks = append(tracks, columns{at[name+"_x_px"], at[name+"_y_px"], at[name+"_sd_px"], at[name+"_sd_y_px"], status})
		}
		for _, unit := range []string{"mm", "%"} {
			if i, ok := at[Column(name+"_height", unit)]; ok {
				signals, heights = append(signals, metrics.Signal{Landmark: l, Unit: unit}), append(heights, i)
			}
		}
	}
	statuses := map[string]traj.Status{}
	for _, s := range []traj.Status{traj.Lost, traj.Bridged, traj.Tracked, traj.Marked, traj.Across} {
		statuses[s.String()] = s
	}
	for {
		row, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return set, signals, nil
		}
		if err != nil {
			return nil, nil, fmt.Errorf("read signals: %w", err)
		}
		number := func(i int) float64 {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				return math.NaN() // An empty cell was not measured.
			}
			return v
		}
		set.Times = append(set.Times, number(time))
		for i, c := range tracks {
			s := traj.Sample{X: number(c.x), Y: number(c.y), SD: number(c.sd), SDY: number(c.sdY), Status: statuses[row[c.status]]}
			if math.IsNaN(s.X + s.Y) {
				s = traj.Gone()
			}
			set.Tracks[i].Samples = append(set.Tracks[i].Samples, s)
		}
		for i, c := range heights {
			signals[i].Height = append(signals[i].Height, number(c))
		}
	}
}
