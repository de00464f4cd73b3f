package track_test

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"slices"

	"jogstrip/track"
	"jogstrip/track/flow"
)

// texture returns an analytic grey pattern: a sum of waves 5 to 40 px long.
func texture(seed uint64, mean, contrast float64) func(x, y float64) float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	type wave struct{ kx, ky, phase, amplitude float64 }
	waves := make([]wave, 9)
	for i := range waves {
		length := 5 * math.Pow(8, rng.Float64())
		angle := 2 * math.Pi * rng.Float64()
		waves[i] = wave{2 * math.Pi / length * math.Cos(angle), 2 * math.Pi / length * math.Sin(angle), 2 * math.Pi * rng.Float64(), 1.6 * contrast * math.Sqrt(length/40)}
	}
	return func(x, y float64) float64 {
		v := mean
		for _, w := range waves {
			v += w.amplitude * cosine(w.kx*x+w.ky*y+w.phase)
		}
		return v
	}
}

// cosines is one turn of the cosine, so finely that no grey of a texture is off by more
// than a few hundredths. Drawing a movie is little but cosines.
var cosines = func() (table [1 << 14]float64) {
	for i := range table {
		table[i] = math.Cos(2 * math.Pi * float64(i) / float64(len(table)))
	}
	return table
}()

func cosine(x float64) float64 {
	return cosines[int(math.Floor(x*(float64(len(cosines))/(2*math.Pi))+0.5))&(len(cosines)-1)]
}

// fence is a pattern that repeats every period px along x.
func fence(period, mean, contrast float64) func(x, y float64) float64 {
	return func(x, y float64) float64 {
		return mean + contrast*math.Cos(2*math.Pi*x/period) + 0.6*contrast*math.Cos(2*math.Pi*y/period)
	}
}

// sprite is a disc or square with its own texture that moves over the picture.
// at and scale give its place in every frame; absent says when it is not there.
type sprite struct {
	radius float64
	square bool
	grey   func(x, y float64) float64
	at     func(f int) flow.Point
	scale  func(f int) float64
	absent func(f int) bool
}

// movie renders sprites, first at the back, over a background that shake moves.
type movie struct {
	width, height, frames int
	background            func(x, y float64) float64
	shake                 func(f int) flow.Point
	sprites               []sprite
	noise                 float64
	seed                  uint64

	still  []float64 // The background, where nothing shakes it; index: sub-sample.
	frozen [][]byte  // Rendered frames.
}

func (m *movie) frame(f int) []byte {
	out := make([]byte, m.width*m.height)
	rng := rand.New(rand.NewPCG(m.seed, uint64(f)))
	type placed struct {
		s     *sprite
		c     flow.Point
		scale float64
	}
	var there []placed
	for i := range m.sprites {
		s := &m.sprites[i]
		if s.absent != nil && s.absent(f) {
			continue
		}
		k := 1.0
		if s.scale != nil {
			k = s.scale(f)
		}
		there = append(there, placed{s, s.at(f), k})
	}
	var d flow.Point
	if m.shake != nil {
		d = m.shake(f)
	}
	const sub = 2
	if m.shake == nil && m.still == nil {
		m.still = make([]float64, sub*sub*m.width*m.height)
		for k := range m.still {
			x, y := float64(k%(sub*m.width)), float64(k/(sub*m.width))
			m.still[k] = m.background((x+0.5)/sub-0.5, (y+0.5)/sub-0.5)
		}
	}
	for y := range m.height {
		for x := range m.width {
			var sum float64
			near := func(p placed) bool {
				return max(math.Abs(float64(x)-p.c.X), math.Abs(float64(y)-p.c.Y)) <= p.s.radius*p.scale+1
			}
			covered := slices.ContainsFunc(there, near)
			for j := range sub {
				for i := range sub {
					if !covered && m.still != nil { // As most of the picture.
						sum += m.still[(sub*y+j)*sub*m.width+sub*x+i]
						continue
					}
					px := float64(x) + (float64(i)+0.5)/sub - 0.5
					py := float64(y) + (float64(j)+0.5)/sub - 0.5
					v, hit := 0.0, false
					for k := len(there) - 1; k >= 0 && !hit; k-- {
						p := there[k]
						u, w := (px-p.c.X)/p.scale, (py-p.c.Y)/p.scale
						inside := u*u+w*w <= p.s.radius*p.s.radius
						if p.s.square {
							inside = max(math.Abs(u), math.Abs(w)) <= p.s.radius
						}
						if inside {
							v, hit = p.s.grey(u, w), true
						}
					}
					switch {
					case hit:
					case m.still != nil:
						v = m.still[(sub*y+j)*sub*m.width+sub*x+i]
					default:
						v = m.background(px-d.X, py-d.Y)
					}
					sum += v
				}
			}
			v := sum/(sub*sub) + m.noise*rng.NormFloat64()
			out[y*m.width+x] = byte(min(max(math.Round(v), 0), 255))
		}
	}
	return out
}

// open returns the movie as a clip at 60 frames/s. Frames are rendered once.
func (m *movie) open() track.Open {
	for f := len(m.frozen); f < m.frames; f++ {
		m.frozen = append(m.frozen, m.frame(f))
	}
	return func(context.Context) (track.Source, error) {
		return &memory{width: m.width, height: m.height, frames: m.frozen}, nil
	}
}

type memory struct {
	width, height int
	frames        [][]byte
	next          int
}

func (s *memory) Size() (int, int) { return s.width, s.height }

func (s *memory) Next(ctx context.Context) ([]byte, float64, error) {
	if err := ctx.Err(); err != nil {
		return nil, 0, err
	}
	if s.next >= len(s.frames) {
		return nil, 0, io.EOF
	}
	f := s.next
	s.next++
	return s.frames[f], float64(f) / 60, nil
}
