package startup

import (
	"math"
	"math/rand/v2"

	"dutybench/signal/trace"
)

// burst is one try of a unit's board: current above rest.
type burst struct {
	start_s, long_s, level_A float64
	// gaps are the share of each electrical turn without current, at turn_Hz.
	gaps, turn_Hz float64
}

// unit is a made unit on a made bench, with the truth known: what it draws is
// rest, tries, and from runs_s on a law of duty that it approaches with tau_s.
type unit struct {
	rate, long_s         float64
	on_s, command_s      float64
	duties               []float64 // from command_s on, each for step_s
	step_s               float64
	rest_A, asleep_A     float64 // resting current before any command and after
	tries                []burst
	runs_s               float64 // NaN: never
	start_A, startLong_s float64 // burst at the start of the run
	tau_s                float64
	peak                 float64 // acceleration peaks after steps of duty, in shares of the step of current
	drops                [][2]float64
	charge_A             float64
	noise_A              float64
	bare                 bool // no supply_on column
}

func pump(rate float64) unit {
	return unit{rate: rate, long_s: 16, on_s: 0.5, command_s: 1.5, duties: []float64{20, 30, 40, 60, 80, 100}, step_s: 2.4,
		rest_A: 0.012, asleep_A: 0.012, runs_s: math.NaN(), start_A: 1.5, startLong_s: 0.25, tau_s: 0.08, noise_A: 0.004, charge_A: 20}
}

func law(duty float64) float64 { return 0.03 + 4.5*math.Pow(duty/100, 2.4) }

// expect is what a profile says of such units.
func expect(duty float64) float64 { return law(duty) }

func (u unit) duty(t float64) float64 {
	if t < u.command_s {
		return 0
	}
	i := int((t - u.command_s) / u.step_s)
	return u.duties[min(i, len(u.duties)-1)]
}

func (u unit) trace(seed uint64) *trace.Trace {
	r := rand.New(rand.NewPCG(seed, 9))
	n := int(u.rate * u.long_s)
	t, duty, x, on := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	level, from, before := 0.0, 0.0, 0.0
	for i := range t {
		t[i] = float64(i) / u.rate
		duty[i] = u.duty(t[i])
		if t[i] >= u.on_s {
			on[i] = 1
			x[i] = u.asleep_A
			if duty[i] > 0 {
				x[i] = u.rest_A
			}
			if t[i] < u.on_s+0.0005 {
				x[i] += u.charge_A
			}
		}
		for _, b := range u.tries {
			if d := t[i] - b.start_s; d >= 0 && d < b.long_s && !(b.gaps > 0 && math.Mod(d*b.turn_Hz, 1) < b.gaps) {
				x[i] += b.level_A
			}
		}
		if t[i] >= u.runs_s {
			if duty[i] != before {
				from, before = t[i], duty[i]
			}
			aim := law(duty[i])
			if t[i]-u.runs_s < u.startLong_s {
				level = u.start_A
			} else {
				if u.peak > 0 && t[i]-from < 0.1 && t[i]-u.runs_s > u.startLong_s+0.1 {
					aim += u.peak
				}
				level += (aim - level) * (1 - math.Exp(-1/(u.rate*u.tau_s)))
			}
			x[i] += level
		}
		for _, d := range u.drops {
			if t[i] >= d[0] && t[i] < d[0]+d[1] {
				x[i] = u.rest_A
			}
		}
		x[i] += u.noise_A * r.NormFloat64()
	}
	tr := &trace.Trace{Source: "made", Columns: []trace.Column{
		{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: duty}, {Name: trace.ColCurrent, Values: x}}}
	if !u.bare {
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupplyOn, Values: on})
	}
	return tr
}

// even is n tries of equal length, pause apart.
func even(n int, from_s, long_s, pause_s, level_A float64) (out []burst) {
	for i := range n {
		out = append(out, burst{start_s: from_s + float64(i)*(long_s+pause_s), long_s: long_s, level_A: level_A})
	}
	return out
}
