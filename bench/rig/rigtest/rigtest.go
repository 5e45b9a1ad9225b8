package rigtest

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
)

// Conform checks a rig. open gives a new one each time, and may end the test
// when it cannot.
func Conform(t T, open func() *rig.Rig) {
	t.Helper()
	for _, f := range []func(T, *rig.Rig){whole, off, samples, restart, lines, load, told, allocations} {
		r := open()
		f(t, r)
		need(t, r.Close(), "close")
	}
}

// Means are what a test can do to a rig from outside.
type Means struct {
	KillBus func(error) // fails every later transaction with the error
	Press   func(bool)  // presses and releases the stop input
}

// ConformFaults checks what a rig does when something fails.
func ConformFaults(t T, open func() (*rig.Rig, Means)) {
	t.Helper()
	r, m := open()
	var s rig.Sample
	need(t, r.Sampler.Start(), "start")
	need(t, r.Sampler.Next(&s), "next")
	if m.Press != nil && r.Stop != nil {
		check(t, r.Stop.Read() == gpio.High, "stop input reads pressed")
		m.Press(true)
		check(t, r.Stop.Read() == gpio.Low, "stop input does not read pressed")
		m.Press(false)
		check(t, r.Stop.Read() == gpio.High, "stop input stays pressed")
	}
	dead := errors.New("the bus is dead")
	m.KillBus(dead)
	err := r.Sampler.Next(&s)
	check(t, errors.Is(err, dead), "a sample from a dead bus gives %v, which does not wrap the bus's error", err)
	check(t, err != nil && strings.Contains(err.Error(), "0x"), "error %v does not say which chip", err)
	err = r.Sampler.Stop()
	check(t, errors.Is(err, dead), "stop on a dead bus gives %v", err)
	check(t, r.Switch.Set(guard.NoPath, 0) == nil, "the switch cannot be put off while the bus is dead")
	check(t, r.Line.Release() == nil, "the line cannot be released while the bus is dead")
}

// whole: nothing is missing.
func whole(t T, r *rig.Rig) {
	t.Helper()
	check(t, r.Name != "", "the rig has no name")
	check(t, r.Clock != nil && r.Switch != nil && r.Line != nil && r.Sampler != nil && r.Close != nil, "the rig lacks a part: %+v", r)
	check(t, len(r.Facts) > 0, "the rig states no facts")
	for _, f := range r.Facts {
		check(t, f.Key != "" && f.Value != "", "empty fact %+v", f)
	}
	a := r.Accuracy
	for _, v := range []float64{a.CurrentGain, a.CurrentOffset_A, a.CurrentStep_A, a.CurrentRange_A, a.VoltageGain, a.VoltageOffset_V, a.VoltageStep_V} {
		check(t, v > 0 && !math.IsInf(v, 0), "accuracy %+v has an entry that is not above zero", a)
	}
	check(t, a.ReferenceDocument != "", "accuracy names no source")
	if r.Stop != nil {
		check(t, r.Stop.Read() == gpio.High, "the stop input reads pressed: release it, or check its pull-up")
	}
}

// off: after open, the supply is off: no current, no voltage at the plug.
func off(t T, r *rig.Rig) {
	t.Helper()
	need(t, r.Sampler.Start(), "start")
	var s rig.Sample
	sum, n, volts := 0.0, 0, 0
	for end := r.Clock.Now() + 500*time.Millisecond; r.Clock.Now() < end; n++ {
		need(t, r.Sampler.Next(&s), "next")
		sum += s.Current_A
		check(t, !s.Clipped, "a clipped current with the supply off")
		if !math.IsNaN(s.Supply_V) {
			volts++
			check(t, math.Abs(s.Supply_V) < 0.5, "%g V at the plug with the supply off", s.Supply_V)
		}
	}
	within(t, "mean current with the supply off", sum/float64(n), 0, 3*r.Accuracy.CurrentOffset_A+r.Accuracy.CurrentStep_A)
	check(t, volts > 0, "the supply is not sampled")
}

// samples: times increase by the interval, none are lost, all channels come.
func samples(t T, r *rig.Rig) {
	t.Helper()
	begun := r.Clock.Now()
	need(t, r.Sampler.Start(), "start")
	interval := r.Sampler.Interval()
	check(t, interval > 0, "interval of %v", interval)
	var s, first rig.Sample
	need(t, r.Sampler.Next(&first), "next")
	check(t, first.At >= begun && first.At < r.Clock.Now(), "first sample at %v, started at %v", first.At, begun)
	check(t, first.Lost == 0, "%d lost before the first sample", first.Lost)
	last, n, lost, supply, line, temperature, others := first.At, 0, 0, 0, 0, 0, 0
	for r.Clock.Now() < begun+time.Second {
		need(t, r.Sampler.Next(&s), "next")
		n++
		lost += s.Lost
		others += s.Other
		step := float64(s.At-last) / float64(interval)
		check(t, step > 0, "sample %d at %v, not after %v", n, s.At, last)
		check(t, math.Abs(step-float64(1+s.Lost+s.Other)) < 0.35, "sample %d is %g intervals after the last with %d lost and %d of other channels", n, step, s.Lost, s.Other)
		age := float64(r.Clock.Now()-s.At) / float64(interval)
		check(t, age > 0.4 && age < 3, "sample %d is %g intervals old", n, age)
		last = s.At
		for _, c := range []struct {
			v float64
			n *int
		}{{s.Supply_V, &supply}, {s.Line_V, &line}, {s.Temperature_C, &temperature}} {
			if !math.IsNaN(c.v) {
				*c.n++
			}
		}
	}
	within(t, "mean interval in µs", microseconds(last-first.At)/float64(n+lost+others), microseconds(interval), 0.1*microseconds(interval))
	check(t, lost <= n/100, "%d of %d samples lost: choose a longer conversion time", lost, n)
	check(t, supply >= 20 && line >= 20 && temperature >= 1, "in one second %d samples of the supply, %d of the line, %d of the temperature", supply, line, temperature)
}

// restart: the sampler says no when it is not started, and starts again.
func restart(t T, r *rig.Rig) {
	t.Helper()
	var s rig.Sample
	err := r.Sampler.Next(&s)
	check(t, errors.Is(err, rig.ErrStopped), "a sample before the start gives %v", err)
	check(t, r.Sampler.Stop() == nil, "a stop before the start fails")
	last := r.Clock.Now()
	for range 3 {
		need(t, r.Sampler.Start(), "start")
		err := r.Sampler.Start()
		check(t, errors.Is(err, rig.ErrStarted), "a second start gives %v", err)
		for i := range 10 {
			need(t, r.Sampler.Next(&s), "next")
			check(t, s.At > last, "sample at %v is from before %v", s.At, last)
			check(t, i > 0 || s.Lost == 0, "%d lost over a stop", s.Lost)
			last = s.At
		}
		need(t, r.Sampler.Stop(), "stop")
		last = r.Clock.Now()
		err = r.Sampler.Next(&s)
		check(t, errors.Is(err, rig.ErrStopped), "a sample after the stop gives %v", err)
		r.Clock.Sleep(3 * time.Millisecond)
	}
}

// lines: the line can be driven, held and released; what cannot be is
// refused before it reaches the pin.
func lines(t T, r *rig.Rig) {
	t.Helper()
	for _, duty := range []float64{0, 0.001, 5, 50, 99.999, 100} {
		for _, f := range []physic.Frequency{100 * physic.Hertz, 1000 * physic.Hertz} {
			need(t, r.Line.Drive(duty, f), "drive")
			r.Clock.Sleep(time.Millisecond)
		}
	}
	need(t, r.Line.HoldLow(), "hold low")
	need(t, r.Line.HoldHigh(), "hold high")
	need(t, r.Line.Release(), "release")
	for _, c := range []struct {
		duty float64
		f    physic.Frequency
	}{
		{-0.1, physic.KiloHertz}, {100.1, physic.KiloHertz}, {math.NaN(), physic.KiloHertz}, {math.Inf(1), physic.KiloHertz},
		{50, 0}, {50, -physic.Hertz}, {50, physic.MegaHertz},
	} {
		check(t, r.Line.Drive(c.duty, c.f) != nil, "a line duty of %g %% at %v is taken", c.duty, c.f)
	}
}

// allocations: sampling does not allocate.
func allocations(t T, r *rig.Rig) {
	t.Helper()
	need(t, r.Sampler.Start(), "start")
	var s rig.Sample
	var err error
	n := testing.AllocsPerRun(500, func() {
		if e := r.Sampler.Next(&s); e != nil {
			err = e
		}
	})
	need(t, err, "next")
	check(t, n == 0, "a sample allocates %g times", n)
}
