// Package pipeline runs the job: it finds clips, measures each one into its
// out folder, runs the batch over a folder of them, and compares visits. It
// decides the order of things and which files they go to; what is measured and
// how is the business of packages track and metrics.
package pipeline
