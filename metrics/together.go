package metrics

import (
	"runtime"
	"sync"
)

// together calls do with 0 to n−1, on as many processors as there are. Each call
// must keep to what is its own, so that neither their order nor the number of
// processors changes a result.
func together(n int, do func(i int)) {
	workers := min(n, runtime.GOMAXPROCS(0))
	if workers < 2 {
		for i := range n {
			do(i)
		}
		return
	}
	var all sync.WaitGroup
	for w := range workers {
		all.Go(func() {
			for i := w; i < n; i += workers {
				do(i)
			}
		})
	}
	all.Wait()
}
