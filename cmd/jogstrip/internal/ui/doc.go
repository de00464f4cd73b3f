// Package ui shows what a batch does: bars on a terminal, a line for every
// clip elsewhere, JSON lines for programs. The batch tells events; a printer
// draws them.
package ui
