package pump

import (
	"cmp"
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// notTested is what a supply current cannot show on a bench at one
// temperature.
var notTested = []string{"head and flow", "leakage", "noise", hotRunning, "cold start"}

// hotRunning is tested by a soak.
const hotRunning = "hot running"

// conclude sums modes to causes and finds words for the likeliest.
func (d *detail) conclude(a *kind.Assessment, e evidence, m *kind.Measured, p *profiles.Profile, c kind.Conditions) {
	ws := ranked(e)
	if len(ws) == 0 {
		return
	}
	command := d.lineProved(m, e)
	a.Reached = e.state != nothing && (command || e.state == tries)
	sums := map[result.Cause]float64{}
	for _, w := range ws {
		sums[w.cause] += w.probability
	}
	if e.state == constant || e.state == noTry || e.state == shorted {
		if !command {
			// A deaf board and a broken signal wire look alike from the
			// supply side, as do a short in the unit and one in its leads: the
			// two share the probability as their priors stand to each other.
			share := seldom / (often + seldom) * sums[result.ControlBoard]
			sums[result.ControlBoard] -= share
			sums[result.Wiring] += share
		}
	}
	for _, cause := range result.Causes() {
		a.Causes = append(a.Causes, result.CauseProbability{Cause: cause, Probability: sums[cause]})
	}
	slices.SortStableFunc(a.Causes, func(x, y result.CauseProbability) int { return cmp.Compare(y.Probability, x.Probability) })
	top, ok := best(ws, a.Causes[0].Cause)
	if !ok { // the wire's share of a board's cause came out on top
		top = ws[0]
	}
	a.Seen, a.Disproof, a.NextStep = d.seen(top, e), top.disproof, top.next
	a.Carried = top.carried(e)
	for i := range a.Causes {
		if w, ok := best(ws, a.Causes[i].Cause); ok {
			a.Causes[i].For = append(a.Causes[i].For, d.seen(w, e))
			for _, n := range w.pro {
				a.Causes[i].For = append(a.Causes[i].For, weigh.Phrase(e.checks[n]))
			}
			for _, n := range w.contra {
				a.Causes[i].Against = append(a.Causes[i].Against, weigh.Phrase(e.checks[n])+", which this would not explain")
			}
		}
	}
	switch {
	case e.state == nothing:
		a.Inseparable = []result.Cause{result.ControlBoard, result.Wiring}
		a.SeparatedBy = top.next
	case !a.Reached && a.Causes[0].Cause == result.ControlBoard && (e.state == constant || e.state == noTry):
		a.Inseparable = []result.Cause{result.ControlBoard, result.Wiring}
		a.SeparatedBy = "measure the signal at the unit's own pin while the bench commands: low level, high level, frequency and duty"
	case top.shape == cap_ && !d.supplyKnown && a.Causes[0].Cause == result.ControlBoard:
		a.Inseparable = []result.Cause{result.ControlBoard, result.Bench}
		a.SeparatedBy = "read the voltage at the plug while the current stays flat: if it holds the board limits, if it falls the supply does"
	case e.state == shorted && a.Causes[0].Cause == result.ControlBoard:
		a.Inseparable = []result.Cause{result.ControlBoard, result.Wiring}
		a.SeparatedBy = top.next
	case len(a.Causes) > 1 && a.Causes[0].Probability < weigh.Separable*a.Causes[1].Probability:
		a.Inseparable = []result.Cause{a.Causes[0].Cause, a.Causes[1].Cause}
		a.SeparatedBy = separates(a.Inseparable, top.next)
	}
	a.Reusable = reusable(top.reuse, sums, e.state)
	if a.Causes[0].Cause == result.Hydraulic && c.Primed {
		a.Disproof = "a measured flow as good units have it"
		a.NextStep = "the loop was said to be primed and open: the impeller or its housing has lost its grip on the water; open the hydraulic end"
	}
}

// separates is the one further test that tells two causes apart; otherwise is
// said of a pair for which there is none better.
func separates(pair []result.Cause, otherwise string) string {
	has := func(c result.Cause) bool { return slices.Contains(pair, c) }
	switch {
	case has(result.Bench):
		return "test a known-good unit on the same bench: the same again means the bench"
	case has(result.Wiring):
		return "measure supply voltage, ground and signal at the unit's own pins while it is commanded to full: missing there means the wiring"
	case has(result.Hydraulic) && has(result.ControlBoard):
		return "measure the flow at full: as good units have it means the board, less means the hydraulic side"
	case has(result.Mechanical):
		return "with the supply off, turn the rotor by hand: tight or uneven means the mechanics, free means it is not"
	}
	return otherwise
}

// reusable is what of a unit can be used again: not a side that is itself among
// the causes, and with a word on what did not turn.
func reusable(parts []string, sums map[result.Cause]float64, s state) (out []string) {
	const suspect = 0.2 // the other side of the four to one that names a cause alone
	for _, p := range parts {
		switch {
		case p == board && sums[result.ControlBoard] >= suspect,
			p == mech && sums[result.Mechanical]+sums[result.Hydraulic] >= suspect:
			continue
		case p == mech && s != ran:
			p += ", not shown to turn here"
		}
		out = append(out, p)
	}
	return out
}

// seen is what the unit did: the attempts as they were measured, where they
// carry the cause, and what that means.
func (d *detail) seen(w weighed, e evidence) string {
	tells := e.state == tries || e.state == noTry || e.state == ran && slices.Contains(w.needs, StartAttempts)
	if words := d.pattern.Words(); tells && words != "" {
		return words + ": " + w.seen
	}
	return w.seen
}

// lineProved says that the command is known to have got to the unit: any
// answer to duty, an awake current that comes with the command, or levels
// read on the line.
func (d *detail) lineProved(m *kind.Measured, e evidence) bool {
	if e.state == ran || e.state == tries {
		return true
	}
	if m.Trace.Values(trace.ColLine) != nil {
		// The mean level of a driven line lies between its two levels and
		// moves with the duty; a line that the bench reads back as driven is
		// proof up to the plug.
		return step.LineMoves(m.Trace)
	}
	if e.state == noTry && len(d.plateaus) > 0 && !math.IsNaN(d.quiet) {
		for _, q := range d.plateaus {
			if q.Median_A-d.quiet > max(0.2*d.quiet, 3*d.noise) {
				return true
			}
		}
	}
	return false
}

// best is the likeliest mode of a cause.
func best(ws []weighed, c result.Cause) (weighed, bool) {
	for _, w := range ws {
		if w.cause == c {
			return w, true
		}
	}
	return weighed{}, false
}

// carried names the two or three findings that carry a mode: those that it
// needs, then those of the curve that failed, then what else it explains.
func (w weighed) carried(e evidence) []string {
	var out []string
	take := func(n string) {
		if k := e.checks[n]; k.Out() && !slices.Contains(out, n) && len(out) < 3 {
			out = append(out, n)
		}
	}
	for _, n := range w.needs {
		take(n)
	}
	// What carries a cause is what the sentence rests on: for a unit that ran,
	// its curve; for one that did not, its start, and the curve only when
	// nothing else lies out.
	curve := []string{LowSpeed, HighSpeed, FlatTop, Scale, CurveUp, Full, CurveDown}
	if w.shape == cap_ {
		curve = []string{FlatTop, Full, CurveUp}
	}
	if w.state == ran && w.shape != level {
		for _, n := range curve {
			take(n)
		}
	}
	for _, n := range append([]string{StartAttempts, StartLevel, SwitchOnCharge, Response}, w.explains...) {
		take(n)
	}
	if len(out) == 0 {
		take(Full)
		take(CurveUp)
	}
	return out
}

// missingFindings holds what the unit did without a valid command against
// what the profile says.
func (d *detail) missingFindings(y weigh.Yardstick, r *reference) []weigh.Check {
	drew := d.missing
	if r.full_A <= 0 {
		drew = nil
	}
	out := weigh.HoldUndriven(y, drew, r.quiet, max(d.highest, 0.1*r.full_A))
	for i := range out {
		// The modes here ask whether it did what it should, not which way it erred.
		out[i].Z = math.Abs(out[i].Z)
	}
	return out
}
