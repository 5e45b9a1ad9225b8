package ds18b20

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"
)

// ErrNone marks that no reading has come yet.
var ErrNone = errors.New("no reading has come yet")

// Watch is a sensor that is read over and over on a goroutine of its own.
type Watch struct {
	dev    *Dev
	latest atomic.Pointer[outcome]
	once   sync.Once
	stop   chan struct{}
	done   chan struct{}
}

// outcome is what the last try came to, and the last reading that was one.
type outcome struct {
	reading Reading
	err     error
}

// Watch begins to read, with a pause between readings; without one a sensor
// is read about once a second. The clock must be one that goroutines may
// share, as clock.Real; a simulated one must not be: use Read.
func (d *Dev) Watch(pause time.Duration) *Watch {
	w := &Watch{dev: d, stop: make(chan struct{}), done: make(chan struct{})}
	w.latest.Store(&outcome{err: fmt.Errorf("ds18b20: %s: %w", d.id, ErrNone)})
	go w.run(max(pause, shortest))
	return w
}

// shortest keeps a sensor that fails at once from being asked without end;
// chosen.
const shortest = 50 * time.Millisecond

func (w *Watch) run(pause time.Duration) {
	defer close(w.done)
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-w.stop:
			return
		case <-timer.C:
		}
		r, err := w.dev.Read()
		if err != nil {
			r = w.latest.Load().reading
		}
		w.latest.Store(&outcome{r, err})
		timer.Reset(pause)
	}
}

// Latest is the newest reading with its time; it does not wait. The error says
// why the last try gave none; the reading is then the last that was one, and
// the zero Reading when there has been none.
func (w *Watch) Latest() (Reading, error) {
	o := w.latest.Load()
	return o.reading, o.err
}

// patience is how long Stop waits for a reading that is under way: two tries
// of two conversions of 750 ms.
const patience = 3500 * time.Millisecond

// Stop ends the watch. A reading under way is waited for, but not for ever: an
// error says that the kernel still has not come back from it.
func (w *Watch) Stop() error {
	w.once.Do(func() { close(w.stop) })
	timer := time.NewTimer(patience)
	defer timer.Stop()
	select {
	case <-w.done:
		return nil
	case <-timer.C:
		return fmt.Errorf("ds18b20: %s: a reading has not ended after %v: the kernel's one-wire bus hangs; start the board anew", w.dev.id, patience)
	}
}
