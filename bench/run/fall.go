package run

import "math"

const (
	// leastFall is what the voltage of a plug must lose over the time that it is
	// looked at to count as falling, as a share of itself: a stabilised supply
	// stays closer than that, warm or cold (chosen; over five seconds a
	// capacitor of 10 mF on 110 kΩ loses 0.45 %).
	leastFall = 0.002
	// surely is how many standard uncertainties of its slope a fall has to be
	// (chosen: readings that follow each other are not wholly independent).
	surely = 5
)

// falls says that the voltage at the plug falls in the later half of the
// samples since one: a capacitor's does, as it discharges through whatever lies
// across it, while that behind a welded switch stands still. The first half is
// left out, as a bridge of high resistance lets a voltage fall to where it
// stays.
func (x *runner) falls(from int) bool {
	n := x.ch.len()
	return fallsAlong(x.ch.t[(from+n)/2:n], x.ch.supply[(from+n)/2:n], x.rig.Accuracy.VoltageStep_V)
}

// fallsAlong fits a straight line to voltages at times in s, NaN where there is
// none. Its slope's uncertainty is that of the scatter about the line, and of
// the converter's step at least.
func fallsAlong(t, volts []float64, step_V float64) bool {
	n, first, last := 0, math.NaN(), 0.0
	var st, sv float64
	for i, v := range volts {
		if math.IsNaN(v) {
			continue
		}
		if n == 0 {
			first = t[i]
		}
		last = t[i]
		n++
		st += t[i]
		sv += v
	}
	if n < 3 || !(last > first) {
		return false
	}
	mt, mv := st/float64(n), sv/float64(n)
	var tt, tv, vv float64
	for i, v := range volts {
		if !math.IsNaN(v) {
			dt, dv := t[i]-mt, v-mv
			tt += dt * dt
			tv += dt * dv
			vv += dv * dv
		}
	}
	slope := tv / tt
	scatter := max(vv-slope*tv, 0)/float64(n-2) + step_V*step_V/12
	u := math.Sqrt(scatter / tt)
	span := last - first
	return -slope*span > max(surely*u*span, leastFall*math.Abs(mv))
}
