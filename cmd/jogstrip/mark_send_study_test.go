//go:build study

package main

import "testing"

// TestSendingThroughManyKillsStudy is TestSendingThroughKills with 50 kills.
func TestSendingThroughManyKillsStudy(t *testing.T) { sendThroughKills(t, 50) }
