package trial_test

import (
	"bytes"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/sim"
)

// watch is what the observer sees of one bench.
type watch struct {
	contacts  []*sim.LinePin // both main contacts
	first     *sim.LinePin
	preCharge *sim.LinePin
	beat      *sim.LinePin

	mu         sync.Mutex
	pulses     uint64
	pulse      time.Time // the last one seen
	polled     time.Time
	on, closed bool
	lastOn     time.Time // the last look at which the unit had supply
	lastClosed time.Time // the last look at which contacts were closed
	ever       bool
	gap        time.Duration // the longest between two looks since marked
}

func newWatch(t *testing.T, dir string) *watch {
	pin := func(name string) *sim.LinePin {
		p, err := sim.OpenLines(dir).Pin(name)
		require.NoError(t, err)
		t.Cleanup(func() { _ = p.Close() })
		return p
	}
	w := &watch{first: pin(sim.SwitchName), preCharge: pin(sim.PreChargeName), beat: pin(sim.HeartbeatName)}
	w.contacts = []*sim.LinePin{w.first, pin(sim.SecondName)}
	w.pulses = w.beat.Changes()
	return w
}

func (w *watch) look(now time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.closed = w.first.Read() == gpio.High && (w.contacts[1].Read() == gpio.High || w.preCharge.Read() == gpio.High)
	if n := w.beat.Changes(); n != w.pulses {
		w.pulses, w.pulse = n, now
	}
	w.on = w.closed && !w.pulse.IsZero() && now.Sub(w.pulse) < relayHold
	if w.on {
		w.lastOn, w.ever = now, true
	}
	if w.closed {
		w.lastClosed = now
	}
	if !w.polled.IsZero() {
		w.gap = max(w.gap, now.Sub(w.polled))
	}
	w.polled = now
}

// mark begins a new longest gap and says whether the unit has supply.
func (w *watch) mark() (on bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.gap = 0
	return w.on
}

func (w *watch) seen() (on, closed, ever bool, lastOn, lastClosed time.Time, gap time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.on, w.closed, w.ever, w.lastOn, w.lastClosed, w.gap
}

// observer looks at every bench all the time, on a thread of its own, and
// keeps how far apart its looks are.
type observer struct {
	mu      sync.Mutex
	watches map[*watch]bool
	gaps    []time.Duration
	stop    chan struct{}
	done    sync.WaitGroup
	urgent  bool
}

func startObserver() *observer {
	o := &observer{watches: map[*watch]bool{}, stop: make(chan struct{})}
	ready := make(chan struct{})
	o.done.Go(func() {
		runtime.LockOSThread()
		o.urgent = unix.SchedSetAttr(0, &unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Priority: 60}, 0) == nil
		if !o.urgent {
			_ = unix.Setpriority(unix.PRIO_PROCESS, unix.Gettid(), -20)
		}
		close(ready)
		pause := unix.NsecToTimespec(int64(250 * time.Microsecond))
		was := time.Now()
		for {
			select {
			case <-o.stop:
				return
			default:
			}
			_ = unix.Nanosleep(&pause, nil)
			now := time.Now()
			o.mu.Lock()
			o.gaps = append(o.gaps, now.Sub(was))
			for w := range o.watches {
				w.look(now)
			}
			o.mu.Unlock()
			was = now
		}
	})
	<-ready
	return o
}

func (o *observer) add(w *watch) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.watches[w] = true
}

func (o *observer) remove(w *watch) {
	o.mu.Lock()
	defer o.mu.Unlock()
	delete(o.watches, w)
}

func (o *observer) end() []time.Duration {
	close(o.stop)
	o.done.Wait()
	return o.gaps
}

// quantile is the value below which the share p of the sorted values lies.
func quantile(sorted []time.Duration, p float64) time.Duration {
	if len(sorted) == 0 {
		return 0
	}
	return sorted[min(int(p*float64(len(sorted))), len(sorted)-1)]
}

// report prints what came of the runs, by what happened to them.
func (k *kills) report(gaps []time.Duration, took time.Duration) {
	slices.Sort(gaps)
	var b bytes.Buffer
	fmt.Fprintf(&b, "\nseed %d, %d runs in %.0f s, observer looks every %v at the median, %v at 99 %%, %v at most (real-time priority: %t)\n",
		killSeed, len(k.fates), took.Seconds(), quantile(gaps, 0.5), quantile(gaps, 0.99), gaps[len(gaps)-1], k.observer.urgent)
	groups := map[string][]fate{}
	for _, f := range k.fates {
		groups[f.kind()] = append(groups[f.kind()], f)
		if len(f.blows) == 1 {
			groups["one signal"] = append(groups["one signal"], f)
		} else {
			groups["two signals"] = append(groups["two signals"], f)
		}
	}
	names := make([]string, 0, len(groups))
	for name := range groups {
		names = append(names, name)
	}
	slices.Sort(names)
	fmt.Fprintf(&b, "%-32s %5s %9s %9s %9s %9s %10s %11s\n", "", "runs", "with on", "median", "99 %", "longest", "jitter", "relay only")
	for _, name := range names {
		var off []time.Duration
		var jitter time.Duration
		on, relay := 0, 0
		for _, f := range groups[name] {
			jitter = max(jitter, f.jitter)
			if f.wasOn {
				on++
				off = append(off, f.off)
			}
			if f.relay {
				relay++
			}
		}
		slices.Sort(off)
		ms := func(d time.Duration) string { return fmt.Sprintf("%.1f ms", d.Seconds()*1e3) }
		longest := time.Duration(0)
		if len(off) > 0 {
			longest = off[len(off)-1]
		}
		fmt.Fprintf(&b, "%-32s %5d %9d %9s %9s %9s %10s %11d\n", name, len(groups[name]), on, ms(quantile(off, 0.5)), ms(quantile(off, 0.99)), ms(longest), ms(jitter), relay)
	}
	fmt.Fprintf(&b, "%d runs ended by themselves before the signal, and were tried again\n", len(k.void))
	for _, why := range k.void[:min(len(k.void), 20)] {
		fmt.Fprintf(&b, "  %s\n", strings.Join(strings.Fields(why), " "))
	}
	k.t.Log(b.String())
}
