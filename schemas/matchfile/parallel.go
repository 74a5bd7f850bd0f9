package matchfile

import (
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
)

// maxWorkers bounds the memory of scratch buffers on large machines; the files are small.
const maxWorkers = 4

// maxWaiting is how many results may wait for their turn, or be in the making.
const maxWaiting = 4 * maxWorkers

// inOrder computes make(0) to make(n-1) on several goroutines and hands the results to
// use one after another in order, from the goroutine of the caller. Each goroutine has
// its own function of newWorker. At most a few results wait for their turn. The first
// error, in order, ends it, and all goroutines have ended on return. A panic of a worker
// (a library on data it did not expect) comes back as an error.
func inOrder[T any](n int, newWorker func() func(int) (T, error), use func(int, T) error) error {
	type result struct {
		v   T
		err error
	}
	workers := min(n, runtime.GOMAXPROCS(0), maxWorkers)
	slots := make([]chan result, n)
	for i := range slots {
		slots[i] = make(chan result, 1)
	}
	tokens := make(chan struct{}, 4*workers)
	quit := make(chan struct{})
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			work := newWorker()
			for {
				select {
				case tokens <- struct{}{}:
				case <-quit:
					return
				}
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				var r result
				r.v, r.err = guarded(work, i)
				slots[i] <- r
			}
		})
	}
	defer wg.Wait()
	defer close(quit)
	for i := range n {
		r := <-slots[i]
		<-tokens
		if r.err != nil {
			return r.err
		}
		if err := use(i, r.v); err != nil {
			return err
		}
	}
	return nil
}

func guarded[T any](work func(int) (T, error), i int) (v T, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("unexpected: %v", p)
		}
	}()
	return work(i)
}
