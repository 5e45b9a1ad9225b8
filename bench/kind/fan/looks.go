package fan

import (
	"math"
	"slices"

	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
)

// otherSpeed is a board that turns the blades at another speed than good ones do
// at the same duty. The amount is in per cent of speed. Of the running power
// friction's goes with the speed and the air's with its cube (fan laws); of the
// current at the lowest duty friction is about half (chosen: with the speed told it
// ranks little, and without it the two are told apart by a test).
func otherSpeed(name string, sign float64, told bool, like []result.Cause, apart string) weigh.Mode {
	share := func(s float64) float64 { return max(0.05, 1+sign*s/100) } // of the speed that it should have
	m := weigh.Mode{Name: name, Cause: result.ControlBoard, States: []string{ran}, Prior: weigh.Seldom,
		Moves: map[string]float64{ShaftSpeed: sign * 0.01, Air: sign, Friction: sign * 0.5},
		Bends: map[string]func(float64) float64{
			ShaftSpeed: func(s float64) float64 { return 100 * sign * math.Log(share(s)) }, // its spread is one of ratios
			Air:        func(s float64) float64 { return 100 * sign * (math.Pow(share(s), 3) - 1) },
		},
		Explains: with(Top, TurnLine), Like: like, Apart: apart,
		Seen: "it runs " + name + " for its command: the board regulates to another speed", Disproof: "the speed of good units, counted or strobed",
		Next: "measure the speed at full with a counter, then replace or open the control board", Reuse: []string{mechGood}}
	if told {
		m.Needs = []string{ShaftSpeed}
	} else {
		m.Seen = "the current is off at every speed, as if the blades ran " + name + " for their command; the speed was not read"
	}
	return m
}

// without is a list less one of its causes.
func without(list []result.Cause, c result.Cause) []result.Cause {
	return slices.DeleteFunc(slices.Clone(list), func(x result.Cause) bool { return x == c })
}

// evidence is what the looks of modes see beside findings.
type evidence struct {
	*detail
	low float64 // how far the two lowest duties lie from good units, in their spreads; NaN unknown
}

// lowAsGood is what the lowest duties say against a limit, which leaves them as
// they are.
func lowAsGood(t *weigh.Table) float64 {
	if off := math.Abs(t.Detail.(evidence).low) - weigh.Calm; off > 0 {
		return min(weigh.Most, off*off/2)
	}
	return 0
}

// balanced is what the evenness of failed attempts says against a mode that has
// it, or has it not; nothing where it could not be measured.
func balanced(t *weigh.Table, even bool) float64 {
	b := t.Detail.(evidence).pattern.Balance
	if b.Why == "" && b.Even() != even {
		return weigh.Most
	}
	return 0
}

// asleep is what the quiet current says against a board that is dead, or awake.
func asleep(t *weigh.Table, dead bool) float64 {
	d, good := t.Detail.(evidence), weigh.MeanOf(t.Yardstick.Profile, Quiet)
	if !math.IsNaN(d.quiet_A) && good > 0 && (d.quiet_A < 0.5*good) != dead {
		return weigh.Most
	}
	return 0
}
