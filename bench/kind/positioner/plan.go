package positioner

import (
	"math"
	"slices"
	"time"

	"dutybench/bench/kind"
	"dutybench/profiles"
)

const (
	// thin is the pitch of what a plan keeps: that at which the rig reads the
	// position.
	thin = 5 * time.Millisecond
	// answer is what every step leaves for board and settling beside the way:
	// filters of tenths of a second (common practice, no source).
	answer = 0.40 // s
	// pitch is the way of one step of the slow sweep, in per cent of the travel.
	pitch = spot
	// smallUp and smallDown are how many small steps go one way and back.
	smallUp, smallDown = 5, 9
)

// planner lays the steps out.
type planner struct {
	p     *profiles.Profile
	s     Section
	steps []kind.Step
	at    float64 // place
}

// to commands a place and leaves time to get there, twice what the whole travel
// may take and beside it; long adds to it.
func (l *planner) to(name string, place, long_s float64) {
	way := math.Abs(place-l.at) / 100
	d := time.Duration((answer + long_s + 1.5*way*l.s.stroke()) * float64(time.Second))
	l.steps = append(l.steps, kind.Step{Name: name, Supply: true, Command_pct: l.s.duty(place), Min: d, Max: d, Thin: thin})
	l.at = place
}

// nearStop is how long a step against a stop lasts beside its way: a board tells
// that it stands and lets go within so long (common practice, no source). The
// guard's limit for standing still under current is longer, and cuts what
// does not.
const nearStop = 0.3 // s

// places of the slow sweep, from the lowest to the highest: short steps beyond
// the ends, where a stop may come.
func places(low, high float64) (out []float64) {
	for x := low; x < -0.1; x += 1.25 {
		out = append(out, x)
	}
	for x := 0.0; x <= 100.1; x += pitch {
		if x >= low-0.1 && x <= high+0.1 {
			out = append(out, x)
		}
	}
	for x := 101.25; x < high-0.1; x += 1.25 {
		out = append(out, x)
	}
	if n := len(out); n > 0 && high-out[n-1] > 0.1 {
		out = append(out, high)
	}
	return out
}

// Plan is the whole test: rest, the way to the lowest place, a slow sweep up and
// down with short steps where stops may come, full strokes both ways, small steps
// in the middle both ways, and what it does without a command.
func (Kind) Plan(p *profiles.Profile) kind.Plan {
	s := sectionOf(p)
	low, high := s.span(p)
	l := &planner{p: p, s: s, at: low}
	l.steps = []kind.Step{{Name: "zero", Command_pct: p.Command.Stop_pct, Min: 300 * time.Millisecond, Max: 400 * time.Millisecond, Thin: thin}}
	// Where it stood before is not known: the whole travel, and a board's
	// attempts against a stop.
	park := time.Duration((2 + 1.5*s.stroke()) * float64(time.Second))
	l.steps = append(l.steps, kind.Step{Name: "quiet", Supply: true, Command_pct: p.Command.Stop_pct, Min: park, Max: park, Thin: thin})
	sweep := places(low, high)
	end := func(x float64) float64 {
		if x < 0 || x > 100 {
			return nearStop
		}
		return 0
	}
	for _, x := range sweep[min(1, len(sweep)):] {
		l.to("up", x, end(x))
	}
	for _, x := range slices.Backward(sweep[:max(0, len(sweep)-1)]) {
		l.to("down", x, end(x))
	}
	a, b := max(5, low), min(95, high)
	l.to("stroke", a, 0)
	for range 2 {
		l.to("stroke", b, 0.3)
		l.to("stroke", a, 0.3)
	}
	// Steps of the sweep's size that turn round each time, and then small ones,
	// which begin from below.
	middle := math.Round((low + high) / 2)
	l.to("hold", middle-pitch, 0)
	for range 3 {
		l.to("turn", middle, 0)
		l.to("turn", middle-pitch, 0)
	}
	l.to("hold", middle, 0)
	step := s.band() / 2
	for range smallUp {
		l.to("small", l.at+step, -0.05)
	}
	for range smallDown {
		l.to("small", l.at-step, -0.05)
	}
	l.missing()
	l.steps = append(l.steps, kind.Step{Name: "stop", Supply: true, Command_pct: p.Command.Stop_pct, Min: time.Second, Max: time.Second, Thin: thin})
	return kind.Plan{Steps: l.steps}
}

// elsewhere is the place from which it is tried without a command: away from
// ends and middle.
const elsewhere = 65

// missing is what it does without a command, where the profile says. The duty
// that the trace states then is the one that asks for what the profile says, so
// that a reader who does not know the line's columns sees no disobedience.
func (l *planner) missing() {
	c := l.p.Command
	for _, m := range []struct {
		name, does string
		action     kind.Action
	}{{"missing-open", c.Missing.Open, kind.Release}, {"missing-low", c.Missing.Low, kind.HoldLow}, {"missing-high", c.Missing.High, kind.HoldHigh}} {
		if m.does == "" {
			continue
		}
		l.to("hold", elsewhere, 0)
		d := time.Duration((1 + 1.2*l.s.stroke()) * float64(time.Second))
		duty := l.s.duty(elsewhere)
		switch m.does {
		case "stop":
			duty = c.Stop_pct
		case "full":
			duty = c.Full_pct
		}
		l.steps = append(l.steps, kind.Step{Name: m.name, Supply: true, Line: m.action, Command_pct: duty, Min: d, Max: d, Thin: thin})
		l.at = l.s.asked(duty)
	}
}
