package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"jogstrip/pipeline"
)

func newHistoryCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "history HORSE",
		Short: "Show all visits of a horse on one page",
		Long: `Write a report on all visits of a horse: the score and the followed measures with
their intervals over time, and below them, on the same axis, soreness and
treatments. HORSE is the folder that holds the visit folders.

The report goes into history.out, for the screen (report.html) and for paper
(report.pdf, details.pdf). The numbers are in history.json, history.csv, visits.csv
and soreness.csv; columns.csv explains every column.`,
		Example: `  jogstrip history yard/horses/bramble`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			defer promptly(cmd.Context(), a.stderr)()
			return runHistory(cmd.Context(), a, args[0])
		},
	}
}

func runHistory(ctx context.Context, a *app, horse string) error {
	p := program()
	h, err := pipeline.History(ctx, horse, pipeline.CompareOptions{Program: p})
	if err != nil {
		return err
	}
	for _, n := range h.Notes {
		fmt.Fprintf(a.stderr, "jogstrip: note: %s\n", n)
	}
	visits := fmt.Sprintf("%d visits.", h.Visits)
	if h.Visits == 1 {
		visits = "1 visit."
	}
	fmt.Fprintf(a.stdout, "%s\nreport: %s\n", strings.TrimSpace(visits+" "+h.Finding), filepath.Join(h.Folder, pipeline.ReportFile))
	return partly(a, h.Problems)
}
