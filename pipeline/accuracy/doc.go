// Package accuracy holds what the program's results are worth: tests that
// render clips, measure them as a user would, and set the results files beside
// the renderer's truth; the three sets of hard clips and what each may be used for
// (Set); the yardstick that counts apart for every view, part and measure
// (Yardstick); and the comparison of real film with hand readings (JudgeReal).
// Nothing imports it.
package accuracy
