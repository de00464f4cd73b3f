// Package clip reads phone video through ffmpeg and ffprobe child processes:
// what a clip is, its frames as luma with the clip's own timestamps, single
// pictures for a page, and the writing of small clips for a browser.
//
// Rotation metadata is applied, so every picture is upright as the phone would
// show it. Each frame carries the timestamp that the decoder gave to that very
// frame, so a clip with a variable frame rate, lost packets or a damaged middle
// still has the right time for every frame that could be read.
//
// Nothing here looks at what a picture shows, and nothing writes to a source.
package clip
