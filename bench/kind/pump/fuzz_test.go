package pump

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// fuzzProfile is of five good units of the plain curve.
func fuzzProfile() *profiles.Profile {
	p := &profiles.Profile{Name: "fuzz", Kind: "pump", Supply: profiles.Supply{Nominal_V: 12, Low_V: 9, High_V: 16},
		Learned: profiles.Learned{Supply_V: 12.5, Units: 5}, Command: profiles.Command{Missing: profiles.Missing{Open: "full", Low: "stop"}}}
	for d := 20.0; d <= 100; d += 10 {
		p.Grid = append(p.Grid, d)
	}
	for i, g := range goodRows(5, 80) {
		u := profiles.GoodUnit{Unit: string(rune('A' + i))}
		for _, d := range p.Grid {
			u.Up, u.Down = append(u.Up, g.at(d/100)), append(u.Down, g.at(d/100))
		}
		for _, r := range rules {
			u.Values = append(u.Values, profiles.Value{Name: r.Name, X: 0.1 + 0.01*float64(i), Unit: r.Unit})
		}
		p.Good = append(p.Good, u)
	}
	return p
}

// wild makes a trace of bytes: three a row, for time, duty and current, and
// bits that say which columns there are.
func wild(data []byte, flags uint8, seed uint64) *trace.Trace {
	r := rand.New(rand.NewPCG(seed, 90))
	stretch := []float64{0.0005, 0.005, 0.05, 1}[flags&3] // s a row at most
	tr := &trace.Trace{Source: "wild.csv"}
	var t, d, x, v, on, line []float64
	at := float64(seed%7) * 100
	for i := 0; i+2 < len(data) && len(t) < 3000; i += 3 {
		// A byte repeats its row, so that steps come about.
		for range 1 + int(data[i])%97 {
			at += stretch * float64(data[i]%5) / 4 // equal times included
			t, d = append(t, at), append(d, float64(data[i+1]%101))
			x = append(x, (float64(data[i+2])-30)/20+0.01*r.NormFloat64())
			v, on = append(v, float64(data[i+1]%16)), append(on, float64(data[i+2]&1))
			line = append(line, float64(data[i]%101))
			if data[i+2]%5 == 0 {
				v[len(v)-1], line[len(line)-1] = math.NaN(), math.NaN()
			}
		}
	}
	tr.Columns = []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: x, Resolution: 0.001}}
	for bit, c := range map[uint8]trace.Column{4: {Name: trace.ColSupply, Values: v}, 8: {Name: trace.ColSupplyOn, Values: on}, 16: {Name: trace.ColLineDuty, Values: line}, 32: {Name: trace.ColLine, Values: v}} {
		if flags&bit != 0 {
			tr.Columns = append(tr.Columns, c)
		}
	}
	return tr
}

func FuzzAnyTraceGivesWholeNumbers(f *testing.F) {
	f.Add([]byte{}, uint8(0), uint64(0))
	f.Add([]byte{90, 0, 31, 90, 20, 36, 90, 50, 50, 90, 100, 130, 90, 50, 50, 90, 0, 31}, uint8(2), uint64(1))
	f.Add([]byte{96, 0, 30, 96, 40, 70, 96, 60, 30, 96, 100, 255}, uint8(12+1), uint64(2))
	f.Add([]byte{5, 100, 0, 96, 100, 0, 96, 100, 255}, uint8(63), uint64(3))
	learned, bare := fuzzProfile(), &profiles.Profile{Name: "bare", Kind: "pump"}
	stated := &profiles.Profile{Name: "stated", Kind: "pump", Stated: []profiles.Limit{{Finding: Full, Low: 2, High: math.NaN()}}}
	f.Fuzz(func(t *testing.T, data []byte, flags uint8, seed uint64) {
		tr := wild(data, flags, seed)
		for _, p := range []*profiles.Profile{learned, bare, stated} {
			m, err := Kind{}.Measure(tr, p)
			if tr.Len() == 0 {
				require.Error(t, err)
				continue
			}
			require.NoError(t, err)
			for _, v := range m.Values {
				if v.Missing == "" {
					require.False(t, math.IsNaN(v.Q.Value) || math.IsInf(v.Q.Value, 0), "%s is %g", v.Name, v.Q.Value)
				}
			}
			a := Kind{}.Assess(m, p, kind.Conditions{Primed: flags&64 != 0})
			_, err = json.Marshal(result.Result{Findings: a.Findings, Curve: a.Curve, Causes: a.Causes})
			require.NoError(t, err)
			var sum float64
			for _, c := range a.Causes {
				sum += c.Probability
			}
			if len(a.Causes) > 0 {
				require.InDelta(t, 1, sum, 1e-9)
			}
		}
	})
}
