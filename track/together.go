package track

import (
	"runtime"
	"sync"
)

// together calls do with 0 to n−1, several at once where there are processors for
// it, and returns the error of the lowest number. Each call must keep to what is
// its own, so that the order does not matter.
func together(n int, do func(i int) error) error {
	if n < 2 || runtime.GOMAXPROCS(0) < 2 {
		for i := range n {
			if err := do(i); err != nil {
				return err
			}
		}
		return nil
	}
	errs := make([]error, n)
	var others sync.WaitGroup
	for i := 1; i < n; i++ {
		others.Go(func() { errs[i] = do(i) })
	}
	errs[0] = do(0)
	others.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
