package outsider

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"dutybench/signal/trace"
)

// settled is the mean current and voltage of the last 40 % of each stretch of
// constant duty, in order.
func settled(tr *trace.Trace) (duty, amps, volts, ragged []float64) {
	d, c, v := tr.Duty(), tr.Current(), tr.Values(trace.ColSupply)
	for from := 0; from < len(d); {
		to := from
		for to < len(d) && d[to] == d[from] {
			to++
		}
		a := from + (to-from)*6/10
		var sum, square, volt, n float64
		for i := a; i < to; i++ {
			sum += c[i]
			square += c[i] * c[i]
			if !math.IsNaN(v[i]) {
				volt += v[i]
				n++
			}
		}
		mean := sum / float64(to-a)
		duty, amps = append(duty, d[from]), append(amps, mean)
		volts = append(volts, volt/n)
		ragged = append(ragged, math.Sqrt(max(0, square/float64(to-a)-mean*mean)))
		from = to
	}
	return duty, amps, volts, ragged
}

// TestTable prints, for each model and fault, the settled currents at a low,
// a middle and the full duty, in percent of good ones and in their standard
// deviations: TABLE=severity.
func TestTable(t *testing.T) {
	var severity float64
	if _, err := fmt.Sscan(os.Getenv("TABLE"), &severity); err != nil {
		t.Skip("set TABLE to a severity to print the table")
	}
	for i, m := range Models(1) {
		var b strings.Builder
		rng := rand.New(rand.NewPCG(9, uint64(i)))
		var mean, square []float64
		const units = 12
		for range units {
			_, a, _, _ := settled(m.Good(rng))
			if mean == nil {
				mean, square = make([]float64, len(a)), make([]float64, len(a))
			}
			for j := range a {
				mean[j] += a[j] / units
				square[j] += a[j] * a[j] / units
			}
		}
		n := len(m.bench.up)
		for _, f := range append([]Fault{{Name: "good"}}, Faults()...) {
			tr := m.Good(rng)
			if f.apply != nil {
				tr = m.Faulty(f.Name, severity, rng)
			}
			_, a, v, r := settled(tr)
			fmt.Fprintf(&b, "%-18s", f.Name)
			for _, j := range []int{0, 1, 2 + n/2, 2 + n, 2 + n + n/2} {
				sd := math.Sqrt(max(0, square[j]-mean[j]*mean[j])) + 1e-9
				fmt.Fprintf(&b, " |%6.2fA %4.0f%% %+4.0fs r%4.0f%%", a[j], 100*a[j]/mean[j], (a[j]-mean[j])/sd, 100*r[j]/a[j])
			}
			fmt.Fprintf(&b, " | %.2f V\n", v[2+n])
		}
		t.Log(m.Name() + "\n" + b.String())
	}
}
