package film

import (
	"context"
	"errors"
	"io"
	"math"
	"slices"
	"sync"

	"jogstrip/pipeline/clip"
)

const (
	sampleRate = 12.0 // Pictures a second that are looked at.
	smallWide  = 288  // Width of the reduced pictures, px.
	maxSamples = 900  // Bound for long clips; the rate is lowered beyond it.
)

// samples is the clip as far as the check looks at it.
type samples struct {
	width, height int     // Of the full pictures, px.
	w, h          int     // Of the reduced pictures, px.
	interval      float64 // Seconds between two pictures.
	frames        []*sampleFrame
	grid          *grid
	broken        bool
}

// sampleFrame is one picture, reduced.
type sampleFrame struct {
	time  float64
	small []float32 // Mean luma of each cell, row by row.
	mean  float64
	burnt float64     // Share of pixels at 233 or above: video luma ends at 235.
	black float64     // Share of pixels at 18 or below: video luma ends at 16.
	edges []edgeSmall // Where and how wide the clearest edges are.
	once  sync.Once
	slope []float32 // See samples.slope.
}

// edgeSmall is an edge of the full picture: its width, px, and the reduced cell
// it lies in.
type edgeSmall struct {
	cell  int32
	width float32
}

// sample decodes the clip and reduces every picture that is looked at. The others
// are only compared with the one before, on a grid of pixels.
func sample(ctx context.Context, info *clip.Info) (*samples, error) {
	every := max(1, int(math.Round(info.FrameRate/sampleRate)))
	every = max(every, (len(info.Times)+maxSamples-1)/maxSamples)
	s := &samples{width: info.Width, height: info.Height, interval: float64(every) / info.FrameRate}
	s.w = min(smallWide, info.Width/4)
	s.h = max(4, int(math.Round(float64(s.w)*float64(info.Height)/float64(info.Width))))
	if math.IsInf(s.interval, 0) || math.IsNaN(s.interval) {
		s.interval = 1
	}
	r, err := clip.Open(ctx, info)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	s.grid = newGrid(info.Width, info.Height)
	for n := 0; ; n++ {
		pixels, at, err := r.Next(ctx)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		s.grid.compare(pixels)
		if n%every == 0 {
			s.frames = append(s.frames, s.reduce(pixels, at))
		}
	}
	s.broken = r.Broken() != nil
	return s, nil
}

// grid is a grid of pixels that is compared from picture to picture.
type grid struct {
	places []int
	region []uint8 // Of 12 × 8 regions of the picture. Index: as places.
	sums   [96]int // Of absolute differences in each region, scratch.
	each   [96]int // Places in each region.
	before []byte
	counts [256]int // Of absolute differences of one picture, scratch.
	// Of every picture but the first: mean absolute difference from the one before where
	// it changed most, and the median one, which is that of what stands still.
	most, still []float64
}

func newGrid(width, height int) *grid {
	g := &grid{}
	// Some ten thousand pixels, off the beat of blocks of 8 and 16.
	step := max(1, int(math.Sqrt(float64(width*height)/10000)))
	if step%2 == 0 {
		step++
	}
	for y := step / 2; y < height; y += step {
		for x := step / 2; x < width; x += step {
			g.places = append(g.places, y*width+x)
			region := uint8(y*8/height*12 + x*12/width)
			g.region = append(g.region, region)
			g.each[region]++
		}
	}
	return g
}

func (g *grid) compare(pixels []byte) {
	if g.before == nil {
		g.before = make([]byte, len(g.places))
		for i, k := range g.places {
			g.before[i] = pixels[k]
		}
		return
	}
	clear(g.counts[:])
	clear(g.sums[:])
	for i, k := range g.places {
		d := abs(int(pixels[k]) - int(g.before[i]))
		g.before[i] = pixels[k]
		g.sums[g.region[i]] += d
		g.counts[d]++
	}
	most := 0.0
	for r, sum := range g.sums {
		if g.each[r] > 0 {
			most = max(most, float64(sum)/float64(g.each[r]))
		}
	}
	g.most = append(g.most, most)
	// Within the grey level that holds the median, by share.
	below, half := 0, float64(len(g.places))/2
	for d, n := range g.counts {
		if float64(below+n) >= half {
			g.still = append(g.still, max(0, float64(d)-0.5+(half-float64(below))/float64(n)))
			break
		}
		below += n
	}
}

// repeats returns which share of pictures repeats the one before, where that goes
// through the whole clip: what a converter does that makes 60 frames a second of 30.
func (g *grid) repeats() float64 {
	if len(g.most) < 20 {
		return 0
	}
	repeated, looked, run, longest := 0, 0, 0, 0
	for i, d := range g.most {
		// Against the pictures around it, but for the largest: a new start of coding shows
		// as one large change.
		near := slices.Clone(g.most[max(0, i-3):min(len(g.most), i+4)])
		slices.Sort(near)
		moving := near[len(near)-2]
		if moving < 0.5 {
			continue // Nothing moves that could tell.
		}
		looked++
		if d < 0.2*moving {
			repeated++
			run = 0
			continue
		}
		run++
		longest = max(longest, run)
	}
	if looked < 20 {
		return 0
	}
	share := float64(repeated) / float64(looked)
	// Repeats come every few pictures, or they are a stop.
	if share < 0.15 || longest > max(8, int(4/share)) {
		return 0
	}
	return share
}

// noise returns the standard deviation of what stands still from picture to picture,
// grey levels; pictures that repeat the one before tell nothing.
func (g *grid) noise() float64 {
	var still []float64
	for i, d := range g.still {
		if g.most[i] > 0.1 {
			still = append(still, d)
		}
	}
	if len(still) == 0 {
		return math.NaN()
	}
	slices.Sort(still)
	// The median absolute value of normal numbers is 0.674 standard deviations, and a
	// difference has the noise of two pictures.
	return still[len(still)/2] / 0.674 / math.Sqrt2
}

// reduce averages a picture over cells and looks at its edges.
func (s *samples) reduce(pixels []byte, time float64) *sampleFrame {
	f := &sampleFrame{time: time, small: make([]float32, s.w*s.h)}
	var histogram [256]int
	rows := make([]int, s.h+1)
	for j := range rows {
		rows[j] = j * s.height / s.h
	}
	columns := make([]int, s.w+1)
	for i := range columns {
		columns[i] = i * s.width / s.w
	}
	for j := range s.h {
		for y := rows[j]; y < rows[j+1]; y++ {
			row := pixels[y*s.width : (y+1)*s.width]
			for i := range s.w {
				sum := 0
				for _, p := range row[columns[i]:columns[i+1]] {
					sum += int(p)
				}
				f.small[j*s.w+i] += float32(sum)
			}
			// Every third row and column is enough for the histogram.
			if y%3 == 0 {
				for x := 0; x < len(row); x += 3 {
					histogram[row[x]]++
				}
			}
		}
		for i := range s.w {
			f.small[j*s.w+i] /= float32((rows[j+1] - rows[j]) * (columns[i+1] - columns[i]))
		}
	}
	total := 0
	for v, n := range histogram {
		total += n
		f.mean += float64(v * n)
		if v >= 233 {
			f.burnt += float64(n)
		}
		if v <= 18 {
			f.black += float64(n)
		}
	}
	f.mean /= float64(total)
	f.burnt /= float64(total)
	f.black /= float64(total)
	f.edges = s.findEdges(pixels)
	return f
}

// findEdges measures clear edges along rows and columns that lie evenly over the
// picture.
//
// Where brightness changes most over a window, the change over the steepest
// slope inside is the width of the edge: for a step blurred evenly over w px that
// is w, for a Gaussian of standard deviation σ it is 2.5·σ. Three lines are
// averaged, so that noise does not pass for sharpness. Widths beyond the window
// count as the window.
func (s *samples) findEdges(pixels []byte) []edgeSmall {
	var out []edgeSmall
	step := max(4, s.height/180)
	half := max(8, min(s.width, s.height)/90)
	profile := make([]int, max(s.width, s.height))
	for y := step / 2; y+1 < s.height; y += step {
		line := profile[:s.width]
		k := y * s.width
		for x := range line {
			line[x] = int(pixels[k-s.width+x]) + int(pixels[k+x]) + int(pixels[k+s.width+x])
		}
		row := (y * s.h / s.height) * s.w
		out = edgesAlong(out, line, half, func(i int) int { return row + i*s.w/s.width })
	}
	for x := step / 2; x+1 < s.width; x += step {
		line := profile[:s.height]
		for y := range line {
			k := y*s.width + x
			line[y] = int(pixels[k-1]) + int(pixels[k]) + int(pixels[k+1])
		}
		column := x * s.w / s.width
		out = edgesAlong(out, line, half, func(i int) int { return (i*s.h/s.height)*s.w + column })
	}
	return out
}

// edgesAlong finds the edges of a line of which every value is three grey
// levels' sum.
func edgesAlong(out []edgeSmall, line []int, half int, cell func(int) int) []edgeSmall {
	const clear = 3 * 36 // Least height of an edge.
	change := func(i int) int { return line[i+half] - line[i-half] }
	for i := half; i < len(line)-half; {
		if c := change(i); c < clear && c > -clear {
			i++
			continue
		}
		// The strongest place of the window, then on behind it.
		best := i
		for j := i + 1; j <= i+half && j < len(line)-half; j++ {
			if abs(change(j)) > abs(change(best)) {
				best = j
			}
		}
		height, sign := change(best), 1
		if height < 0 {
			height, sign = -height, -1
		}
		steepest := 0
		for j := best - half + 1; j < best+half; j++ {
			steepest = max(steepest, sign*(line[j+1]-line[j-1]))
		}
		if steepest > 0 {
			out = append(out, edgeSmall{int32(cell(best)), min(float32(2*half), 2*float32(height)/float32(steepest))})
		}
		i = best + half + 1
	}
	return out
}

func abs(i int) int {
	if i < 0 {
		return -i
	}
	return i
}
