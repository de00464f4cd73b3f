// Package proc starts, ends and watches processes in the way of the system that it is
// built for. What a system lacks is done in a slower or coarser way, which is said where
// it is done.
package proc
