//go:build !study

package main

// markKills is how often the program is killed while a script marks and types; with
// -tags study it is more.
const markKills = 2
