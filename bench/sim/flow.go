package sim

import (
	"time"

	"periph.io/x/conn/v3/gpio"
)

// PulsesPer_l is what the bench's flow meter gives for a litre; chosen, as
// small turbine meters give some hundreds.
const PulsesPer_l = 450

// Flowing is a unit that moves water.
type Flowing interface {
	// Flow is the flow through the unit in l/min, as last stepped.
	Flow() float64
}

// FlowPin is the input that a flow meter pulls: high for the first half of
// each pulse. It counts what the unit moves only once somebody has asked for
// edges or made it an input.
type FlowPin struct {
	Pin
	// Stuck: the meter's wheel stands still.
	Stuck bool
	// LoseEvery leaves out every so manieth pulse; 0: none.
	LoseEvery int
	// Bounce repeats each edge so long after it; 0: not.
	Bounce time.Duration

	unit    Flowing // nil: moves none
	active  bool
	phase   float64 // of the pulse, 0 to 1
	count   int
	hooks   []func(at time.Duration)
	settled time.Duration
}

// flowLook is the simulated time after which edges are handed out at the
// latest; chosen: a reader of the flow then sees them some hundredth late.
const flowLook = 10 * time.Millisecond

func newFlow(w *World) *FlowPin {
	f := &FlowPin{Pin: Pin{name: "FLOW", number: 4, w: w}}
	f.input = func() gpio.Level {
		w.settle(w.now)
		return f.unit != nil && f.phase < 0.5 && f.count > 0
	}
	w.flow = f
	return f
}

// In makes the pin an input and begins to count.
func (f *FlowPin) In(pull gpio.Pull, edge gpio.Edge) error {
	f.w.settle(f.w.now)
	f.active = true
	return f.Pin.In(pull, edge)
}

// OnEdge calls back for each rising edge of the flow meter, with its time; in
// the order of time, at most 10 ms late, and from within the wait or
// transaction that passes it. What is called may neither wait nor use a bus.
func (b *Bench) OnEdge(call func(at time.Duration)) {
	f := b.Flow
	f.w.settle(f.w.now)
	f.active = true
	f.hooks = append(f.hooks, call)
	if len(f.hooks) == 1 {
		f.settled = f.w.now
		f.w.parts = append(f.w.parts, f)
		f.w.plan()
	}
}

// due and tick make the world look now and then.
func (f *FlowPin) due() time.Duration { return f.settled + flowLook }

func (f *FlowPin) tick() { f.settled = f.due() }

// plug looks whether the unit moves water.
func (f *FlowPin) plug(u Unit) { f.unit, _ = u.(Flowing) }

// step turns the meter's wheel on over dt, which ends at the time given.
func (f *FlowPin) step(end, dt time.Duration) {
	if f.unit == nil || f.Stuck {
		return
	}
	turns := f.unit.Flow() / 60 * PulsesPer_l * dt.Seconds()
	if !(turns > 0) {
		return
	}
	was := f.phase
	f.phase += turns
	for n := 1.0; f.phase >= 1; n++ {
		f.phase--
		f.edge(end - dt + time.Duration((n-was)/turns*float64(dt)))
	}
}

func (f *FlowPin) edge(at time.Duration) {
	f.count++
	if f.LoseEvery > 0 && f.count%f.LoseEvery == 0 {
		return
	}
	for _, call := range f.hooks {
		call(at)
		if f.Bounce > 0 {
			call(at + f.Bounce)
		}
	}
}
