package travel

import (
	"math"
	"slices"

	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// Move is what the unit did at one step of its command. Places are per cent of
// the travel; what could not be told is NaN.
type Move struct {
	From, To       int // samples of the trace
	Start_s, End_s float64
	Duty_pct       float64
	// Before_pct is the duty before; NaN for the first step with supply.
	Before_pct float64

	Stood_pct   float64 // before
	Reached_pct float64 // at the end of the step
	ReachedU    float64 // standard uncertainty of that, from scatter
	Noise_pct   float64 // standard deviation of a reading at the end
	Creep_pct   float64 // how far it still went while standing, without sign
	Moved       bool
	Settled     bool // it stood at the end

	Delay_s, DelayU_s    float64 // from the command until a fifth of the way is done
	Speed_pct_s, SpeedU  float64 // in the middle of the way, with sign
	Over_pct             float64 // farthest beyond where it ended, in the direction of the way
	Settle_s             float64 // from the command until it stays near where it ends
	Standing_A, StandU_A float64 // at the end
	Moving_A             float64 // median over the middle of the way
	Charge_As            float64 // above standing, over the step
}

// Way is how far it went, with sign.
func (m Move) Way() float64 { return m.Reached_pct - m.Stood_pct }

// Part of a step that counts as its end: what is settled by then is what a step
// of at least Shortest_s leaves to look at.
const (
	endShare = 0.3
	endMost  = 0.5 // s
	before_s = 0.1
)

// Noise is the standard deviation of a reading of a unit that stands: the median
// over the steps, from differences of neighbours, so that a slow way does not
// count. NaN without readings.
func Noise(s Samples, steps []step.Step, t []float64) float64 {
	var all []float64
	for _, st := range steps {
		p := end(s, t, st).P_pct
		if len(p) < 4 {
			continue
		}
		var d []float64
		for i := 1; i < len(p); i++ {
			d = append(d, p[i]-p[i-1])
		}
		all = append(all, stat.SD(d)/math.Sqrt2)
	}
	if len(all) == 0 {
		return math.NaN()
	}
	return stat.Median(all)
}

// end is the readings at the end of a step.
func end(s Samples, t []float64, st step.Step) Samples {
	from, to := t[st.From], t[st.To-1]
	return s.In(to-min(endMost, endShare*(to-from)), to+1e-9)
}

// Moves is what the unit did at each step, in their order. least is the way from
// which on it counts as moved, in per cent: above noise and resolution.
func Moves(tr *trace.Trace, s Samples, steps []step.Step, least float64) (out []Move) {
	t, amps := tr.Time(), tr.Current()
	var last *step.Step
	for i := range steps {
		st := &steps[i]
		if !st.Supply || st.To-st.From < 4 {
			last = nil
			continue
		}
		m := Move{From: st.From, To: st.To, Start_s: t[st.From], End_s: t[st.To-1], Duty_pct: st.Duty_pct, Before_pct: math.NaN()}
		if last != nil {
			m.Before_pct = last.Duty_pct
		}
		m.place(s, last != nil, least)
		m.way(s, least)
		m.current(t, amps, s)
		out = append(out, m)
		last = st
	}
	return out
}

// place finds where it stood and where it ended.
func (m *Move) place(s Samples, follows bool, least float64) {
	m.Stood_pct, m.Reached_pct, m.ReachedU, m.Noise_pct, m.Creep_pct = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
	m.Over_pct, m.Settle_s = math.NaN(), math.NaN()
	long := m.End_s - m.Start_s
	tail := s.In(m.End_s-min(endMost, endShare*long), m.End_s+1e-9).P_pct
	if len(tail) < 2 {
		return
	}
	m.Reached_pct = stat.Median(tail)
	m.Noise_pct = stat.SD(tail)
	m.ReachedU = 1.2533 * m.Noise_pct / math.Sqrt(float64(len(tail))) // of a median of normal scatter
	if n := len(tail) / 2; n >= 2 {
		m.Creep_pct = math.Abs(stat.Median(tail[n:]) - stat.Median(tail[:n]))
		m.Settled = m.Creep_pct < max(least, 3*m.ReachedU)
	}
	if !follows {
		return
	}
	head := s.In(m.Start_s-before_s, m.Start_s+1e-9).P_pct
	if len(head) < 2 {
		return
	}
	m.Stood_pct = stat.Median(head)
	m.Moved = math.Abs(m.Way()) > least
	if !m.Moved {
		return
	}
	sign := math.Copysign(1, m.Way())
	in := s.In(m.Start_s, m.End_s+1e-9)
	near := max(least, 0.01*math.Abs(m.Way()))
	m.Over_pct, m.Settle_s = 0, 0
	for i, p := range in.P_pct {
		m.Over_pct = max(m.Over_pct, sign*(p-m.Reached_pct))
		if math.Abs(p-m.Reached_pct) > near {
			m.Settle_s = in.T_s[i] - m.Start_s
		}
	}
}

// way finds when a fifth of the way was done, or as much as readings tell, and fits
// a line to the middle of the way: its slope is the speed. A way of too few
// readings has no speed.
func (m *Move) way(s Samples, least float64) {
	m.Delay_s, m.DelayU_s, m.Speed_pct_s, m.SpeedU = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if !m.Moved {
		return
	}
	m.begins(s, max(least, 0.2*math.Abs(m.Way())))
	lo, hi := m.middle(s, 0.2, 0.8)
	in := s.In(lo, hi)
	if in.Len() < 4 {
		return
	}
	x := make([]float64, in.Len())
	for i, t := range in.T_s {
		x[i] = t - m.Start_s
	}
	f, err := stat.Line(x, in.P_pct, nil)
	if err != nil || f.Coef[1]*m.Way() <= 0 {
		return
	}
	m.Speed_pct_s = f.Coef[1]
	m.SpeedU = f.U(1)
}

// begins finds when it was so far from where it stood, between two readings.
func (m *Move) begins(s Samples, far float64) {
	in := s.In(m.Start_s-before_s, m.End_s+1e-9)
	sign := math.Copysign(1, m.Way())
	for i := 1; i < in.Len(); i++ {
		a, b := sign*(in.P_pct[i-1]-m.Stood_pct), sign*(in.P_pct[i]-m.Stood_pct)
		if in.T_s[i] <= m.Start_s || b < far {
			continue
		}
		f := 1.0
		if a < far {
			f = (far - a) / (b - a)
		}
		dt := in.T_s[i] - in.T_s[i-1]
		m.Delay_s = max(0, in.T_s[i-1]+f*dt-m.Start_s)
		m.DelayU_s = dt / math.Sqrt(12) // the way between two readings is not known to be straight
		return
	}
}

// middle is the time in which it went from one share of its way to another.
func (m *Move) middle(s Samples, from, to float64) (lo, hi float64) {
	in := s.In(m.Start_s, m.End_s+1e-9)
	sign := math.Copysign(1, m.Way())
	a, b := m.Stood_pct+from*m.Way(), m.Stood_pct+to*m.Way()
	lo, hi = math.NaN(), m.End_s
	for i, p := range in.P_pct {
		if math.IsNaN(lo) && sign*(p-a) >= 0 {
			lo = in.T_s[i]
		}
		if sign*(p-b) >= 0 {
			hi = in.T_s[i]
			break
		}
	}
	if math.IsNaN(lo) {
		lo = hi
	}
	return lo, hi
}

// current is what it drew, standing and moving.
func (m *Move) current(t, amps []float64, s Samples) {
	long := m.End_s - m.Start_s
	a := m.From + index(t[m.From:m.To], m.End_s-min(endMost, endShare*long))
	q := stat.MeanOf(amps[a:m.To])
	m.Standing_A, m.StandU_A = q.Value, q.U()
	m.Moving_A = math.NaN()
	for i := m.From; i+1 < m.To; i++ {
		m.Charge_As += (amps[i] - m.Standing_A) * (t[i+1] - t[i])
	}
	if !m.Moved {
		return
	}
	lo, hi := m.middle(s, 0.2, 0.8)
	b, e := m.From+index(t[m.From:m.To], lo), m.From+index(t[m.From:m.To], hi)
	if e-b >= 3 {
		m.Moving_A = stat.Median(amps[b:e])
	}
}

// index is that of the first time at x or later.
func index(t []float64, x float64) int {
	i, _ := slices.BinarySearch(t, x)
	return i
}
