package run

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
	"dutybench/bench/kind"
	"dutybench/bench/rig"
	"dutybench/profiles"
)

const (
	longest       = time.Hour // of a step
	progressEvery = 100 * time.Millisecond
	paceEvery     = 20 * time.Millisecond

	// What the guard is given beside the profile's limits. A switch closes
	// and the wires are charged within grace; a supply that is out of range
	// for less than supplyTime was a dip; silence is the lease.
	grace      = 50 * time.Millisecond
	supplyTime = 20 * time.Millisecond
	silence    = 100 * time.Millisecond
	// A rig that keeps real time shares its computer: on one of two cores with
	// eighteen programs at work gaps of 0.19 s between samples were measured.
	// The supply is off well within half a second all the same.
	busySilence = 250 * time.Millisecond

	// mostUnread samples in a row may lack a current while the supply is off.
	mostUnread = 1000
)

// state is what the bench does, from a rig time on.
type state struct {
	from         time.Duration
	on           bool
	duty_pct     float64
	lineDuty_pct float64 // NaN: released
}

// runner is one run.
type runner struct {
	rig     *rig.Rig
	plan    kind.Plan
	profile *profiles.Profile
	o       Options
	guard   *guard.Guard

	began     time.Duration // rig time at which the run began
	start     time.Duration // rig time of the trace's zero
	now, was  state         // a conversion's middle may lie before the last change
	running   bool          // the unit may be running, as the guard sees it
	commander commander
	sample    rig.Sample
	last      time.Duration // of the last sample
	any       bool
	ch        channels
	marks     []mark
	asked     *question // under way; nil
	block     block     // of a step that is thinned
	watching  watching
	carried   carried // of a unit whose recirculating current is not seen
	shown     int     // samples that a Decider may be looking at
	sunk      sinking
	plausible plausible // the bench's readings against each other
	zero_A    float64
	zeroKnown bool
	testing   bool     // the pre-test is under way
	refused   []string // comment lines that a trace cannot hold
	isolated  bool     // a pre-test has shown that the open contacts let nothing through
	out       Outcome

	lost, late, clipped int
	unread              int // in a row
	firstLost           time.Duration

	// Progress and pace.
	step                   kind.Step
	index                  int
	expected               time.Duration
	nextProgress, nextPace time.Duration
	sum                    float64
	count                  int
	supply_V               float64
}

// mark is where a step lies in the trace.
type mark struct {
	step     kind.Step
	from, to time.Duration
}

func newRunner(r *rig.Rig, plan kind.Plan, p *profiles.Profile, o Options) *runner {
	interval := r.Sampler.Interval()
	x := &runner{rig: r, plan: plan, profile: p, o: o, supply_V: math.NaN(),
		commander: commanderFor(r, p),
		marks:     make([]mark, 0, len(plan.Steps)), plausible: newPlausible(r.Accuracy)}
	x.out.Facts = r.Facts
	x.out.Off.Current_A = math.NaN()
	longest := dischargeTime + tailTime
	for _, s := range plan.Steps {
		longest += s.Max
		if s.Thin > interval {
			longest -= time.Duration(float64(s.Max) * (1 - float64(interval)/float64(s.Thin)))
		}
	}
	if p.Position.By != "" && r.Position {
		x.ch.position = placed{profile: p, supply_V: math.NaN()}
	}
	x.ch.make(longest, interval)
	return x
}

// silence is the longest time without a sample, and so the lease.
func (x *runner) silence() time.Duration {
	least := silence
	if !x.rig.Stands {
		least = busySilence
	}
	return max(least, 10*x.rig.Sampler.Interval())
}

// run is the whole test; the supply is off when it returns.
func (x *runner) run(ctx context.Context) error {
	if x.pressed() {
		x.fault(stopPressed)
		return nil
	}
	if err := x.rig.Sampler.Start(); err != nil {
		return x.failed(err)
	}
	x.start = x.rig.Clock.Now()
	x.began, x.last = x.start, x.start
	x.now = state{from: x.start, lineDuty_pct: math.NaN()}
	x.was = x.now
	err := x.pretest(ctx)
	if err == nil && x.going() {
		err = x.steps(ctx)
	}
	if err == nil || x.guard.Tripped().Rule == guard.Cancelled {
		if oerr := x.off(); err == nil {
			err = oerr
		}
	}
	if t := x.guard.Tripped(); err == nil && t != nil && t.Rule == guard.Cancelled {
		// By who told the guard process to end, not this one.
		err = fmt.Errorf("run: the test was cancelled: %w", context.Canceled)
	}
	if serr := x.rig.Sampler.Stop(); serr != nil && err == nil {
		x.warn("The sampler did not stop: %v.", serr)
	}
	return err
}

// steps carries out the plan until its end, a trip or a fault.
func (x *runner) steps(ctx context.Context) error {
	rest, quiet := x.plan.Longest(), true
	for i, s := range x.plan.Steps {
		if x.ask(i, s); x.enough() {
			return nil
		}
		x.step, x.index = s, i
		x.expected = x.rig.Clock.Now() - x.began + rest
		rest -= s.Max
		if err := x.begin(s); err != nil {
			return x.failed(err)
		}
		x.marks = append(x.marks, mark{step: s, from: x.now.from})
		from := x.ch.len()
		err := x.hold(ctx, s, i == 0)
		x.marks[len(x.marks)-1].to = x.rig.Clock.Now()
		if quiet && s.Supply && err == nil && x.going() {
			quiet = false
			x.quietLook(from)
		}
		if err != nil || x.guard.Tripped() != nil || len(x.out.Faults) > 0 || x.out.Enough != "" {
			return err
		}
	}
	return nil
}

// begin puts the step's command and supply on: on the way off the supply
// first, on the way on the command. A line that the bench drives both ways is
// let go with the supply, so that it does not feed the unit through its signal
// pin.
func (x *runner) begin(s kind.Step) error {
	if !s.Supply && x.guard.On() {
		if err := x.guard.Open(); err != nil {
			return err
		}
	}
	command := s
	if !s.Supply && (x.commander.feeds() || !x.commander.signals()) {
		command.Line = kind.Release
	}
	lineDuty, err := x.commander.command(command)
	if err != nil {
		return err
	}
	if s.Supply && !x.guard.On() {
		if err := x.guard.Close(); err != nil {
			return err
		}
	}
	x.running = s.Line != kind.Command || s.Command_pct > x.profile.Command.Stop_pct
	x.change(state{on: s.Supply, duty_pct: s.Command_pct, lineDuty_pct: lineDuty})
	x.paceNode()
	return nil
}

func (x *runner) change(s state) {
	x.flush() // a block holds one state only
	x.carried = carried{}
	x.stateEnds()
	s.from = x.rig.Clock.Now()
	x.was, x.now = x.now, s
}

// dark is the state after a trip.
func (x *runner) dark(t *guard.Trip) {
	x.running = false
	x.change(state{duty_pct: x.profile.Command.Stop_pct, lineDuty_pct: math.NaN()})
	if t != nil {
		x.now.from = min(t.Off, x.now.from)
	}
}

// hold samples until the step is over.
func (x *runner) hold(ctx context.Context, s kind.Step, first bool) error {
	interval := x.rig.Sampler.Interval()
	var period time.Duration
	if x.profile.Command.Frequency_Hz > 0 {
		period = time.Duration(float64(time.Second) / x.profile.Command.Frequency_Hz)
	}
	settled := newSettling(x.now.from, interval, period, s.Good, x.rig.Accuracy.CurrentStep_A)
	from := x.ch.len()
	for {
		if ctx.Err() != nil {
			return x.cancelled(ctx)
		}
		read, err := x.next()
		if err != nil {
			return x.failed(err)
		}
		if x.guard.Tripped() != nil {
			x.tripped()
			return nil
		}
		if !read || x.sample.At < x.now.from {
			continue
		}
		if x.enough() {
			return nil
		}
		good := settled.add(x.sample.At, x.sample.Current_A-x.zero_A)
		lasted := x.sample.At - x.now.from
		switch {
		case first && !s.Supply:
			if lasted >= s.Max && x.quiet(from, lasted) {
				x.setZero(from)
				return nil
			}
		case lasted >= s.Max || lasted >= s.Min && good:
			if !s.Supply {
				x.verifyOff(from)
			}
			return nil
		}
	}
}

// cancelled cuts the supply because the person or the system asked for it.
func (x *runner) cancelled(ctx context.Context) error {
	x.guard.Trip(&guard.Trip{Rule: guard.Cancelled, Met: x.rig.Clock.Now(),
		Reason: "The test was cancelled.", Next: "Run it again when the bench is ready."})
	return fmt.Errorf("run: the test was cancelled: %w", context.Cause(ctx))
}

// next takes one sample into the trace and shows it to the guard. It does not
// allocate. read is false when the current was not read.
func (x *runner) next() (read bool, err error) {
	s := &x.sample
	if err := x.rig.Sampler.Next(s); err != nil {
		return false, err
	}
	x.tally(s)
	x.clean(s)
	current := s.Current_A - x.zero_A
	read = !math.IsNaN(current) && !math.IsInf(current, 0)
	if read {
		if x.any && s.At <= x.last {
			return false, fmt.Errorf("run: a sample at %v follows one at %v: the rig's time does not advance; check its converter", s.At, x.last)
		}
		x.any = true
		x.unread = 0
		if x.now.on && !x.guard.On() {
			x.dark(x.guard.Check()) // the lease ran out while this sample was on its way
		}
		x.last = s.At
		st := &x.now
		if s.At < st.from {
			st = &x.was
		}
		x.keep((s.At - x.start).Seconds(), st, current, s)
		x.despike()
	} else if x.unread++; x.unread > mostUnread {
		return false, fmt.Errorf("run: %d samples in a row hold no current: check the current converter", x.unread)
	} else {
		current = math.NaN()
	}
	x.guard.Hold(guard.Sample{At: s.At, Current_A: current, Supply_V: s.Supply_V, Clipped: s.Clipped || math.IsInf(s.Current_A, 0),
		Stop: x.pressed(), Running: x.now.on && x.running, Held_A: x.held_A(s.At, current), Position_pct: x.ch.position.told(s)})
	if read {
		if !x.testing {
			x.look(s, current)
			x.sink(s.At)
		}
		x.report(current)
	}
	return read, nil
}

// tally counts what is wrong with samples.
func (x *runner) tally(s *rig.Sample) {
	lost := s.Lost
	if math.IsNaN(s.Current_A) || math.IsInf(s.Current_A, 0) {
		lost++
	} else if lost == 0 && x.any && 2*(s.At-x.last) > time.Duration(3+2*s.Other)*x.rig.Sampler.Interval() {
		x.late++
	}
	if lost > 0 && x.lost == 0 {
		x.firstLost = s.At - x.start
	}
	x.lost += lost
	if s.Clipped {
		x.clipped++
	}
	if !math.IsNaN(s.Supply_V) {
		x.supply_V = s.Supply_V
	}
}

// report calls progress and pace when they are due.
func (x *runner) report(current float64) {
	x.sum += current
	x.count++
	elapsed := x.rig.Clock.Now() - x.began
	if x.o.Pace != nil && elapsed >= x.nextPace {
		x.nextPace = elapsed + paceEvery
		x.o.Pace(elapsed)
	}
	if x.o.Progress == nil || elapsed < x.nextProgress {
		return
	}
	x.nextProgress = elapsed + progressEvery
	tells, position := x.ch.position.last()
	x.o.Progress(Progress{Step: x.step.Name, Index: x.index + 1, Of: len(x.plan.Steps), Duty_pct: x.now.duty_pct, Tells: tells, Position_pct: position,
		Current_A: x.sum / float64(x.count), Supply_V: x.supply_V, Elapsed: elapsed, Expected: max(x.expected, elapsed)})
	x.sum, x.count = 0, 0
}

// pressed reads the stop input, active low.
func (x *runner) pressed() bool { return x.rig.Stop != nil && x.rig.Stop.Read() == gpio.Low }

// failed cuts the supply because the rig failed.
func (x *runner) failed(err error) error {
	if errors.Is(err, guard.ErrSignalled) {
		x.guard.Trip(&guard.Trip{Rule: guard.Cancelled, Met: x.rig.Clock.Now(), Reason: "The test was cancelled.", Next: "Run it again when the bench is ready."})
		return fmt.Errorf("run: the test was cancelled: %w: %w", context.Canceled, err)
	}
	next := "Check the rig's wiring, its buses and its supply, then run the test again."
	if errors.Is(err, guard.ErrLate) {
		next = guard.LateNext
	}
	trip := x.guard.Trip(&guard.Trip{Rule: guard.RigFailed, Met: x.rig.Clock.Now(),
		Reason: "The rig failed: " + line(err.Error()) + ".", Next: next})
	x.tripped()
	return fmt.Errorf("run: %s: %w", trip.Rule, err)
}
