// Package doubt holds a result against its inputs and against what horses and
// phones can do, and says what contradicts what.
//
// Wrong input gives numbers that look like any others: sides swapped in the marks
// name the other limb, feet typed for metres make a horse of three metres. The
// numbers themselves mostly tell. A Doubt is one such contradiction, in a sentence,
// with what to look at, and with what follows from it: nothing is told (refuse),
// numbers are told and no limb is named until a person has looked (second look), or
// it is only said (note).
//
// OfMarks looks at the marks alone, before anything is measured; OfRun at what was
// measured. Both are functions of their arguments alone. Every bound is in the table
// of bounds.go with where it comes from.
//
// How often it is wrong, by JOGSTRIP_PASSES=60 go test ./pipeline/doubt -run RightOnes -v
// (check material: simulated passes of both views and all gaits, horses of 1.2 to 1.75 m,
// with the losses that tracking has): of 1,560 passes that are as they should be none
// is doubted but for 101 of which the finding hangs on limbs that were not seen to
// stand; of 18 rendered clips of the demo that were really tracked, none. What becomes of
// mistaken and of right inputs on rendered clips is told by ./scripts/study mistakes.
//
// A person who has looked and found that it is so says it in the marks file
// ("confirmed", the doubts' kinds); those second looks are notes from then on.
package doubt
