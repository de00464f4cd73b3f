//go:build !study

package markpage

// nightClips is how many clips of each of the two set-ups the night's test marks;
// with -tags study it is six.
const nightClips = 2
