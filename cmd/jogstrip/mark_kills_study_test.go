//go:build study

package main

// markKills is how often the program is killed while a script marks and types.
const markKills = 50
