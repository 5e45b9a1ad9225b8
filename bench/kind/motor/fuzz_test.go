package motor

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"

	"dutybench/profiles"
	"dutybench/signal/trace"
)

// Whatever a trace holds, measuring ends, and what is measured is a number.
func FuzzMeasure(f *testing.F) {
	r := rand.New(rand.NewPCG(1, 1))
	var seed []byte
	for i := range 600 {
		seed = binary.LittleEndian.AppendUint16(seed, uint16(r.IntN(900)))
		seed = append(seed, byte(i/100%2), byte(100*(i/200%2)))
	}
	f.Add(seed, 0.0005, 4000.0)
	f.Add(seed[:40], 0.01, 0.0)
	f.Fuzz(func(t *testing.T, data []byte, step_s, pwm float64) {
		if len(data) > 8000 || !(step_s > 1e-9) || step_s > 1e6 {
			return
		}
		var ts, duty, amps, on, volts []float64
		for i := 0; i+4 <= len(data); i += 4 {
			ts = append(ts, float64(i/4)*step_s)
			amps = append(amps, float64(int16(binary.LittleEndian.Uint16(data[i:])))/100)
			on, duty = append(on, float64(data[i+2]%2)), append(duty, float64(min(data[i+3], 100)))
			v := math.NaN()
			if data[i+2] > 200 {
				v = float64(data[i+3]) / 8
			}
			volts = append(volts, v)
		}
		tr := &trace.Trace{Source: "fuzz", Columns: []trace.Column{{Name: trace.ColTime, Values: ts}, {Name: trace.ColDuty, Values: duty},
			{Name: trace.ColCurrent, Values: amps}, {Name: trace.ColSupplyOn, Values: on}, {Name: trace.ColSupply, Values: volts}}}
		p := &profiles.Profile{Name: "fuzz", Kind: "motor", Supply: profiles.Supply{Nominal_V: 12}, Command: profiles.Command{Type: profiles.Switched, Frequency_Hz: pwm, Full_pct: 100},
			Section: &Section{Brushes: 2, Segments: 8, NoLoad: 5000}}
		m, err := Kind{}.Measure(tr, p)
		if err != nil {
			return
		}
		for _, v := range m.Values {
			if v.Missing == "" && (math.IsNaN(v.Q.Value) || math.IsInf(v.Q.Value, 0) || math.IsNaN(v.Q.U())) {
				t.Fatalf("%s: %+v", v.Name, v.Q)
			}
		}
		Kind{}.Assess(m, p, noConditions)
	})
}
