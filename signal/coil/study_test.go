package coil_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/coil"
	"dutybench/signal/stat"
)

// long leaves a study out where time is short: the same numbers run elsewhere.
func long(t *testing.T) {
	if testing.Short() {
		t.Skip("a study: left out by -short")
	}
}

// trials is how many units a study draws: some in every test run, eight times
// as many in a sample of the campaign, all in the whole.
func trials(some, all int) int {
	switch os.Getenv("DUTYBENCH_CAMPAIGN") {
	case "full":
		return all
	case "sample":
		return 8 * some
	}
	return some
}

const rate_Hz = 20e3

// measured reads a fine current at 20 kHz with noise that many dB below the
// final current.
func measured(t testing.TB, r *rand.Rand, fine []float64, before, final, db float64, fall bool) (*coil.Edge, float64) {
	ts, is, edge := sampled(r, fine, before, rate_Hz, 5e-3, final*math.Pow(10, -db/20))
	known := coil.Known{Switched: true, Switched_s: math.Floor(edge*rate_Hz) / rate_Hz}
	read := coil.Rise
	if fall {
		read = coil.Fall
	}
	e, err := read(coil.Samples{Time_s: ts, Current_A: is}, known)
	require.NoError(t, err)
	return e, edge
}

// tally collects what became of the motions of a study.
type tally struct {
	begin, end, beginZ, endZ []float64 // ms, and in standard uncertainties
	drawn, found             [5]int    // by depth over noise: below 2, 4, 8, 16, and above
}

func (s *tally) add(e *coil.Edge, p *plunger, edge_s, sd float64) {
	class := min(max(int(math.Log2(p.depth_A/sd)), 0), 4)
	s.drawn[class]++
	m := &e.Motion
	if m.Found != coil.Moved {
		return
	}
	s.found[class]++
	shift := e.Onset_s.Value - edge_s
	begin, end := m.Begin_s.Value+shift-p.begin_s, m.End_s.Value+shift-p.end_s
	s.begin, s.end = append(s.begin, math.Abs(begin)*1e3), append(s.end, math.Abs(end)*1e3)
	s.beginZ, s.endZ = append(s.beginZ, math.Abs(begin)/m.Begin_s.U()), append(s.endZ, math.Abs(end)/m.End_s.U())
}

func within(xs []float64, limit float64) float64 {
	n := 0
	for _, x := range xs {
		if x <= limit {
			n++
		}
	}
	return float64(n) / float64(max(len(xs), 1))
}

func (s *tally) print(t *testing.T, name string) {
	var b []byte
	for k, label := range []string{"<2", "2-4", "4-8", "8-16", ">16"} {
		b = fmt.Appendf(b, " %s: %d/%d", label, s.found[k], s.drawn[k])
	}
	t.Logf("%s\n  end   ms %s, within 0.3 ms %.3f, error/u %s\n  begin ms %s, within 0.3 ms %.3f, error/u %s\n  found by depth over noise:%s", name,
		quantiles(s.end), within(s.end, 0.3), quantiles(s.endZ), quantiles(s.begin), within(s.begin, 0.3), quantiles(s.beginZ), b)
}

// quantiles are median, 95 % and worst.
func quantiles(xs []float64) string {
	if len(xs) == 0 {
		return "-"
	}
	xs = slices.Sorted(slices.Values(xs))
	at := func(p float64) float64 { return xs[int(p*float64(len(xs)-1))] }
	return fmt.Sprintf("median %.3f, 95 %% %.3f, worst %.3f", at(.5), at(.95), at(1))
}

// TestStudyPullIn measures how well begin and end of a motion are found, by
// the noise below the final current, and (last) below the depth of the dip.
func TestStudyPullIn(t *testing.T) {
	long(t)
	n := trials(25, 1500)
	for _, db := range []float64{30, 40, 50, 60} {
		var s, own, gap tally
		for seed := range n {
			r := rand.New(rand.NewPCG(uint64(seed), 101))
			p := drawPlunger(r)
			final := p.U_V / p.R_ohm
			fine := p.run(0.035+5*p.L1_H/p.R_ohm, fineStep)
			e, edge := measured(t, r, fine, 0, final, db, false)
			s.add(e, p, edge, final*math.Pow(10, -db/20))
			if p.gap {
				gap.add(e, p, edge, final*math.Pow(10, -db/20))
			}
			if db == 30 {
				e, edge = measured(t, r, fine, 0, p.depth_A, db, false)
				own.add(e, p, edge, p.depth_A*math.Pow(10, -db/20))
			}
		}
		s.print(t, fmt.Sprintf("pull-in, noise %g dB below the final current, %d units", db, n))
		gap.print(t, "  of these, gaps that close")
		if db == 30 {
			own.print(t, "pull-in, noise 30 dB below the depth of the dip")
			require.Greater(t, within(own.end, 0.3), 0.7)
		}
		require.Greater(t, within(s.end, 0.3), map[float64]float64{30: 0.5, 40: 0.75, 50: 0.85, 60: 0.9}[db])
	}
}

// TestStudyDropOut is the same of plungers that return while current flows.
func TestStudyDropOut(t *testing.T) {
	long(t)
	n := trials(12, 1000)
	for _, db := range []float64{30, 40, 60} {
		var s tally
		for seed := range n {
			r := rand.New(rand.NewPCG(uint64(seed), 102))
			p := drawFall(r)
			final := p.U_V / p.R_ohm
			e, edge := measured(t, r, p.run(0.2, fineStep), final, final, db, true)
			s.add(e, p, edge, final*math.Pow(10, -db/20))
		}
		s.print(t, fmt.Sprintf("drop-out, noise %g dB below the holding current, %d units", db, n))
		require.Greater(t, within(s.end, 0.3), 0.6)
	}
}

// TestStudyStuck counts motions that are reported where there are none: plain
// coils, eddies, iron that saturates, and both, rising and falling.
func TestStudyStuck(t *testing.T) {
	long(t)
	n := trials(60, 5000)
	for _, db := range []float64{30, 40, 60, 80} {
		wrong, falls := 0, 0
		var least []float64
		for seed := range n {
			r := rand.New(rand.NewPCG(uint64(seed), 103))
			c := drawIron(r)
			final := c.U_V / c.R_ohm
			fine := c.run(0.035+5*(c.air_H+c.iron_H)/c.R_ohm, fineStep)
			e, _ := measured(t, r, fine, 0, final, db, false)
			least = append(least, e.Motion.Least_A/final)
			if e.Motion.Found == coil.Moved {
				wrong++
				t.Logf("rise %d at %g dB: evidence %.1f of %.1f", seed, db, e.Motion.Evidence, e.Motion.Needed)
			}
			if seed%4 != 0 {
				continue
			}
			p := drawFall(r)
			p.preload_N, p.rate_N_m = 0, 0
			e, _ = measured(t, r, p.run(0.2, fineStep), p.U_V/p.R_ohm, p.U_V/p.R_ohm, db, true)
			falls++
			if e.Motion.Found == coil.Moved {
				wrong++
				t.Logf("fall %d at %g dB: evidence %.1f of %.1f", seed, db, e.Motion.Evidence, e.Motion.Needed)
			}
		}
		low, high := stat.ClopperPearson(wrong, n+falls, 0.95)
		t.Logf("stuck at %g dB: %d motions in %d rises and %d falls, rate %.5f to %.5f (95 %%); least depth over final %s", db, wrong, n, falls, low, high, quantiles(least))
		require.LessOrEqual(t, wrong, n/1000)
	}
}

// TestStudyNoise holds the rate of false alarms of plain noise to what was asked.
func TestStudyNoise(t *testing.T) {
	long(t)
	n := trials(150, 20000)
	const asked = 0.01
	wrong := 0
	for seed := range n {
		r := rand.New(rand.NewPCG(uint64(seed), 104))
		tau := math.Exp(uniform(r, math.Log(0.1e-3), math.Log(40e-3)))
		ts, is := make([]float64, 4000), make([]float64, 4000)
		for k := range ts {
			ts[k] = float64(k) / rate_Hz
			is[k] = -math.Expm1(-max(0, ts[k]-5.02e-3)/tau) + 0.03*r.NormFloat64()
		}
		e, err := coil.Rise(coil.Samples{Time_s: ts, Current_A: is}, coil.Known{Switched: true, Switched_s: 5e-3, FalseAlarm: asked})
		require.NoError(t, err)
		if e.Motion.Found == coil.Moved {
			wrong++
		}
	}
	low, high := stat.ClopperPearson(wrong, n, 0.95)
	t.Logf("noise: %d motions in %d edges at a rate of %g asked: %.5f to %.5f (95 %%)", wrong, n, asked, low, high)
	require.Less(t, low, asked)
}
