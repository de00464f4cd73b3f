// Package clip reads phone video: what a clip is, its frames as luma with the
// clip's own timestamps, single pictures for a page, and the writing of small
// clips for a browser.
//
// Frames are decoded in the process by FFmpeg's libraries (decode.c), and are
// handed out from the decoder's own memory where it keeps them as rows without
// gaps: reading a clip costs what decoding it costs. Their bytes are those of
//
//	ffmpeg -noautorotate -i CLIP -vf extractplanes=y -pix_fmt gray -f rawvideo
//
// turned upright, which the tests compare. The ffmpeg program codes videos and
// makes single pictures.
//
// A fault inside the libraries would end the process, which Go cannot catch; see
// ProbeAside for whoever must outlive a bad clip.
//
// Rotation metadata is applied, so every picture is upright as the phone would
// show it. Each frame carries the timestamp that the decoder gave to that very
// frame, so a clip with a variable frame rate, lost packets or a damaged middle
// still has the right time for every frame that could be read.
//
// Nothing here looks at what a picture shows, and nothing writes to a source.
package clip
