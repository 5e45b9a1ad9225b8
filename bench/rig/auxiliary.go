package rig

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/chip/ds18b20"
	"dutybench/bench/chip/flow"
	"dutybench/bench/clock"
)

// auxiliary are the slow sensors beside the converter: they are read on their
// own time and never hold up a sample.
type auxiliary struct {
	list []slow
}

// slow is one of them.
type slow interface {
	start(now time.Duration) error
	// fill puts what is new since the last call into the sample. It neither
	// waits nor allocates.
	fill(now time.Duration, out *Sample)
	stop() error
}

// openAuxiliary finds what the description has of them.
func openAuxiliary(b Board, d *Description) (a auxiliary, err error) {
	if t := d.Temperature; t != nil && t.Chip == "ds18b20" {
		dev, err := ds18b20.New(b.Tree(), b.Clock(), t.ID)
		if err != nil {
			return a, err
		}
		a.list = append(a.list, &probe{dev: dev, clk: b.Clock()})
	}
	if d.Flow != nil {
		f, err := openFlow(b, d.Flow)
		if err != nil {
			return a, err
		}
		a.list = append(a.list, f)
	}
	if d.Position.by() == PositionByPWM {
		p, err := openPositioning(b, d.Position.Edges)
		if err != nil {
			return a, err
		}
		a.list = append(a.list, p)
	}
	return a, nil
}

func (a *auxiliary) start(now time.Duration) error {
	for i, s := range a.list {
		if err := s.start(now); err != nil {
			for _, begun := range a.list[:i] {
				err = errors.Join(err, begun.stop())
			}
			return err
		}
	}
	return nil
}

func (a *auxiliary) fill(now time.Duration, out *Sample) {
	for _, s := range a.list {
		s.fill(now, out)
	}
}

func (a *auxiliary) stop() (err error) {
	for _, s := range a.list {
		err = errors.Join(err, s.stop())
	}
	return err
}

// probe is a DS18B20. On a machine a goroutine waits for its conversions; a
// simulated clock must not be shared, so there it is read in between

type probe struct {
	dev   *ds18b20.Dev
	clk   clock.Clock
	watch *ds18b20.Watch
	due   time.Duration
	last  time.Duration
}

// probeEvery is how often the sensor is read where nothing waits for it: as
// often as a real one can be.
const probeEvery = 750 * time.Millisecond

func (p *probe) start(now time.Duration) error {
	p.due, p.last = now, -1
	if _, err := p.dev.Read(); err != nil { // that it is there at all
		return err
	}
	if _, real := p.clk.(*clock.Real); real {
		p.watch = p.dev.Watch(0)
	}
	return nil
}

func (p *probe) fill(now time.Duration, out *Sample) {
	var r ds18b20.Reading
	switch {
	case p.watch != nil:
		r, _ = p.watch.Latest() // a sensor that fails for a while leaves a gap
	case now >= p.due:
		p.due = now + probeEvery
		var err error
		if r, err = p.dev.Read(); err != nil {
			return
		}
	default:
		return
	}
	if r.At > p.last && !math.IsNaN(r.Celsius) {
		p.last = r.At
		out.Temperature_C = r.Celsius
	}
}

func (p *probe) stop() error {
	if p.watch == nil {
		return nil
	}
	w := p.watch
	p.watch = nil
	return w.Stop()
}

// flowing is a flow meter. On a machine a goroutine waits for its edges; a
// simulated board calls back with theirs.
type flowing struct {
	meter *flow.Meter
	pin   gpio.PinIO // nil: the board calls back
	pull  gpio.Pull
	edge  gpio.Edge
	clk   clock.Clock
	watch *flow.Watch
	due   time.Duration
}

// flowEvery is how often the flow goes into a sample; chosen, as water in a
// hose takes longer to change its speed.
const flowEvery = 100 * time.Millisecond

func openFlow(b Board, d *FlowMeter) (*flowing, error) {
	f := &flowing{clk: b.Clock(), pull: gpio.PullUp, edge: gpio.FallingEdge}
	o := flow.Options{Pulses_per_l: d.Pulses_per_l, Jitter: flow.DefaultJitter}
	back, calls := b.(interface{ OnEdge(func(time.Duration)) })
	if calls {
		o.Jitter = 0
	}
	var err error
	if f.meter, err = flow.New(o); err != nil {
		return nil, err
	}
	if calls {
		back.OnEdge(f.meter.Edge)
		return f, nil
	}
	switch d.Pull {
	case "down":
		f.pull = gpio.PullDown
	case "none":
		f.pull = gpio.Float
	}
	if !d.ActiveLow {
		f.edge = gpio.RisingEdge
	}
	if f.pin, err = b.Pin(d.Pin); err != nil {
		return nil, fmt.Errorf("flow meter: %w", err)
	}
	return f, nil
}

func (f *flowing) start(now time.Duration) (err error) {
	f.due = now
	if f.pin != nil {
		f.watch, err = f.meter.Watch(f.pin, f.pull, f.edge, f.clk)
	}
	return err
}

func (f *flowing) fill(now time.Duration, out *Sample) {
	if now < f.due {
		return
	}
	f.due = now + flowEvery
	out.Flow_l_per_min = f.meter.Read(now).Flow_l_per_min
}

func (f *flowing) stop() error {
	if f.watch == nil {
		return nil
	}
	w := f.watch
	f.watch = nil
	return w.Stop()
}
