package phone

import (
	"bytes"
	"path"
	"slices"
	"strings"
)

// container is a kind of file that films come in.
type container struct {
	name string
	is   func(head []byte) bool
	exts []string // The first is given to files whose own ending does not fit.
}

// The containers that phones and cameras write, by how their files begin:
// ISO/IEC 14496-12 (a box with a size and one of these types), RFC 8794 (EBML),
// RIFF/AVI, ISO/IEC 13818-1 (packets of 188 bytes, or 192 with a time stamp, and
// pack headers).
var containers = []container{
	{"MP4 or MOV", func(h []byte) bool {
		return len(h) >= 12 && slices.Contains([]string{"ftyp", "moov", "mdat", "wide", "free", "skip", "pnot"}, string(h[4:8]))
	}, []string{".mp4", ".mov", ".m4v", ".3gp"}},
	{"Matroska or WebM", func(h []byte) bool { return bytes.HasPrefix(h, []byte{0x1a, 0x45, 0xdf, 0xa3}) }, []string{".mkv", ".webm"}},
	{"AVI", func(h []byte) bool {
		return len(h) >= 12 && string(h[:4]) == "RIFF" && string(h[8:12]) == "AVI "
	}, []string{".avi"}},
	{"MPEG transport stream", func(h []byte) bool {
		return len(h) > 376 && (h[0] == 0x47 && h[188] == 0x47 && h[376] == 0x47) || len(h) > 388 && h[4] == 0x47 && h[196] == 0x47 && h[388] == 0x47
	}, []string{".mts"}},
	{"MPEG", func(h []byte) bool { return bytes.HasPrefix(h, []byte{0, 0, 1, 0xba}) }, []string{".mpg", ".mpeg"}},
}

func containerOf(head []byte) *container {
	for i := range containers {
		if containers[i].is(head) {
			return &containers[i]
		}
	}
	return nil
}

// whatItIs refuses what begins like no film, in words for the handler.
func whatItIs(head []byte) error {
	if containerOf(head) != nil {
		return nil
	}
	text := strings.ToLower(string(head[:min(len(head), 512)]))
	why := "it is no film of a kind that phones write"
	switch {
	case bytes.HasPrefix(head, []byte("PK")), bytes.HasPrefix(head, []byte{0x1f, 0x8b}), bytes.HasPrefix(head, []byte("7z\xbc\xaf")), bytes.HasPrefix(head, []byte("Rar!")):
		why = "it is a packed archive: send the film itself"
	case strings.HasPrefix(text, "#extm3u"), strings.HasPrefix(text, "ffconcat"), strings.HasPrefix(text, "<?xml"), strings.HasPrefix(text, "[playlist]"):
		why = "it is a list of films and no film"
	case bytes.HasPrefix(head, []byte{0xff, 0xd8, 0xff}), bytes.HasPrefix(head, []byte("\x89PNG")), bytes.HasPrefix(head, []byte("GIF8")):
		why = "it is a photograph and no film"
	}
	return &errRefused{why}
}

// extension returns the ending for a file: its own where it fits the contents.
func extension(name string, head []byte) string {
	c := containerOf(head)
	if c == nil {
		return ".mp4"
	}
	if ext := strings.ToLower(path.Ext(name)); slices.Contains(c.exts, ext) {
		return ext
	}
	return c.exts[0]
}
