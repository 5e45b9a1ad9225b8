package trial

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
)

// parallel calls do for 0 to n-1 on so many workers, one a core when workers
// is 0. After an error, or once ctx has ended, no further calls begin; the
// errors are joined, with that of ctx when it kept some call from being made.
func parallel(ctx context.Context, workers, n int, do func(i int) error) error {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	var failed, cut atomic.Bool
	errs := make([]error, n)
	var group sync.WaitGroup
	for range min(workers, n) {
		group.Go(func() {
			for !failed.Load() {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				if ctx.Err() != nil {
					cut.Store(true)
					return
				}
				if errs[i] = do(i); errs[i] != nil {
					failed.Store(true)
				}
			}
		})
	}
	group.Wait()
	if err := errors.Join(errs...); err != nil {
		return err
	}
	if cut.Load() {
		return ctx.Err()
	}
	return nil
}
