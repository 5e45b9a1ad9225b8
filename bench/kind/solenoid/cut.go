package solenoid

import (
	"math"

	"dutybench/profiles"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// mode of switching during a stretch.
type switching int

const (
	open    switching = iota // no voltage at the coil
	closed                   // the whole supply
	chopped                  // PWM
)

// stretch is samples From up to but not including To, during which the bench
// switched in one way.
type stretch struct {
	from, to int
	how      switching
	duty_pct float64
}

// nearly is how far a duty that was itself measured may lie from 0 or 100 % and
// be that.
const nearly = 3

// cut splits a trace where the bench switched, by supply and duty.
func cut(tr *trace.Trace, p *profiles.Profile) (out []stretch) {
	duty := tr.Duty()
	supply := step.SupplyOf(tr)
	stop, pwm := 0.0, false
	if p != nil {
		stop, pwm = p.Command.Stop_pct, p.Command.Frequency_Hz > 0
	}
	if f, ok := tr.Number(trace.KeyPWM); ok && f > 0 {
		pwm = true
	}
	how := func(i int) switching {
		d := duty[i]
		switch {
		case !supply.On(i) || d <= max(stop, nearly):
			return open
		case d >= 100-nearly || !pwm:
			return closed // a unit that is not chopped is on at any duty
		}
		return chopped
	}
	for i := range duty {
		h := how(i)
		n := len(out)
		if n > 0 && out[n-1].how == h && (h != chopped || math.Abs(duty[i]-out[n-1].duty_pct) < 1) {
			out[n-1].to = i + 1
			continue
		}
		out = append(out, stretch{from: i, to: i + 1, how: h, duty_pct: duty[i]})
	}
	return out
}

// edge is one switching of the coil between no voltage and the whole supply.
type edge struct {
	on     bool
	at     int // first sample behind it
	from   int // samples of before, to know noise and zero
	to     int // where the next one comes
	at_s   float64
	long_s float64 // until the next
}

// before_s is how much of what came before an edge is looked at.
const before_s = 0.02

// edges are those of a cut trace, in their order.
func edges(tr *trace.Trace, cuts []stretch) (out []edge) {
	t := tr.Time()
	for i := 1; i < len(cuts); i++ {
		a, b := cuts[i-1], cuts[i]
		if !(a.how == open && b.how == closed || a.how == closed && b.how == open) {
			continue
		}
		e := edge{on: b.how == closed, at: b.from, from: b.from, to: b.to, at_s: t[b.from], long_s: t[b.to-1] - t[b.from]}
		for e.from > a.from && t[e.from-1] >= e.at_s-before_s {
			e.from--
		}
		out = append(out, e)
	}
	return out
}
