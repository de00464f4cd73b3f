//go:build study

package main

import "testing"

// long lets a test run that takes longer than every run has time for.
func long(*testing.T) {}
