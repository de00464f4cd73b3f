package track

import "jogstrip/track/flow"

// What of a patch is looked at: less toward its rim, and of a place on the body what its marks
// have in common.

// weigh returns how much each pixel of plane counts in the patch w around at. It holds until the
// next call with the same room, which has memory for cells.
func (fo *follower) weigh(plane flow.Plane, at flow.Point, w flow.Window, room *[]float64) func(x, y float64) float64 {
	rim := newRim(at, w)
	common := fo.clip.common[fo.landmark]
	if common == nil {
		return rim.at
	}
	*room = common.weigh(cellsOf(plane, at, w, *room))
	cells := *room
	left, top, wide, high := at.X-w.Left, at.Y-w.Up, w.Left+w.Right, w.Up+w.Down
	return func(x, y float64) float64 {
		i, j := int(commonSide*(x-left)/wide), int(commonSide*(y-top)/high)
		if x < left || y < top || i >= commonSide || j >= commonSide {
			return 0
		}
		return rim.at(x, y) * cells[j*commonSide+i]
	}
}

// rim is how much a pixel of a patch counts by its place alone: less toward the rim.
type rim struct{ cx, cy, rx, ry float64 }

func newRim(at flow.Point, w flow.Window) rim {
	return rim{at.X + (w.Right-w.Left)/2, at.Y + (w.Down-w.Up)/2, 0.75 * (w.Left + w.Right) / 2, 0.75 * (w.Up + w.Down) / 2}
}

func (r rim) at(x, y float64) float64 { return bell((x-r.cx)/r.rx) * bell((y-r.cy)/r.ry) }
