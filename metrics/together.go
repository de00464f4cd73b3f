package metrics

import (
	"runtime"

	"golang.org/x/sync/errgroup"
)

// together calls do with 0 to n−1, on as many processors as there are. Each call
// must keep to what is its own, so that neither their order nor the number of
// processors changes a result.
func together(n int, do func(i int)) {
	var all errgroup.Group
	all.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		all.Go(func() error {
			do(i)
			return nil
		})
	}
	_ = all.Wait() // No call returns an error.
}
