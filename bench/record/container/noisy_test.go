package container

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// bench is how a noisy trace comes about: a 12-bit converter of 3.3 V at
// 20 kHz (codes times a step, Microchip DS21298E), as on a bench of wires.
type bench struct {
	seconds float64
	noise   float64 // deviation of each channel, in steps
	// sparse reads supply, line and temperature now and then only, as an SPI
	// bench with one converter does; else all in every row.
	sparse bool
	seed   uint64
}

const (
	rate_Hz = 20e3
	codes   = 4096
)

// noisy plays a staircase of duties on a pump with a board of its own. All of
// it is physics or a bench's ways, chosen, and none of it is what the coding
// likes: the current has the ripple of six-step commutation (6 × pole pairs ×
// shaft frequency) whose frequency wanders with the load, the supply sags over
// its wires, gains are those of a calibration, times jitter, and messages are
// late at times.
func (b bench) noisy() *trace.Trace {
	r := rand.New(rand.NewPCG(b.seed, 17))
	n := int(b.seconds * rate_Hz)
	names := []string{trace.ColTime, trace.ColDuty, trace.ColCurrent, trace.ColSupplyOn, trace.ColSupply, trace.ColLineDuty, trace.ColLine, trace.ColTemperature}
	columns := make([]trace.Column, len(names))
	for i, name := range names {
		columns[i] = trace.Column{Name: name, Values: make([]float64, n)}
	}
	micro := func(x float64) float64 { return math.Round(x*1e6) / 1e6 }
	// convert is what a converter makes of a number of its steps.
	convert := func(x float64) float64 {
		return min(max(math.Round(x+b.noise*r.NormFloat64()), 0), codes-1)
	}
	const (
		gainA = 3.3 / codes / (0.002 * 50) * 1.00213 // A a step: 2 mΩ × 50, calibrated
		zeroA = 0.2 / (3.3 / codes)                  // steps
		stepV = 3.3 / codes * 11.03 * 0.99871
		pwm   = 250.0 // Hz
		poles = 4     // pairs
		full  = 75.0  // turns a second
	)
	var at, shaft, wander, angle float64
	for row := range n {
		t := float64(row) / rate_Hz
		if row%16 == 0 { // a message: none comes before its time
			at = max(at+1/rate_Hz, t+3e-6*math.Abs(r.NormFloat64()))
			if r.IntN(2000) == 0 {
				at += 300e-6 * r.Float64()
			}
		} else {
			at += 1 / rate_Hz * 0.998
		}
		duty, on := 0.0, 0.0
		if t > 0.5 {
			on = 1
		}
		if t > 1 {
			duty = min(20+10*math.Floor((t-1)/1.5), 100)
		}
		shaft += (full*duty/100 - shaft) / (0.3 * rate_Hz)
		wander += 0.002*r.NormFloat64() - wander/(0.2*rate_Hz)
		angle += 2 * math.Pi * shaft * (1 + 0.01*wander) / rate_Hz
		w := shaft / full
		// Each of six steps a pole pair is half a sine of ripple.
		current := on * (0.04 + 0.3*w + 0.6*w*w + 4.1*w*w*w + (0.02+0.12*w)*math.Abs(math.Sin(6*poles*angle/2)))
		supply := on * (13.6 - 0.06*current)
		level := 0.0
		if _, phase := math.Modf(t * pwm); phase >= duty/100 {
			level = 0.97 * supply
		}
		amps := (convert(current/gainA+zeroA) - zeroA) * gainA
		volts := convert(supply/stepV) * stepV
		wire := convert(level/stepV+12) * stepV
		// Half of the reference at 25 °C, β = 3950 K (chosen), of such thermistors.
		beta := math.Exp(3950 * (1/(273.15+21.3+2*t/60) - 1/298.15))
		code := min(max(convert(codes*beta/(1+beta)), 1), codes-1)
		celsius := 1/(1/298.15+math.Log(code/(codes-code))/3950) - 273.15
		if b.sparse {
			if row%32 != 0 {
				volts = math.NaN()
			}
			if row%32 != 16 {
				wire = math.NaN()
			}
			if row%4992 != 0 {
				celsius = math.NaN()
			}
		}
		for i, v := range [...]float64{micro(at), duty, micro(amps), on, micro(volts), duty, micro(wire), micro(celsius)} {
			columns[i].Values[row] = v
		}
	}
	return &trace.Trace{Source: "noisy", Columns: columns, Meta: []trace.Entry{
		{Key: trace.KeyTrace, Value: "1"}, {Key: trace.KeyUnit, Value: "A-0001"}, {Key: trace.KeyKind, Value: "pump"},
		{Key: trace.KeySampleRate, Value: "20000"}, {Key: "step", Value: "stop 0.0000 1.0000 0"},
	}}
}

// csv is the trace's CSV.
func csv(t testing.TB, tr *trace.Trace) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, trace.Write(&b, tr))
	return b.Bytes()
}
