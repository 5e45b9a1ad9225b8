package stranger

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"dutybench/signal/trace"
)

// Trace tests the unit once with a fault of a severity from 0 to 1. The same
// unit, fault, severity and state of rng give the same trace.
func (u Unit) Trace(f Fault, severity float64, rng *rand.Rand) *trace.Trace {
	m := &u.Model
	a := none()
	if f.ail != nil && severity > 0 {
		a = f.ail(&u, math.Min(1, severity), rng)
	}
	ohm := m.SourceOhm * math.Exp(m.SourceSD*rng.NormFloat64()-m.SourceSD*m.SourceSD/2)
	sc := u.play(&a, ohm, rng)
	return u.sample(sc, &a, ohm, rng)
}

func (u *Unit) sample(sc *score, a *ailment, ohm float64, rng *rand.Rand) *trace.Trace {
	m := &u.Model
	total := length(m.Plan)
	ended := ""
	if sc.trippedS > 0 {
		total = math.Min(total, sc.trippedS+0.5)
		ended = "over-current"
	}
	n := int(total * m.RateHz)
	dt := 1 / m.RateHz
	ts, duty, amps := make([]float64, n), make([]float64, n), make([]float64, n)
	var volts, on []float64
	if m.SupplyVColumn {
		volts = make([]float64, n)
	}
	if m.SupplyOn {
		on = make([]float64, n)
	}
	peaks := sc.peaks
	if !m.ChargePeak || a.noPeak {
		peaks = nil
	}
	step, stepEnd := 0, m.Plan[0].LengthS
	ripples := 6 * float64(m.PolePairs)
	sine := m.Drive == Sine
	for i := range n {
		t := float64(i) * dt
		if m.Jitter > 0 {
			t += dt * m.Jitter * rng.Float64()
		}
		t = math.Round(t*1e6) / 1e6
		for t >= stepEnd && step < len(m.Plan)-1 {
			step++
			stepEnd += m.Plan[step].LengthS
		}
		ts[i], duty[i] = t, m.Plan[step].DutyPct
		energised := m.Plan[step].Supply && (sc.trippedS == 0 || t < sc.trippedS)

		x := t / tickS
		j := min(int(x), len(sc.amps)-2)
		frac := x - float64(j)
		base := sc.amps[j] + frac*(sc.amps[j+1]-sc.amps[j])
		if sc.try[j] < 0 && sc.try[j+1] >= 0 {
			base = sc.amps[j] // the attempt begins with its own shape
		}
		c := base
		if !energised {
			base, c = 0, 0
		} else if try := sc.try[j]; try >= 0 {
			c *= u.attempt(float64(try)+frac*tickS, a, sine)
		} else if sc.mod[j] != 0 {
			turn := sc.turns[j] + frac*(sc.turns[j+1]-sc.turns[j])
			c *= 1 + float64(sc.mod[j])*wave(turn) + float64(sc.ripple[j])*wave(ripples*turn+0.1)
			if sc.hobble[j] {
				c = math.Max(0, c*(1+0.85*a.openPhase*wave(2*float64(m.PolePairs)*turn)))
			}
		}
		for _, p := range peaks {
			if t >= p && t < p+0.1 {
				c += u.peak(t-p, dt, ohm)
			}
		}
		if m.SupplyVColumn {
			v := sc.volts[j] + frac*(sc.volts[j+1]-sc.volts[j])
			if energised {
				v -= ohm * (c - base)
			}
			if a.zeroV {
				v = 0
			}
			v = math.Max(0, v+0.004*rng.NormFloat64())
			volts[i] = math.Round(v/0.00125) * 0.00125
		}
		if m.SupplyOn && energised {
			on[i] = 1
		}
		c += m.OffsetA + m.NoiseA*rng.NormFloat64()
		c = math.Max(-m.RangeA, math.Min(m.RangeA, c))
		amps[i] = math.Round(c/m.ResolutionA) * m.ResolutionA
	}
	tr := &trace.Trace{
		Source: u.Serial,
		Meta: []trace.Entry{
			{Key: trace.KeyTrace, Value: "1"},
			{Key: trace.KeyUnit, Value: u.Serial},
			{Key: trace.KeyKind, Value: "pump"},
			{Key: trace.KeySampleRate, Value: strconv.FormatFloat(m.RateHz, 'g', -1, 64)},
			{Key: trace.KeyNominal, Value: fmt.Sprint(m.NominalV)},
		},
		Columns: []trace.Column{
			{Name: trace.ColTime, Values: ts, Resolution: 1e-6},
			{Name: trace.ColDuty, Values: duty},
			{Name: trace.ColCurrent, Values: amps, Resolution: m.ResolutionA},
		},
	}
	if ended != "" {
		tr.Meta = append(tr.Meta, trace.Entry{Key: trace.KeyEnded, Value: ended})
	}
	if volts != nil {
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupply, Values: volts, Resolution: 0.00125})
	}
	if on != nil {
		tr.Columns = append(tr.Columns, trace.Column{Name: trace.ColSupplyOn, Values: on})
	}
	return tr
}

// peak is the charging current t seconds after switching on, in A; an
// averaging converter spreads it over its window of dt.
func (u *Unit) peak(t, dt, ohm float64) float64 {
	m := &u.Model
	r := ohm + m.CapOhm
	tau := r * u.capF
	if m.Averages {
		from := math.Max(0, t-dt)
		return m.NominalV / r * tau * (math.Exp(-from/tau) - math.Exp(-t/tau)) / dt
	}
	return m.NominalV / r * math.Exp(-t/tau)
}

// attempt is the shape of the current t seconds into an attempt, about 1 at
// its height: aligning on one pair of phases, then forced steps that quicken.
func (u *Unit) attempt(t float64, a *ailment, sine bool) float64 {
	m := &u.Model
	align, forced := m.AlignS*u.timeGain, m.ForcedS*u.timeGain
	rise := 1 - math.Exp(-t/0.008)
	if t < align {
		if a.openPhase > 0 { // the aligning pair may hold the open phase
			return rise * (1 - a.openPhase*0.95*float64(m.PolePairs%2))
		}
		return rise
	}
	s := t - align
	f0, f1 := 3.0, 28.0+4*float64(m.PolePairs) // electrical, Hz
	turn := f0*s + 0.5*(f1-f0)/forced*s*s
	if s > forced {
		turn = f0*forced + 0.5*(f1-f0)*forced + f1*(s-forced)
	}
	if sine {
		if a.openPhase > 0 {
			sq := math.Sin(math.Pi * 2 * turn)
			return 1 - a.openPhase + a.openPhase*sq*sq
		}
		return 1 + 0.02*wave(6*turn)
	}
	six := 6 * (turn - math.Floor(turn))
	n := int(six)
	sag := 0.25 * math.Exp(-(six-float64(n))*6) // the new phase's current rises
	if a.openPhase > 0 && n%3 != 0 {
		return (1 - sag) * (1 - a.openPhase)
	}
	return 1 - sag
}

const waveN = 2048

var waveTab = func() (tab [waveN]float64) {
	for i := range tab {
		tab[i] = math.Sin(2*math.Pi*float64(i)/waveN) + 0.3*math.Sin(4*math.Pi*float64(i)/waveN+0.7)
	}
	return tab
}()

// wave is a periodic wave about 1 high with a second harmonic; x in periods.
func wave(x float64) float64 {
	return waveTab[int((x-math.Floor(x))*waveN)&(waveN-1)]
}
