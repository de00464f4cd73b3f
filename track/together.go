package track

import (
	"cmp"
	"runtime"
	"sync"
)

// hands are the processors that work on a clip, as tokens to be taken. More
// goroutines than processors would only get into each other's way: what calls into
// C for long keeps a thread, and the scheduler starts others.
type hands chan struct{}

func newHands() hands {
	h := make(hands, runtime.GOMAXPROCS(0))
	for range cap(h) {
		h <- struct{}{}
	}
	return h
}

// together calls do with 0 to n−1 and returns the error of the lowest number. The
// caller holds a hand; where others are free they take part. Each call must keep to
// what is its own, so that neither order nor number of hands changes a result.
func (h hands) together(n int, do func(i int) error) error {
	errs := make([]error, n)
	var others sync.WaitGroup
	for i := range n {
		if i == n-1 {
			errs[i] = do(i)
			break
		}
		select {
		case <-h:
			others.Go(func() {
				defer func() { h <- struct{}{} }()
				errs[i] = do(i)
			})
		default:
			errs[i] = do(i)
		}
	}
	others.Wait()
	return cmp.Or(errs...)
}
