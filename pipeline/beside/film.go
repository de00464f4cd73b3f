// Package beside makes the film of before and after: two visits' runs beside each other,
// stride by stride in step, the horse of one size and held in the middle, at half speed.
// A second part lays the left half of a stride over the mirrored right half: what is alike
// is grey, what isn't shows blue where the left half is and amber where the right is. The two
// are moved sideways to where they fit best.
//
// Time runs in each stride from hoof-on to hoof-on of one limb, the same at both visits.
// Between these two instants nothing is pulled together, so that what comes early or late
// within a stride stays so.
package beside

import (
	"context"
	"errors"
	"fmt"
	"image/color"
	"math"
	"path/filepath"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/framing"
	"jogstrip/pipeline/overlay"
	"jogstrip/pipeline/stills"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// The film. Shown at Rate pictures a second, each 1/60 s of the horse's time after the one
// before: half speed.
const (
	Rate  = 30
	speed = 0.5

	pieceWidth  = 464
	pieceHeight = 512
	gap         = 8
	head        = 30 // Above the pieces, for words.
	Width       = 2*pieceWidth + gap
	Height      = head + pieceHeight
)

// MostBytes bounds the film's size.
const MostBytes = 20 << 20

// Moment is a stride in the film.
type Moment struct {
	FilmS   float64 `json:"film_s"`   // Where it begins in the film, s.
	FilmEnd float64 `json:"film_end"` // And where it ends.
	BeforeS float64 `json:"before_s"` // Where it begins in the earlier visit's clip, s.
	AfterS  float64 `json:"after_s"`
}

// Section is a part of the film.
type Section struct {
	Title   string        `json:"title"`
	View    traj.View     `json:"view"`
	Halves  bool          `json:"halves,omitempty"` // Left half-strides over right ones.
	Limb    traj.Landmark `json:"limb"`             // Whose hoof-on begins a stride.
	Before  string        `json:"before"`           // The clips' names.
	After   string        `json:"after"`
	Moments []Moment      `json:"moments"`
}

// shot is one picture of the film before it is drawn.
type shot struct {
	text        string
	frames      [2]int // Of before and after; of halves their left ones.
	rights      [2]int // The right halves' frames; -1 where strides are shown.
	share       float64
	half        int    // Which half-stride of the film it belongs to.
	shift       [2]int // By how much the mirrored halves are moved to the right, px.
	limb        traj.Landmark
	left, right traj.Landmark
}

// planned is a pair with its shots.
type planned struct {
	pair     *Pair
	shots    []shot
	halves   int // How many half-strides are laid over each other.
	sections []Section
}

func pieceOf(p framing.Place, span float64) stills.Piece {
	return stills.PieceOf(p, span, pieceWidth, pieceHeight)
}

// Make writes the film of the pairs that can be shown to target and returns its sections.
// why says of each pair that can't be shown why not. Where none can, the error wraps
// ErrNothing, and no file is written.
func Make(ctx context.Context, target string, pairs []Pair, progress func(done, total int)) (sections []Section, why []string, err error) {
	var plans []planned
	total := 0
	for i := range pairs {
		p, err := plan(&pairs[i], total)
		if err != nil {
			why = append(why, fmt.Sprintf("%s: %v", pairs[i].View, err))
			continue
		}
		total += len(p.shots)
		plans, sections = append(plans, p), append(sections, p.sections...)
	}
	if total == 0 {
		return nil, why, fmt.Errorf("film of before and after: %w", ErrNothing)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	seconds := float64(total) / Rate
	out, err := clip.NewWriter(ctx, target, Width, Height, clip.WriterOptions{
		Rate: Rate, Preset: "veryfast", Quality: 24, KeyEvery: Rate / 2, MostBitsPerSecond: int(math.Min(6e6, 0.9*8*MostBytes/seconds)),
	})
	if err != nil {
		return nil, why, err
	}
	done := 0
	for _, p := range plans {
		err = p.write(ctx, out, func() {
			done++
			if progress != nil {
				progress(done, total)
			}
		})
		if err != nil {
			cancel()
			break
		}
	}
	closeErr := out.Close()
	if err == nil || errors.Is(err, context.Canceled) {
		err = closeErr
	}
	if err != nil {
		return nil, why, fmt.Errorf("film of before and after: %w", err)
	}
	return sections, why, nil
}

// plan lists a pair's shots; before is how many the film has before them.
func plan(pair *Pair, before int) (planned, error) {
	p := planned{pair: pair}
	strides, limb := pair.strides()
	if len(strides) == 0 {
		return p, ErrNothing
	}
	way := "Toward the camera"
	if pair.View == traj.Away {
		way = "Away from the camera"
	}
	at := func() float64 { return float64(before+len(p.shots)) / Rate }
	whole := Section{Title: way + ": stride by stride", View: pair.View, Limb: limb, Before: pair.Before.file(), After: pair.After.file()}
	for i, s := range strides {
		m := Moment{FilmS: at(), BeforeS: s.before.from, AfterS: s.after.from}
		n := pictures(s.before.to-s.before.from, s.after.to-s.after.from)
		for k := range n {
			share := float64(k) / float64(n)
			p.shots = append(p.shots, shot{
				text:   fmt.Sprintf("stride %d of %d, from %s on", i+1, len(strides), limb.Words()),
				frames: [2]int{pair.Before.frame(s.before.at(share)), pair.After.frame(s.after.at(share))}, rights: [2]int{-1, -1}, share: share, limb: limb,
			})
		}
		m.FilmEnd = at()
		whole.Moments = append(whole.Moments, m)
	}
	p.sections = append(p.sections, whole)

	left, right := girdle(limb.IsHind())
	b, a := pair.Before.halves(left, right, pair.Span), pair.After.halves(left, right, pair.Span)
	n := min(len(b), len(a), mostHalves)
	if n == 0 {
		return p, nil
	}
	b, a = nearest(b, n, pair.View), nearest(a, n, pair.View)
	laid := Section{Title: way + ": left half over mirrored right", View: pair.View, Halves: true, Limb: left, Before: whole.Before, After: whole.After}
	for i := range n {
		m := Moment{FilmS: at(), BeforeS: b[i].left.from, AfterS: a[i].left.from}
		count := pictures(b[i].left.to-b[i].left.from, b[i].right.to-b[i].right.from, a[i].left.to-a[i].left.from, a[i].right.to-a[i].right.from)
		p.halves++
		for range 2 { // Half a stride is short: it is shown twice.
			for k := range count {
				share := float64(k) / float64(count)
				p.shots = append(p.shots, shot{
					text:   fmt.Sprintf("half-stride %d of %d: left blue, right mirrored amber", i+1, n),
					frames: [2]int{pair.Before.frame(b[i].left.at(share)), pair.After.frame(a[i].left.at(share))},
					rights: [2]int{pair.Before.frame(b[i].right.at(share)), pair.After.frame(a[i].right.at(share))}, share: share, half: p.halves, left: left, right: right,
				})
			}
		}
		m.FilmEnd = at()
		laid.Moments = append(laid.Moments, m)
	}
	p.sections = append(p.sections, laid)
	return p, nil
}

// pictures returns how many pictures show parts that last so long, s, at half speed.
func pictures(parts ...float64) int {
	sum := 0.0
	for _, p := range parts {
		sum += p
	}
	return max(2, int(math.Round(sum/float64(len(parts))/speed*Rate)))
}

// frame returns the frame shown at t.
func (s *Side) frame(t float64) int { return s.Horse.Frame(t) }

// file returns the clip's name.
func (s *Side) file() string { return filepath.Base(s.Info.Path) }

// write reads the frames that a pair's shots need, draws them and hands them to out.
func (p *planned) write(ctx context.Context, out *clip.Writer, done func()) error {
	pieces := [2]map[int]clip.Planes{{}, {}}
	sides := [2]*Side{&p.pair.Before, &p.pair.After}
	errs := make(chan error, 2)
	for i, s := range sides {
		want, first, last := map[int]bool{}, math.MaxInt, 0
		for _, x := range p.shots {
			for _, f := range []int{x.frames[i], x.rights[i]} {
				if f >= 0 {
					want[f], first, last = true, min(first, f), max(last, f)
				}
			}
		}
		go func() {
			errs <- clip.Frames(ctx, s.Info, first, last, func(f int) bool { return want[f] }, func(f int, picture clip.Planes) {
				c := pieceOf(s.Horse.At(f), p.pair.Span)
				piece := overlay.NewPlanes(pieceWidth, pieceHeight)
				overlay.Cut(piece, picture, c.X, c.Y, c.Step)
				pieces[i][f] = piece
			})
		}()
	}
	if err := errors.Join(<-errs, <-errs); err != nil {
		return err
	}
	p.fit(pieces)
	picture := overlay.NewPlanes(Width, Height)
	piece := overlay.NewPlanes(pieceWidth, pieceHeight)
	white := color.NRGBA{0xff, 0xff, 0xff, 0xff}
	overlay.Fill(picture, 0, 0, Width, Height, white)
	for _, x := range p.shots {
		overlay.Fill(picture, 0, 0, Width, head, white) // The words of the shot before.
		for i, s := range sides {
			if x.rights[i] < 0 {
				copyInto(piece, pieces[i][x.frames[i]])
				s.draw(piece, x.frames[i], p.pair.Span)
			} else {
				lay(piece, pieces[i][x.frames[i]], pieces[i][x.rights[i]], x.shift[i])
				s.drawHalves(piece, x, i, p.pair.Span)
			}
			if x.rights[i] < 0 && x.share < 0.12 {
				overlay.Text(piece, x.limb.Words()+" lands", 6, pieceHeight-28, 17, plots.SideColor(x.limb.Side()))
			}
			overlay.Paste(picture, piece, i*(pieceWidth+gap), head)
			overlay.Text(picture, s.Title, i*(pieceWidth+gap)+2, 4, 18, ink)
		}
		overlay.TextRight(picture, x.text, Width-4, 6, 15, ink)
		if out.Write(picture) != nil {
			return context.Canceled // Close says why.
		}
		done()
	}
	return nil
}

var ink = color.NRGBA{0x1a, 0x1a, 0x1a, 0xff}

func copyInto(dst, src clip.Planes) {
	copy(dst.Y, src.Y)
	copy(dst.U, src.U)
	copy(dst.V, src.V)
}

// fit moves each mirrored half sideways to where it fits the left one best, over the whole
// half-stride: the horse's middle is known to a few centimetres only, and what is to be
// seen is where the halves differ in shape, height or time.
func (p *planned) fit(pieces [2]map[int]clip.Planes) {
	const most = 20 // px.
	for half := 1; half <= p.halves; half++ {
		for side := range pieces {
			best, shift := math.MaxInt, 0
			for try := -most; try <= most; try++ {
				sum := 0
				for i, x := range p.shots {
					if x.half == half && i%4 == 0 {
						sum += unlike(pieces[side][x.frames[side]], pieces[side][x.rights[side]], try)
					}
				}
				if sum < best {
					best, shift = sum, try
				}
			}
			for i := range p.shots {
				if p.shots[i].half == half {
					p.shots[i].shift[side] = shift
				}
			}
		}
	}
}

// unlike is how much the middle of a piece differs from that of another, mirrored and
// moved to the right.
func unlike(left, right clip.Planes, shift int) int {
	w, sum := left.Width, 0
	for y := left.Height / 10; y < left.Height*9/10; y += 4 {
		for x := w/2 - w/5; x < w/2+w/5; x += 2 {
			d := int(left.Y[y*w+x]) - int(right.Y[y*w+w-1-x+shift])
			sum += max(d, -d)
		}
	}
	return sum
}

// lay lays the left half over the mirrored right one, which is moved to the right.
func lay(dst, left, right clip.Planes, shift int) {
	const tint = 0.75
	w, cw := dst.Width, dst.Width/2
	from := func(x int) int { return max(0, min(w-1, w-1-x+shift)) }
	for y := range dst.Height {
		l, r, d := left.Y[y*w:(y+1)*w], right.Y[y*w:(y+1)*w], dst.Y[y*w:(y+1)*w]
		for x := range d {
			d[x] = byte((int(l[x]) + int(r[from(x)])) / 2)
		}
	}
	for y := range dst.Height / 2 {
		for x := range cw {
			// Where the left half is darker something of it stands there, and the
			// other way round.
			l, r := 0, 0
			for _, o := range [4][2]int{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
				row := (2*y + o[1]) * w
				l += int(left.Y[row+2*x+o[0]])
				r += int(right.Y[row+from(2*x+o[0])])
			}
			d := tint * float64(r-l) / 4
			dst.U[y*cw+x] = byte(math.Max(16, math.Min(240, 128+d)))
			dst.V[y*cw+x] = byte(math.Max(16, math.Min(240, 128-d)))
		}
	}
}
