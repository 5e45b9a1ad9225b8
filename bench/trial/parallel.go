package trial

import (
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
)

// parallel calls do for 0 to n-1 on so many workers, one a core when workers
// is 0. After an error no further calls begin; the errors are joined.
func parallel(workers, n int, do func(i int) error) error {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	var failed atomic.Bool
	errs := make([]error, n)
	var group sync.WaitGroup
	for range min(workers, n) {
		group.Go(func() {
			for !failed.Load() {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				if errs[i] = do(i); errs[i] != nil {
					failed.Store(true)
				}
			}
		})
	}
	group.Wait()
	return errors.Join(errs...)
}
