package scene

import (
	"bytes"
	"compress/bzip2"
	"fmt"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"
)

// Photograph is a photograph that a Debian package ships and that clips take their
// surfaces from. None is part of the program: they are read where the package puts
// them, and scripts/setup installs the packages for tests.
type Photograph struct {
	Name    string
	Path    string
	Package string // With the version from which on it lacks the photograph: Debian 13's SciPy has none.
	// What it shows, who took it, and under which licence.
	Source string
}

const (
	lomiri  = "/usr/share/backgrounds"
	skimage = "/usr/lib/python3/dist-packages/skimage/data"
)

// Photographs lists what scenes with Yard.Photos are made of.
func Photographs() []Photograph {
	return []Photograph{
		{"gravel", skimage + "/gravel.png", "python3-skimage", "pebbles from above; CC0"},
		{"grass", skimage + "/grass.png", "python3-skimage", "mown grass with leaves from above; CC0"},
		{"brick", skimage + "/brick.png", "python3-skimage", "a brick pavement; CC0"},
		{"fur", "/usr/lib/python3/dist-packages/scipy/misc/face.dat", "python3-scipy before 1.12", "a raccoon by Judy Weggelaar; public domain"},
		{"meadow", lomiri + "/aitzgorri_by_Aitzol_Berasategi.jpg", "lomiri-wallpapers-16.04", "meadow, wood and hills by Aitzol Berasategi; CC-BY-4.0"},
		{"hill", lomiri + "/picosdeeuropa_by_Aitzol_Berasategi.jpg", "lomiri-wallpapers-16.04", "turf, a path and mountains by Aitzol Berasategi; CC-BY-4.0"},
		{"wood", lomiri + "/life_by_Aitzol_Berasategi.jpg", "lomiri-wallpapers-16.04", "trees above a stream by Aitzol Berasategi; CC-BY-4.0"},
	}
}

// MissingPhotographs names the packages that are not installed of those that
// Photographs come from; nil where all are there.
func MissingPhotographs() []string { return missingOf(Photographs()) }

func missingOf(list []Photograph) []string {
	var out []string
	for _, p := range list {
		if _, err := os.Stat(p.Path); err != nil && !slices.Contains(out, p.Package) {
			out = append(out, p.Package)
		}
	}
	return out
}

// photo is a picture in linear light and ever smaller copies of it, each half as
// wide and high as the one before.
type photo struct{ levels []plane }

type plane struct {
	w, h int
	v    []colour
}

// photos are the pictures of one scene. A nil entry is one that is missing.
type photos struct {
	ground, turf, brick, fur, backdrop *photo
	hill                               *photo
}

// loadPhotos reads the pictures of list that a scene needs. What is missing or cannot
// be read stays nil, is named loudly on warn, and procedural noise stands in for it.
func loadPhotos(list []Photograph, backdrop string, warn io.Writer) *photos {
	if missing := missingOf(list); missing != nil {
		fmt.Fprintf(warn, "scene: PHOTOGRAPHS MISSING: Debian's %v are not installed (./scripts/setup test installs them); noise stands in for them, and clips are easier than they should be\n", missing)
	}
	var mutex sync.Mutex
	read := func(name string, wide int) *photo {
		i := slices.IndexFunc(list, func(p Photograph) bool { return p.Name == name })
		ph, err := readPhoto(list[i].Path, wide)
		if err != nil && !os.IsNotExist(err) {
			mutex.Lock()
			defer mutex.Unlock()
			fmt.Fprintf(warn, "scene: photograph %s: %v; noise stands in for it\n", list[i].Path, err)
		}
		return ph
	}
	p := &photos{}
	var wg sync.WaitGroup
	wg.Go(func() { p.backdrop = read(backdrop, 2048) })
	wg.Go(func() { p.hill = read("hill", 1024) })
	p.ground, p.turf, p.brick = read("gravel", 512), read("grass", 512), read("brick", 512)
	if fur := read("fur", 1024); fur != nil {
		// The animal's flank, evened out.
		p.fur = fur.crop(20, 60, 340, 290)
	}
	wg.Wait()
	for _, q := range []*photo{p.ground, p.turf, p.fur, p.brick} {
		if q != nil {
			q.even()
		}
	}
	for _, q := range []*photo{p.ground, p.turf, p.brick, p.fur, p.backdrop, p.hill} {
		if q != nil {
			q.shrink()
		}
	}
	return p
}

// readPhoto reads a picture, halved until it is at most wide pixels wide.
func readPhoto(path string, wide int) (*photo, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var base plane
	if filepath.Ext(path) == ".dat" {
		// SciPy's picture: 768 rows of 1024 pixels, three bytes each, packed by bzip2.
		raw, err := io.ReadAll(bzip2.NewReader(bytes.NewReader(b)))
		if err != nil {
			return nil, err
		}
		const w, h = 1024, 768
		if len(raw) != w*h*3 {
			return nil, fmt.Errorf("%d bytes, want %d", len(raw), w*h*3)
		}
		base = plane{w, h, make([]colour, w*h)}
		for i := range base.v {
			base.v[i] = colour{decode(float32(raw[3*i]) / 255), decode(float32(raw[3*i+1]) / 255), decode(float32(raw[3*i+2]) / 255)}
		}
	} else {
		img, _, err := image.Decode(bytes.NewReader(b))
		if err != nil {
			return nil, err
		}
		base = planeOf(img, wide)
	}
	return &photo{[]plane{base}}, nil
}

// planeOf makes one pixel of every n × n of a picture, n so that it is at most wide:
// the mean of four of them, or of all where n is 2.
func planeOf(img image.Image, wide int) plane {
	r := img.Bounds()
	n := (r.Dx() + wide - 1) / wide
	p := plane{w: r.Dx() / n, h: r.Dy() / n}
	p.v = make([]colour, p.w*p.h)
	m := min(n, 2)
	at := func(x, y int) colour {
		switch q := img.(type) {
		case *image.YCbCr:
			i, j := q.YOffset(x, y), q.COffset(x, y)
			l, cb, cr := float32(q.Y[i]), float32(q.Cb[j])-128, float32(q.Cr[j])-128
			return colour{decode((l + 1.402*cr) / 255), decode((l - 0.3441*cb - 0.7141*cr) / 255), decode((l + 1.772*cb) / 255)}
		case *image.Gray:
			k := decode(float32(q.GrayAt(x, y).Y) / 255)
			return colour{k, k, k}
		}
		a, b, c, _ := img.At(x, y).RGBA()
		return colour{decode(float32(a) / 65535), decode(float32(b) / 65535), decode(float32(c) / 65535)}
	}
	bands(p.h, func(from, to int) {
		for y := from; y < to; y++ {
			for x := range p.w {
				var sum colour
				for k := range m * m {
					sum = sum.add(at(r.Min.X+x*n+k%m*n/m, r.Min.Y+y*n+k/m*n/m))
				}
				p.v[y*p.w+x] = sum.mul(1 / float32(m*m))
			}
		}
	})
	return p
}

// crop returns a part of the first level: its corner and size.
func (p *photo) crop(x, y, w, h int) *photo {
	from := p.levels[0]
	out := plane{w, h, make([]colour, w*h)}
	for row := range h {
		copy(out.v[row*w:(row+1)*w], from.v[(y+row)*from.w+x:])
	}
	return &photo{[]plane{out}}
}

// even divides the first level by its mean over a wide neighbourhood, so that it is
// 1 in the mean everywhere and shows no seams of light when laid side by side. What
// is left is grey.
func (p *photo) even() {
	b := p.levels[0]
	lum := make([]float32, b.w*b.h)
	for i, c := range b.v {
		lum[i] = 0.2126*c.r + 0.7152*c.g + 0.0722*c.b
	}
	// A box mean by summed areas, wrapped at the edges.
	const half = 48
	mean := make([]float32, len(lum))
	pass := func(src, dst []float32, n, lines, step, stride int) {
		for l := range lines {
			at := func(i int) float32 { return src[l*stride+((i+n)%n)*step] }
			var sum float32
			for i := -half; i <= half; i++ {
				sum += at(i)
			}
			for i := range n {
				dst[l*stride+i*step] = sum / (2*half + 1)
				sum += at(i+half+1) - at(i-half)
			}
		}
	}
	tmp := make([]float32, len(lum))
	pass(lum, tmp, b.w, b.h, 1, b.w)
	pass(tmp, mean, b.h, b.w, b.w, 1)
	for i := range b.v {
		k := lum[i] / max(mean[i], 1e-3)
		b.v[i] = colour{k, k, k}
	}
}

// shrink adds the smaller copies.
func (p *photo) shrink() {
	for {
		b := p.levels[len(p.levels)-1]
		if b.w < 4 || b.h < 4 {
			return
		}
		n := plane{b.w / 2, b.h / 2, make([]colour, (b.w/2)*(b.h/2))}
		for y := range n.h {
			for x := range n.w {
				i := 2*y*b.w + 2*x
				n.v[y*n.w+x] = b.v[i].add(b.v[i+1]).add(b.v[i+b.w]).add(b.v[i+b.w+1]).mul(0.25)
			}
		}
		p.levels = append(p.levels, n)
	}
}

// at reads the picture at (u, v), in pictures: 1 is its whole width and height. A
// sample covers foot pictures of its width. mirror turns every second repeat over,
// so that no seam shows.
func (p *photo) at(u, v, foot float32, mirror bool) colour {
	base := &p.levels[0]
	f := foot * float32(base.w)
	k := 0
	var t float32
	if f > 1 {
		// The exponent, and between powers of two the mantissa: near enough to a logarithm.
		bits := math.Float32bits(f)
		k = int(bits>>23) - 127
		t = float32(bits&(1<<23-1)) / (1 << 23)
		if k >= len(p.levels)-1 {
			k, t = len(p.levels)-1, 0
		}
	}
	c := p.levels[k].at(u, v, mirror)
	if t > 0 {
		c = mix(c, p.levels[k+1].at(u, v, mirror), t)
	}
	return c
}

func (p *plane) at(u, v float32, mirror bool) colour {
	x, y := u*float32(p.w)-0.5, v*float32(p.h)-0.5
	ix, fx := floor32(x)
	iy, fy := floor32(y)
	x0, x1 := fold(ix, p.w, mirror), fold(ix+1, p.w, mirror)
	y0, y1 := fold(iy, p.h, mirror)*p.w, fold(iy+1, p.h, mirror)*p.w
	return mix(mix(p.v[y0+x0], p.v[y0+x1], fx), mix(p.v[y1+x0], p.v[y1+x1], fx), fy)
}

func fold(i int32, n int, mirror bool) int {
	if !mirror {
		k := int(i) % n
		if k < 0 {
			k += n
		}
		return k
	}
	k := int(i) % (2 * n)
	if k < 0 {
		k += 2 * n
	}
	if k >= n {
		k = 2*n - 1 - k
	}
	return k
}

// strewn reads an evened picture laid out without end, tile metres wide, at a place
// in metres; where it repeats, one of many shifted copies stands, faded into the
// next, so that no pattern shows.
func (p *photo) strewn(x, y, tile, foot float32) float32 {
	k := 4 * noise2(x*0.45/tile+7, y*0.45/tile)
	i, f := floor32(k)
	t := step32(0.25, 0.75, f)
	shift := func(i int32) (float32, float32) {
		return lattice[uint8(i*17+5)], lattice[uint8(i*29+101)]
	}
	u, v := x/tile, y/tile
	ax, ay := shift(i)
	a := p.at(u+ax, v+ay, foot/tile, false).g
	if t <= 0 {
		return a
	}
	bx, by := shift(i + 1)
	b := p.at(u+bx, v+by, foot/tile, false).g
	// Two pictures over one another lose contrast; give it back.
	m := 1 + (a-1)*(1-t) + (b-1)*t
	return 1 + (m-1)/float32(math.Sqrt(float64((1-t)*(1-t)+t*t)))
}
