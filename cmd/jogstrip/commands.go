package main

import "github.com/spf13/cobra"

// commands lists every command in the order of the job.
func commands(a *app) []*cobra.Command {
	return []*cobra.Command{
		newGuideCommand(a),
		newCheckCommand(a),
		newMarkCommand(a),
		newMeasureCommand(a),
		newBatchCommand(a),
		newMergeCommand(a),
		newCompareCommand(a),
		newHistoryCommand(a),
		newDemoCommand(a),
		newVersionCommand(a),
		newWorkerCommand(a),
		newProbeCommand(a),
		newProposeCommand(a),
		newManualCommand(),
	}
}
