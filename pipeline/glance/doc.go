// Package glance finds the words of a report's first page: one sentence that says what
// was found or what changed and how sure that is, and one row for each question that a
// reader asks of a horse that is trotted up.
//
// It takes what package metrics found and decides nothing anew: a side, a limb, a
// verdict is told only where metrics tells it.
//
// # Which way a bar points
//
// A row's values are multiples of the measure's tolerance, so that rows of millimetres,
// centimetres and percent share one scale. Positive is to the right: the right side is
// the one with the shorter step, the one over which head, withers or croup are carried
// higher, the one whose hip moves more, the one whose shoulder is lifted less, or the one to
// which the quarters go, the head is carried and the trunk swings further. In words the row
// always names the side.
package glance
