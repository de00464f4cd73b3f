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
// A clip that is damaged is read again with care (OpenOptions.Careful): frames that were
// decoded with errors, are predicted from such frames, or did not come are known, keep
// their places, and are shown by the whole frame before. Noticed are errors that FFmpeg
// tells of, missing parts that it makes up, data that the container calls incomplete,
// bytes that cannot be those of H.264 or HEVC (a hole of zeros always holds such), and
// parts of HEVC pictures that were left as they were. Not noticed are wrong bytes that
// decode to the end of a picture all the same: of 42 clips with one wrong byte, or noise
// of 512 or 4,096 bytes, six (three of HEVC, two of motion JPEG, one of H.264), none of
// which changed the side that was named (TestStrangeClips).
//
// Nothing here looks at what a picture shows, and nothing writes to a source.
package clip
