package commutator

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/signal/stat"
)

// tally is what became of the motors of one cell of the study.
type tally struct {
	n, refused, wrong int
	off               []float64 // relative errors
}

func (t *tally) add(rpm, truth float64, err error) {
	t.n++
	if err != nil {
		t.refused++
		return
	}
	e := math.Abs(rpm/truth - 1)
	t.off = append(t.off, e)
	if e > 0.01 {
		t.wrong++
	}
}

func (t *tally) String() string {
	if t.n == 0 {
		return "none"
	}
	lo, hi := stat.ClopperPearson(t.refused, t.n, 0.95)
	wlo, whi := stat.ClopperPearson(t.wrong, t.n, 0.95)
	q := func(p float64) float64 {
		if len(t.off) == 0 {
			return math.NaN()
		}
		return 100 * stat.Select(t.off, min(len(t.off)-1, int(p*float64(len(t.off)))))
	}
	return fmt.Sprintf("%5d motors, refused %5.2f %% (%.2f to %.2f), beyond 1 %%: %d (%.3f to %.3f %%), error in %%: median %.3f, 95 %% %.3f, 99 %% %.3f, most %.3f",
		t.n, 100*float64(t.refused)/float64(t.n), 100*lo, 100*hi, t.wrong, 100*wlo, 100*whi, q(0.5), q(0.95), q(0.99), q(1))
}

// drawn is a motor of the study: any brushes and segments that are made, any
// sampling rate, steady or not, whole or with weak segments, with PWM or without.
func drawn(r *rand.Rand, ratio float64) (m motor, rate_Hz, seconds float64, o Options) {
	combos := [][2]int{{2, 3}, {2, 5}, {2, 7}, {2, 8}, {2, 10}, {2, 12}, {2, 14}, {2, 16}, {4, 12}, {4, 18}, {4, 22}}
	c := combos[r.IntN(len(combos))]
	m.perTurn = PerTurn(c[0], c[1])
	rate_Hz = []float64{1000, 2000, 5000, 10e3, 20e3}[r.IntN(5)]
	m.hz = ratio * rate_Hz
	seconds = 1 + r.Float64()
	for m.hz*seconds < 60 { // a second of ripple at the least
		seconds *= 2
	}
	m.mean = 0.3 + 3*r.Float64()
	m.depth = m.mean * math.Exp(math.Log(0.01)+r.Float64()*math.Log(20))
	m.slope = m.mean * 0.1 * (2*r.Float64() - 1)
	switch r.IntN(4) {
	case 0:
		m.drift = 0.3*r.Float64() - 0.15
		if top := ratio * (1 + math.Abs(m.drift)/2); ratio < usable && top > 0.5 {
			m.drift = 0
		}
	case 1:
		m.wander = 0.006 * r.Float64()
	}
	m.scale = make([]float64, m.perTurn)
	uneven := []float64{0, 0.1, 0.3}[r.IntN(3)]
	for i := range m.scale {
		m.scale[i] = 1 + uneven*(2*r.Float64()-1)
	}
	m.once, m.twice = m.depth*0.3*r.Float64(), m.depth*0.2*r.Float64()
	if r.IntN(4) == 0 { // an open coil: a ripple gone at each brush
		m.scale[0], m.scale[m.perTurn/2] = 0, 0
		m.once *= 3
	}
	o = Options{PerTurn: m.perTurn}
	truth := 60 * m.hz / float64(m.perTurn)
	// A type states what no unit passes; a unit under its load runs at 60 to 95 %
	// of that. What the back-EMF says is right to a fifth.
	o.Fastest_rpm = truth / (0.60 + 0.35*r.Float64())
	o.Expected_rpm, o.Within = truth*math.Exp(0.2*(2*r.Float64()-1)), 1.5
	if r.IntN(3) == 0 {
		o.PWM_Hz = []float64{100, 490, 1000, 5000, 19.7e3}[r.IntN(5)] * (1 + 1e-4*r.NormFloat64())
		m.pwm_Hz, m.chopped = o.PWM_Hz, m.mean*0.5*r.Float64()
		o.PWM_U = 3e-4
	}
	return m, rate_Hz, seconds, o
}

// The bar: within 1 % of the truth wherever the ripple lies below 0.4 of the rate
// with 10 dB over the noise, with at most one in twenty refused; above 0.4 refused
// and never guessed. The signal to noise ratio is the power of the ripple's line
// over all the noise sampled with it, and, for the harder reading, over the noise
// in the bandwidth of one block.
func TestStudy(t *testing.T) {
	if testing.Short() {
		t.Skip("a study: left out by -short")
	}
	n := 90
	switch os.Getenv("DUTYBENCH_CAMPAIGN") {
	case "sample":
		n = 2000
	case "full":
		n = 12_000
	}
	r := source(20260)
	bands := []struct{ lo, hi float64 }{{0, 5}, {5, 10}, {10, 20}, {20, 40}}
	ratios := []struct{ lo, hi float64 }{{0.01, 0.05}, {0.05, 0.2}, {0.2, 0.33}, {0.33, 0.4}}
	bySNR, byRatio, bin := make([]tally, len(bands)), make([]tally, len(ratios)), make([]tally, 6)
	var bar tally
	for range n {
		ratio := 0.01 * math.Exp(r.Float64()*math.Log(40))
		if r.IntN(3) == 0 {
			ratio = 0.05 + 0.35*r.Float64()
		}
		m, rate, seconds, o := drawn(r, ratio)
		snr := 40 * r.Float64()
		if r.IntN(3) == 0 { // the harder reading: over the noise of one block's bin
			b := 6 + 18*r.Float64()
			snr = b - 10*math.Log10(rate*seconds/2)
			got, err := Speed(m.quiet(snr).samples(rate, seconds, r), rate, o)
			bin[min(5, int((b-6)/3))].add(got.Speed_rpm.Value, 60*m.hz/float64(m.perTurn), err)
			if e := got.Speed_rpm.Value / (60 * m.hz / float64(m.perTurn)); err == nil && math.Abs(e-1) > 0.01 {
				t.Logf("wrong: ratio %.3f rate %g bin %.1f dB perTurn %d scale %.2f once/depth %.2f pwm %g: %.3f of the truth", ratio, rate, b, m.perTurn, m.scale, m.once/m.depth, m.pwm_Hz, e)
			}
			continue
		}
		got, err := Speed(m.quiet(snr).samples(rate, seconds, r), rate, o)
		truth := 60 * m.hz / float64(m.perTurn)
		i := slices.IndexFunc(bands, func(b struct{ lo, hi float64 }) bool { return snr < b.hi })
		bySNR[i].add(got.Speed_rpm.Value, truth, err)
		if snr >= 10 {
			j := slices.IndexFunc(ratios, func(b struct{ lo, hi float64 }) bool { return ratio <= b.hi })
			byRatio[max(j, 0)].add(got.Speed_rpm.Value, truth, err)
			bar.add(got.Speed_rpm.Value, truth, err)
			if testing.Verbose() && (err != nil || math.Abs(got.Speed_rpm.Value/truth-1) > 0.01) {
				t.Logf("ratio %.3f rate %g snr %.1f perTurn %d drift %.3f wander %.4f pwm %g once/depth %.2f got %.5g of %.5g: %v", ratio, rate, snr, m.perTurn, m.drift, m.wander, m.pwm_Hz, m.once/m.depth, got.Speed_rpm.Value, truth, err)
			}
		}
	}
	for i := range bands {
		t.Logf("line over all noise %2.0f to %2.0f dB: %v", bands[i].lo, bands[i].hi, &bySNR[i])
	}
	for i := range ratios {
		t.Logf("10 dB or more, %.2f to %.2f of the rate: %v", ratios[i].lo, ratios[i].hi, &byRatio[i])
	}
	for i := range bin {
		t.Logf("line over the noise of one bin %2d to %2d dB: %v", 6+3*i, 9+3*i, &bin[i])
	}
	t.Logf("the bar: %v", &bar)
	lo, _ := stat.ClopperPearson(bar.refused, bar.n, 0.95)
	assert.LessOrEqual(t, lo, 0.05, "refused where a speed is due")
	lo, _ = stat.ClopperPearson(bar.wrong, bar.n, 0.95)
	assert.LessOrEqual(t, lo, 0.001, "beyond 1 %%")
	var above tally
	for range n / 2 {
		ratio := usable * 1.005 * math.Exp(r.Float64()*math.Log(7))
		m, rate, seconds, o := drawn(r, ratio)
		snr := 10 + 30*r.Float64()
		x := m.quiet(snr).samples(rate, seconds, r)
		if r.IntN(2) == 0 {
			o.Expected_rpm, o.Within = 0, 0 // nothing but the type's bound
		}
		got, err := Speed(x, rate, o)
		above.add(got.Speed_rpm.Value, 60*m.hz/float64(m.perTurn), err)
		if err == nil {
			t.Logf("guessed above: ratio %.3f pwm %g scale %.2g rate %g perTurn %d fastest %.4g expected %.4g got %.4g of %.4g", ratio, m.pwm_Hz, m.scale, rate, m.perTurn, o.Fastest_rpm, o.Expected_rpm, got.Speed_rpm.Value, 60*m.hz/float64(m.perTurn))
		}
	}
	t.Logf("above 0.4 of the rate: %v", &above)
	assert.Equal(t, above.n, above.refused, "a speed was guessed")
}
