package clip

// Threads is how many threads decode a clip.
var Threads = threads
