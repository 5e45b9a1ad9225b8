package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/calibrate"
	"dutybench/bench/guard"
	"dutybench/bench/rig"
)

// How a point is taken; all chosen.
const (
	pointTime    = time.Second // of readings; whole periods of the mains
	pointSamples = 40          // at least
	settleTime   = time.Second // after the supply went on
	steadyTries  = 8           // windows until a point counts as unsteady
	keyTime      = 250 * time.Millisecond
	// oddShare is how far a typed value may differ from the reading before it
	// is asked for again, beside a hundredth of the range.
	oddShare = 0.1
)

// errQuit is a person's wish to end.
var errQuit = errors.New("ended by q; nothing is stored")

// readKeys gives the lines that are typed, without blanks around them and in
// small letters; it is closed at the end of the input.
func readKeys(r io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		for s := bufio.NewScanner(r); s.Scan(); {
			lines <- strings.ToLower(strings.TrimSpace(s.Text()))
		}
	}()
	return lines
}

// guide is a guided calibration under way. One goroutine owns it; it takes
// samples all the time, which is what keeps the supply on.
type guide struct {
	*app
	f       calibrateFlags
	bench   *openBench
	sampler rig.Sampler // uncorrected
	guard   *guard.Guard
	keys    <-chan string
	hand    *simulatedHand // nil: a person
	ctx     context.Context
	step    float64
	window  []float64
	points  []calibrate.Point
}

// guide measures the points. The supply is off when it returns.
func (a *app) guide(ctx context.Context, f calibrateFlags, m calibrate.Meter, keys <-chan string) (_ []calibrate.Point, err error) {
	b, err := a.openBench(f.rigFlags, nil)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, b.Close()) }()
	ctx, stop := a.interrupt(ctx)
	defer stop()
	g := &guide{app: a, f: f, bench: b, sampler: calibrate.Raw(b.Sampler), keys: keys, ctx: ctx, step: stepOf(&b.description, f.quantity)}
	if err := g.span(); err != nil {
		return nil, err
	}
	if b.simulated != nil {
		g.hand = newHand(b.simulated, f, m)
	}
	limits := b.description.Bench
	g.guard, err = guard.New(b.Switch, b.Clock, nil, guard.Limits{
		Current_A: limits.Current_A, Time: time.Second, Peak_A: max(1.2*limits.Current_A, limits.Fuse_A),
		// An electronic load may be driven from a few volts.
		SupplyLow_V: 1e-3, SupplyHigh_V: limits.SupplyHigh_V, SupplyTime: time.Second, Grace: time.Second,
		Silence: max(250*time.Millisecond, 10*g.sampler.Interval()), Interval: g.sampler.Interval(),
	})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, g.guard.Open()) }()
	if err := g.sampler.Start(); err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, g.sampler.Stop()) }()
	return g.points, g.all()
}

// span finds the values from which and to which points are taken, within
// what the bench bears.
func (g *guide) span() error {
	l, a := g.bench.description.Bench, g.bench.Accuracy
	low, top := g.f.low, g.f.top
	most := l.SupplyHigh_V
	if g.f.quantity == calibrate.Current {
		most = min(l.Current_A, 0.95*a.CurrentRange_A)
		if l.SupplyLimit_A > 0 {
			most = min(most, 0.9*l.SupplyLimit_A)
		}
		if top == 0 {
			top = min(most, 10) // what bench multimeters reach
		}
		if low == 0 {
			low = top / 10
		}
	} else {
		if top == 0 {
			top = 0.95 * most
		}
		if low == 0 {
			low = max(1.02*l.SupplyLow_V, top/4)
		}
	}
	if top > most || low >= top {
		return usage("calibrating from %.3g to %.3g %s: this bench bears up to %.3g; give --low and --top within that", low, top, g.f.unit(), most)
	}
	g.f.low, g.f.top = low, top
	return nil
}

// all takes all points: zero, up, down, zero.
func (g *guide) all() error {
	up := make([]float64, g.f.levels)
	for i := range up {
		up[i] = g.f.low + (g.f.top-g.f.low)*float64(i)/float64(len(up)-1)
	}
	plan := append([]float64(nil), up...)
	for i := len(up) - 2; i >= 0; i-- {
		plan = append(plan, up[i])
	}
	if g.f.quantity == calibrate.Current {
		if err := g.zero(); err != nil {
			return err
		}
		fmt.Fprintln(g.stdout, "The supply goes on now. The load gets hot; keep hands off it.")
	}
	if err := g.on(); err != nil {
		return err
	}
	for i := 0; i < len(plan); {
		back, err := g.point(i+1, len(plan), plan[i])
		if err != nil {
			return err
		}
		if i++; back {
			i = max(i-2, 0)
		}
	}
	if err := g.guard.Open(); err != nil {
		return err
	}
	fmt.Fprintln(g.stdout, "The supply is off.")
	if g.f.quantity == calibrate.Current {
		return g.zero()
	}
	return nil
}

func (g *guide) on() error {
	if g.hand != nil {
		g.hand.set(g.f.low)
	}
	if err := g.guard.Close(); err != nil {
		return err
	}
	return g.pass(settleTime)
}

// sample takes the next reading of the quantity; NaN when it was not sampled.
func (g *guide) sample() (float64, error) {
	if err := g.ctx.Err(); err != nil {
		return 0, errors.Join(errors.New("calibration cancelled; nothing is stored"), g.guard.Open())
	}
	var s rig.Sample
	if err := g.sampler.Next(&s); err != nil {
		return 0, errors.Join(err, g.guard.Open())
	}
	stop := g.bench.Stop != nil && g.bench.Stop.Read() == gpio.Low
	if t := g.guard.Hold(guard.Sample{At: s.At, Current_A: s.Current_A, Supply_V: s.Supply_V, Clipped: s.Clipped, Stop: stop}); t != nil {
		return 0, fmt.Errorf("the supply was cut: %s %s", t.Reason, t.Next)
	}
	if g.f.quantity == calibrate.Voltage {
		return s.Supply_V, nil
	}
	if s.Clipped {
		return 0, errors.Join(fmt.Errorf("the reading stands at the end of its range, %.4g A: give a lower --top", s.Current_A), g.guard.Open())
	}
	return s.Current_A, nil
}

// pass takes readings for a while and drops them.
func (g *guide) pass(d time.Duration) error {
	for end := g.bench.Clock.Now() + d; g.bench.Clock.Now() < end; {
		if _, err := g.sample(); err != nil {
			return err
		}
	}
	return nil
}

// look fills the window with the readings of one point.
func (g *guide) look() error {
	g.window = g.window[:0]
	for end := g.bench.Clock.Now() + pointTime; g.bench.Clock.Now() < end || len(g.window) < pointSamples; {
		x, err := g.sample()
		if err != nil {
			return err
		}
		if !math.IsNaN(x) {
			g.window = append(g.window, x)
		}
	}
	return nil
}

// steady takes windows until one stands still: its halves differ by no more
// than their noise, a step and 0.02 % (chosen).
func (g *guide) steady(reference float64, zero bool) (calibrate.Point, bool, error) {
	for range steadyTries {
		if err := g.look(); err != nil {
			return calibrate.Point{}, false, err
		}
		half := len(g.window) / 2
		a, b := calibrate.Take(g.window[:half], g.step, 0, false), calibrate.Take(g.window[half:], g.step, 0, false)
		p := calibrate.Take(g.window, g.step, reference, zero)
		if math.Abs(a.Reading-b.Reading) <= 3*math.Hypot(a.U, b.U)+g.step/2+2e-4*math.Abs(p.Reading) {
			return p, true, nil
		}
	}
	return calibrate.Point{}, false, nil
}

// zero takes the zero with the supply off.
func (g *guide) zero() error {
	if err := g.pass(settleTime); err != nil {
		return err
	}
	p, ok, err := g.steady(0, true)
	if err != nil {
		return err
	}
	if !ok || math.Abs(p.Reading) > 20*g.bench.Accuracy.CurrentOffset_A {
		return fmt.Errorf("with the supply off the current reads %.3g A and does not stand at nought: check the switch, which may be welded, and the shunt's wires", p.Reading)
	}
	fmt.Fprintf(g.stdout, "zero    %+.5f A with the supply off\n", p.Reading)
	g.points = append(g.points, p)
	return nil
}

// point asks for one point and takes it; back says that the last one is to be
// taken again.
func (g *guide) point(i, of int, target float64) (back bool, err error) {
	unit := g.f.unit()
	what := "Set about %.3g %s with the load, and read the reference meter"
	if unit == "V" {
		what = "Set the supply to about %.3g %s at the plug, and read the reference meter there"
	}
	fmt.Fprintf(g.stdout, "%d of %d  "+what+".\n", i, of, target, unit)
	for odd := math.NaN(); ; {
		line, err := g.ask(target)
		if err != nil {
			return false, err
		}
		switch line {
		case "":
			continue
		case "q":
			return false, errQuit
		case "s":
			return false, nil
		case "b":
			if n := len(g.points); n > 0 && !g.points[n-1].Zero {
				g.points = g.points[:n-1]
			}
			return true, nil
		case "o":
			if err := g.turn(); err != nil {
				return false, err
			}
			continue
		}
		v, perr := strconv.ParseFloat(strings.Replace(line, ",", ".", 1), 64)
		if perr != nil || math.IsNaN(v) || math.IsInf(v, 0) || !g.guard.On() {
			fmt.Fprintf(g.stdout, "Type a number in %s, such as %.4g, with the supply on; or s, b, o or q.\n", unit, target)
			continue
		}
		p, ok, err := g.steady(v, false)
		if err != nil {
			return false, err
		}
		if !ok {
			fmt.Fprintln(g.stdout, "The reading does not stand still: wait, and type the value that the reference shows then, or s.")
			continue
		}
		if math.Abs(p.Reading-v) > oddShare*math.Abs(p.Reading)+g.f.top/100 && v != odd {
			odd = v
			fmt.Fprintf(g.stdout, "The bench reads %.5g %s: type the value again, the same if it is right.\n", p.Reading, unit)
			continue
		}
		fmt.Fprintf(g.stdout, "        reference %.5f, reading %.5f ± %.2g %s\n", v, p.Reading, p.U, unit)
		g.points = append(g.points, p)
		return false, nil
	}
}

// turn switches the supply off or on, so that a load can be changed.
func (g *guide) turn() error {
	if !g.guard.On() {
		fmt.Fprintln(g.stdout, "The supply is on.")
		return g.on()
	}
	if err := g.guard.Open(); err != nil {
		return err
	}
	fmt.Fprintln(g.stdout, "The supply is off. Type o to switch it on again.")
	return nil
}

// ask waits for a line, and shows the reading meanwhile.
func (g *guide) ask(target float64) (string, error) {
	if g.hand != nil {
		g.hand.set(target)
		if err := g.pass(settleTime); err != nil {
			return "", err
		}
		if g.f.simulate {
			return g.hand.read(), nil
		}
	}
	_, terminal := g.isTerminal(g.stdout)
	sum, n, next := 0.0, 0, g.bench.Clock.Now()+keyTime
	for {
		select {
		case line, ok := <-g.keys:
			if !ok {
				return "", errors.New("the input ended before the calibration did; nothing is stored")
			}
			return line, nil
		default:
		}
		x, err := g.sample()
		if err != nil {
			return "", err
		}
		if !math.IsNaN(x) {
			sum, n = sum+x, n+1
		}
		if now := g.bench.Clock.Now(); now >= next && n > 0 {
			if terminal {
				fmt.Fprintf(g.stdout, "\r%9.4f %s  > ", sum/float64(n), g.f.unit())
			}
			if g.bench.Stands {
				time.Sleep(2 * time.Millisecond) // the rig's time does not pass by itself
			}
			sum, n, next = 0, 0, now+keyTime
		}
	}
}
