// Package batch measures every clip of a folder, unattended: it plans what is
// to do, runs one process per clip, survives what these processes die of, and
// writes down what became of every clip.
//
// What a clip is, whether its results still hold and how it is measured are
// given to it as functions (Options); it knows nothing of pictures.
//
// Files of its own lie in the hidden folder .jogstrip below the batch's folder
// and may be deleted at any time: the lock, the ledger (FORMATS.md beside this
// file) and the memory of file hashes. The morning page and its data,
// morning.html and morning.json, lie in the folder itself.
//
// Whatever moment the batch is killed at, a clip's results are the old ones or
// the new ones, whole: a clip's process writes them beside their place and puts
// them there in one step. Starting again goes on, since what is up to date is
// passed over.
package batch
