// Package accuracy holds what the program's results are worth: tests that
// render clips, measure them as a user would, and set the results files beside
// the renderer's truth. Nothing imports it.
package accuracy
