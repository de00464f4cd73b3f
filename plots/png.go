package plots

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"io"
)

// writePNG writes an opaque picture as an 8-bit truecolour PNG. The encoder of the
// standard library tries five filters on every row, which costs more than to draw
// the figure. Figures are mostly rows like the one above and runs of one colour,
// which one filter turns into zeros; deflate at its fastest packs these well.
//
// The format is that of the PNG specification, third edition (W3C 2025), from
// memory; the test reads it back with the standard library.
func writePNG(w io.Writer, m *image.RGBA) error {
	width, height := m.Rect.Dx(), m.Rect.Dy()
	if width <= 0 || height <= 0 {
		return fmt.Errorf("picture of %d×%d: must hold a pixel", width, height)
	}
	var packed bytes.Buffer
	z, err := zlib.NewWriterLevel(&packed, zlib.BestSpeed)
	if err != nil {
		return err
	}
	const filterUp = 2 // Every byte less the one above it.
	line := make([]byte, 1+3*width)
	line[0] = filterUp
	above := make([]byte, 4*width) // The row above the first counts as zeros.
	for y := range height {
		row := m.Pix[y*m.Stride:][:4*width]
		if y > 0 && bytes.Equal(row, above) {
			clear(line[1:])
		} else {
			for x := range width {
				p, q, out := row[4*x:][:4], above[4*x:][:4], line[1+3*x:][:3]
				if p[3] != 0xff {
					return fmt.Errorf("pixel (%d, %d) is not opaque", x, y)
				}
				out[0], out[1], out[2] = p[0]-q[0], p[1]-q[1], p[2]-q[2]
			}
		}
		if _, err := z.Write(line); err != nil {
			return err
		}
		above = row
	}
	if err := z.Close(); err != nil {
		return err
	}
	header := make([]byte, 13)
	binary.BigEndian.PutUint32(header, uint32(width))
	binary.BigEndian.PutUint32(header[4:], uint32(height))
	header[8], header[9] = 8, 2 // Bits a sample; truecolour.
	if _, err := io.WriteString(w, "\x89PNG\r\n\x1a\n"); err != nil {
		return err
	}
	for _, c := range []struct {
		kind string
		data []byte
	}{{"IHDR", header}, {"IDAT", packed.Bytes()}, {"IEND", nil}} {
		if err := writeChunk(w, c.kind, c.data); err != nil {
			return err
		}
	}
	return nil
}

func writeChunk(w io.Writer, kind string, data []byte) error {
	head := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	head = append(head, kind...)
	sum := crc32.NewIEEE()
	sum.Write(head[4:])
	sum.Write(data)
	for _, part := range [][]byte{head, data, binary.BigEndian.AppendUint32(nil, sum.Sum32())} {
		if _, err := w.Write(part); err != nil {
			return err
		}
	}
	return nil
}
