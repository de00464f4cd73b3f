package flow

// #cgo CFLAGS: -O3 -Wno-psabi
// #cgo noescape kernel_register
// #cgo nocallback kernel_register
// #cgo noescape kernel_halve
// #cgo nocallback kernel_halve
// #cgo noescape kernel_smooth
// #cgo nocallback kernel_smooth
// #cgo noescape kernel_shrink
// #cgo nocallback kernel_shrink
// #cgo noescape kernel_sums
// #cgo nocallback kernel_sums
// #cgo noescape kernel_follow
// #cgo nocallback kernel_follow
// #cgo noescape kernel_differences
// #cgo nocallback kernel_differences
// #cgo noescape kernel_changed
// #cgo nocallback kernel_changed
// #cgo noescape kernel_products
// #cgo nocallback kernel_products
// #cgo noescape kernel_normalise
// #cgo nocallback kernel_normalise
// #include "kernel.h"
import "C"

import (
	"image"
	"slices"
	"sync"
	"unsafe"
)

// lanes is how many numbers the inner loops take at once; what they take is
// padded with zeros to a multiple of it.
const lanes = 8

func padded(n int) int { return (n + lanes - 1) / lanes * lanes }

// room lends memory to the inner loops, so that they cost no allocation.
var room = sync.Pool{New: func() any { return new([]float32) }}

// borrow returns n numbers of any value; give them back with room.Put.
func borrow(n int) *[]float32 {
	p := room.Get().(*[]float32)
	*p = slices.Grow((*p)[:0], n)[:n]
	return p
}

// asBytes returns the memory of v.
func asBytes(v []float32) []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(v))), 4*len(v))
}

// fit is what one look at a template in a plane gives; see kernel.h.
type fit = C.kernel_fit

// look samples p where t's pixels lie under pose and fills in f. It returns
// false where too little of t lies inside p, or p is flat there.
func (t *Template) look(p *Plane, pose Pose, sin, cos float64, scratch []float32, f *fit) bool {
	c, s := pose.Scale*cos/p.Step, pose.Scale*sin/p.Step
	return C.kernel_register((*C.float)(&p.Pix[0]), C.int(p.Width), C.int(p.Height),
		(*C.float)(&t.parts[0]), C.int(t.stride), C.int(padded(t.count)), C.float(t.mean),
		C.float((pose.At.X-p.X0)/p.Step), C.float((pose.At.Y-p.Y0)/p.Step), C.float(c), C.float(s),
		C.double(0.6*t.weight), (*C.float)(&scratch[0]), f) == C.kernel_good
}

func halve(g Gray, out Gray) {
	C.kernel_halve((*C.uint8_t)(&g.Pix[0]), C.int(g.Stride), (*C.uint8_t)(&out.Pix[0]), C.int(out.Width), C.int(out.Height))
}

func smooth(g Gray, out []float32) {
	row := borrow(g.Width)
	defer room.Put(row)
	C.kernel_smooth((*C.uint8_t)(&g.Pix[0]), C.int(g.Stride), (*C.float)(&out[0]), C.int(g.Width), C.int(g.Height), (*C.float)(&(*row)[0]))
}

func shrink(g Gray, factor int, out Gray) {
	row := borrow((out.Width*factor + 1) / 2)
	defer room.Put(row)
	C.kernel_shrink((*C.uint8_t)(&g.Pix[0]), C.int(g.Stride), C.int(factor), (*C.uint8_t)(&out.Pix[0]), C.int(out.Width), C.int(out.Height), (*C.uint16_t)(unsafe.Pointer(&(*row)[0])))
}

func sums(g Gray, x, y, side int, out []uint16) {
	C.kernel_sums((*C.uint8_t)(&g.Pix[y*g.Stride+x]), C.int(g.Stride), C.int(side), (*C.uint16_t)(&out[0]), C.int(len(out)))
}

func differences(a, b, out []uint16, histogram []int32) {
	C.kernel_differences((*C.uint16_t)(&a[0]), (*C.uint16_t)(&b[0]), (*C.uint16_t)(&out[0]), C.int(len(out)), (*C.int32_t)(&histogram[0]), C.int(len(histogram)))
}

func changed(cells []uint16, width, height int, limit uint16) image.Rectangle {
	row := borrow(width)
	defer room.Put(row)
	var box [4]C.int
	C.kernel_changed((*C.uint16_t)(&cells[0]), C.int(width), C.int(height), C.uint16_t(limit), (*C.uint8_t)(unsafe.Pointer(&(*row)[0])), &box[0])
	return image.Rect(int(box[0]), int(box[1]), int(box[2]), int(box[3]))
}

// grey is taken off the values of pixels before they are multiplied: sums over up to 2¹⁰
// pixels are then exact in single precision.
const grey = 128

// products fills in for every place of template in g the sum of what the values there,
// less grey, give when multiplied.
func products(g, template Gray, out Scores) {
	lent := borrow((g.Width+C.kernel_beyond)*(g.Height+1) + template.Width*template.Height)
	defer room.Put(lent)
	C.kernel_products((*C.uint8_t)(&g.Pix[0]), C.int(g.Stride), C.int(g.Width), C.int(g.Height),
		(*C.uint8_t)(&template.Pix[0]), C.int(template.Stride), C.int(template.Width), C.int(template.Height), grey, (*C.float)(&(*lent)[0]), (*C.float)(&out.Score[0]))
}

// normalise turns sums of products of values less middle into correlations, −1 where the
// variance of g below template is less than one grey level squared.
func normalise(g, template Gray, middle int, scores Scores) {
	sum, square := 0, 0
	for y := range template.Height {
		for _, v := range template.Pix[y*template.Stride:][:template.Width] {
			d := int(v) - middle
			sum, square = sum+d, square+d*d
		}
	}
	columns := borrow(2 * g.Width)
	defer room.Put(columns)
	C.kernel_normalise((*C.uint8_t)(&g.Pix[0]), C.int(g.Stride), C.int(g.Width), C.int(template.Width), C.int(template.Height),
		C.int(middle), C.int64_t(sum), C.int64_t(square), (*C.float)(&scores.Score[0]), C.int(scores.Width), C.int(scores.Height), (*C.uint32_t)(unsafe.Pointer(&(*columns)[0])))
}

// patch is where a patch begins among the parts, below 0 where there is nothing of
// it, and its structure tensor; see kernel.h.
type patch = C.kernel_patch

func newPatch(at int, xx, xy, yy float32) patch {
	return patch{at: C.int(at), xx: C.float(xx), xy: C.float(xy), yy: C.float(yy)}
}

// settle moves the patches from places (x, y, x, y, …) to where they fit g best and
// fills in the mean absolute differences left there, negative where one is lost.
func (p *Patches) settle(g Gray, places, left []float32) {
	n := padded(p.side * p.side)
	scratch := borrow(n)
	defer room.Put(scratch)
	C.kernel_follow((*C.uint8_t)(&g.Pix[0]), C.int(g.Stride), C.int(g.Width), C.int(g.Height),
		&p.list[0], C.int(len(p.list)), (*C.float)(unsafe.SliceData(p.parts)), C.int(p.side), C.int(n),
		settleSteps, (*C.float)(&(*scratch)[0]), (*C.float)(&places[0]), (*C.float)(&left[0]))
}
