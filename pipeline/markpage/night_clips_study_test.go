//go:build study

package markpage

// nightClips is how many clips of each of the two set-ups the night's test marks.
const nightClips = 6
