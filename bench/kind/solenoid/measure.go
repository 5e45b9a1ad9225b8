package solenoid

import (
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/matter"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// Names of a solenoid's measurements.
const (
	Temperature   = "unit_temperature" // °C
	Resistance    = "coil_resistance"  // as it was, ohm
	Resistance20  = "resistance_20C"   // ohm
	Warming       = "resistance_rise"  // over the test, %
	InductanceOut = "inductance_out"   // H
	InductanceIn  = "inductance_in"
	Missed        = "missed_strokes"
	PullInA       = "pull_in_current"
	PullInTime    = "pull_in_time"     // from switching on until the plunger leaves its rest
	Stroke        = "stroke_time"      // from there until it stands at the pole
	Switching     = "switching_time"   // from switching on until it stands
	Dip           = "dip_depth"        // of the settled current, %
	Uneven        = "pulse_unevenness" // %
	DropOutA      = "drop_out_current"
	DropOutTime   = "drop_out_time"
	Return        = "return_time"    // from there until it stands at rest
	Releasing     = "releasing_time" // from switching off until it does
	Leakage       = "leakage"
	SupplyDrop    = "supply_drop"
	SupplyFold    = "supply_fold"
	RippleOut     = "ripple_inductance_low"  // at the lowest duty of a sweep, H
	RippleIn      = "ripple_inductance_high" // at the highest
	MotionA       = "motion_current"
	Hysteresis    = "hysteresis"
)

// detail is what Assess needs beyond named values.
type detail struct {
	pulses []pulse
	points []swing // of the sweep
	// on is how long the coil had the whole supply, all together; flowed the
	// highest settled current of it; noise that of one reading.
	on_s, flowed_A, noise_A float64
	plug_V                  float64 // the highest at the plug while the supply was on; NaN not sampled
	folded                  bool    // the supply gave way
}

// Measure takes from a trace what a solenoid shows.
func (Kind) Measure(tr *trace.Trace, p *profiles.Profile) (*kind.Measured, error) {
	if tr.Len() == 0 {
		return nil, fmt.Errorf("solenoid: %s holds no sample: record the test again", tr.Source)
	}
	m := &kind.Measured{Trace: tr}
	m.Startup.Settled_s = math.NaN()
	d := &detail{plug_V: math.NaN(), noise_A: max(stat.RobustSD(differences(tr.Current()))/math.Sqrt2, resolution(tr)/2, 1e-6)}
	m.Detail = d
	cuts := cut(tr, p)
	d.measureTemperature(tr, m)
	s := d.measureSupply(tr, cuts)
	d.findPulses(tr, cuts)
	d.measureCoil(m)
	d.measureMotion(m)
	d.measureReturn(m)
	measureLeakage(tr, cuts, m)
	s.put(m)
	d.measureSweep(tr, cuts, p, m)
	weigh.Gains(tr, m)
	gainsOfHenry(tr, m)
	return m, nil
}

// gainsOfHenry is the bench's share in inductances: time constants have none,
// resistance has that of current and voltage.
func gainsOfHenry(tr *trace.Trace, m *kind.Measured) {
	g, _ := tr.Number(trace.KeyCurrentGainU)
	v, _ := tr.Number(trace.KeyVoltageGainU)
	for i := range m.Values {
		if x := &m.Values[i]; x.Unit == "H" && x.Missing == "" {
			x.Q = weigh.WithBench(x.Q, "gains of current and voltage", math.Hypot(g, v)*math.Abs(x.Q.Value))
		}
	}
}

func differences(x []float64) []float64 {
	out := make([]float64, 0, len(x))
	for i := 1; i < len(x); i++ {
		out = append(out, x[i]-x[i-1])
	}
	return out
}

func add(m *kind.Measured, name, unit string, q stat.Quantity) {
	if math.IsNaN(q.Value) || math.IsInf(q.Value, 0) {
		miss(m, name, unit, "it could not be worked out")
		return
	}
	m.Values = append(m.Values, kind.Value{Name: name, Unit: unit, Q: q})
}

func miss(m *kind.Measured, name, unit, why string) {
	m.Values = append(m.Values, kind.Value{Name: name, Unit: unit, Missing: why})
}

const (
	// sensed_C is how far the winding may lie from the sensor at the start of a
	// test, standard: the sensor's own 0.5 K and a unit not wholly at rest (chosen).
	sensed_C = 1.0
	// A room in which nothing measures: 23 °C, give or take 5 K, standard (chosen).
	room_C, roomU_C = 23.0, 5.0
)

// measureTemperature is what the winding is taken to have at the start.
func (d *detail) measureTemperature(tr *trace.Trace, m *kind.Measured) {
	var seen []float64
	for _, x := range tr.Values(trace.ColTemperature) {
		if !math.IsNaN(x) {
			seen = append(seen, x)
		}
	}
	if len(seen) == 0 {
		add(m, Temperature, "°C", stat.Exact(room_C).With("not measured: a room's", roomU_C, 0))
		m.Warnings = append(m.Warnings, fmt.Sprintf("the temperature was not measured: the winding is taken to begin at %g °C, within %g K", room_C, 2*roomU_C))
		return
	}
	add(m, Temperature, "°C", stat.Exact(stat.Median(seen)).With("winding against sensor", sensed_C, 0))
}

// to20 brings a resistance at the winding's first temperature to 20 °C.
func to20(r stat.Quantity, t stat.Quantity) (stat.Quantity, error) {
	ratio, err := matter.CopperRatio(t.Value, 20)
	if err != nil {
		return stat.Quantity{}, err
	}
	out := r.Scale(ratio.Value).With("temperature coefficient", r.Value*ratio.U(), 0)
	// The ratio's slope with temperature, by difference.
	if near, err := matter.CopperRatio(t.Value+1, 20); err == nil {
		out = out.With("temperature", r.Value*math.Abs(near.Value-ratio.Value)*t.U(), 0)
	}
	return out, nil
}
