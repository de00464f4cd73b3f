package markpage

import (
	"fmt"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// overhearWords keeps what is written on the picture in every painting: the words and
// their box, screen px from the picture's corner.
const overhearWords = `(() => {
	const pen = CanvasRenderingContext2D.prototype, { fillText, fillRect } = pen;
	pen.fillRect = function (x, y, w, h) { if (w === this.canvas.width && h === this.canvas.height) window.written = []; return fillRect.call(this, x, y, w, h); };
	pen.fillText = function (words, x, y) {
		const wide = this.measureText(words).width, high = parseFloat(this.font.match(/([0-9.]+)px/)[1]);
		const left = this.textAlign === 'right' ? x - wide : this.textAlign === 'center' ? x - wide / 2 : x;
		window.written.push({ Words: words, Left: left, Right: left + wide, Top: y - high / 2, Bottom: y + high / 2 });
		return fillText.call(this, words, x, y);
	};
	return true; })()`

type writtenWords struct {
	Words                    string
	Left, Right, Top, Bottom float64
}

func (w writtenWords) covers(v writtenWords) bool {
	return w.Left < v.Right && v.Left < w.Right && w.Top < v.Bottom && v.Top < w.Bottom
}

// The names of marks cover neither each other nor a mark, and none is cut off, also where
// the horse is far away and the window small.
func TestWordsOnThePictureAreRead(t *testing.T) {
	t.Parallel()
	s, visit, truth := oneClip(t)
	const frame = 3
	m := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 960, Height: 540}}
	for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.Head, traj.Chest, traj.LeftShoulder, traj.RightShoulder} {
		p := point(truth, l, frame)
		m.Marks = append(m.Marks, record.At(frame, l, p.X, p.Y))
	}
	m.Calibration = &geometry.CalibrationInput{Frame: frame, Ground: &geometry.GroundMarks{WidthM: 2.5, LengthM: 8, Points: groundPoints(truth, frame)}}
	if err := record.WriteMarks(record.MarksPath(filepath.Join(visit, "toward-1.mp4")), m); err != nil {
		t.Fatal(err)
	}
	b := openBrowser(t, 1366, 768, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('.clip') !== null`)
	eval[bool](b, overhearWords)
	for _, size := range [][2]int64{{1366, 768}, {375, 740}, {683, 384}} {
		b.Do(chromedp.EmulateViewport(size[0], size[1]))
		b.Script(`location.hash = '#/'`)
		b.Wait(`document.querySelector('.clip') !== null`)
		b.view("mark", visitFolder+"/toward-1.mp4")
		b.Begin("toward")
		b.GoTo(frame)
		b.Do(chromedp.KeyEvent("0"))
		for _, step := range []string{"marks", "ground"} {
			b.Script(fmt.Sprintf(`document.querySelector('#step-%s').click()`, step))
			b.Rested()
			where := fmt.Sprintf("%d × %d, %s", size[0], size[1], step)
			words := eval[[]writtenWords](b, `new Promise((r) => setTimeout(() => r(window.written), 200))`)
			if len(words) < 4 {
				t.Errorf("%s: on the picture stands %v", where, words)
			}
			box := eval[[]float64](b, `(() => { const c = document.querySelector('canvas.picture'); return [c.width, c.height, ...[...document.querySelectorAll('.edge')].map((e) => e.getBoundingClientRect().width)]; })()`)
			for i, w := range words {
				if w.Left < box[2] || w.Right > box[0]-box[3] || w.Top < 0 || w.Bottom > box[1] {
					t.Errorf("%s: %q is cut off: it lies from %.0f to %.0f of %.0f across", where, w.Words, w.Left, w.Right, box[0])
				}
				for _, v := range words[i+1:] {
					if w.covers(v) {
						t.Errorf("%s: %q and %q lie on each other", where, w.Words, v.Words)
					}
				}
				if step == "ground" {
					continue
				}
				for _, k := range m.Marks {
					x, y := b.onCanvas(*k.X, *k.Y)
					if w.covers(writtenWords{Left: x - 9, Right: x + 9, Top: y - 9, Bottom: y + 9}) {
						t.Errorf("%s: %q lies on the mark of %s", where, w.Words, k.Landmark)
					}
				}
			}
			b.Shoot(fmt.Sprintf("%d-%s", size[0], step))
		}
	}
	b.Silent()
}

// onCanvas returns where a position of the clip's picture lies, screen px from the
// picture's corner.
func (b *browser) onCanvas(x, y float64) (px, py float64) {
	at := eval[[]float64](b, fmt.Sprintf(`(() => { const d = document.querySelector('canvas.picture'), s = Number(d.dataset.scale); return [d.width / 2 + (%f - Number(d.dataset.cx)) * s, d.height / 2 + (%f - Number(d.dataset.cy)) * s]; })()`, x, y))
	return at[0], at[1]
}
