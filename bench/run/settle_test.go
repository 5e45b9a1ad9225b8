package run

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ends gives the time at which a current by time is good enough, 0 for never
// within a minute.
func ends(interval time.Duration, good, floor float64, x func(t_s float64) float64) time.Duration {
	s := newSettling(0, interval, 2*ms, good, floor)
	for at := interval; at < time.Minute; at += interval {
		if s.add(at, x(at.Seconds())) {
			return at
		}
	}
	return 0
}

// Whatever the time constant, what is left of an exponential approach when
// the step ends is no more than asked, once the step has lasted as long as
// the doc comment says.
func TestExponentialApproach(t *testing.T) {
	for _, tau := range []float64{0.05, 0.2, 0.5, 1, 3} {
		for _, good := range []float64{0.002, 0.005, 0.05, 0.1} {
			at := ends(ms, good, 0, func(t float64) float64 { return 3 * (1 - math.Exp(-t/tau)) })
			require.NotZero(t, at)
			require.Greater(t, at.Seconds(), 1.4*tau)
			assert.Less(t, math.Exp(-at.Seconds()/tau), good, "tau %g s, ended at %v", tau, at)
			assert.Less(t, at.Seconds(), 15*tau+0.2, "nor does it wait for ever")
		}
	}
}

// With white noise of known size the step ends once the mean is known, and
// its standard error is then what was asked: from s/√n.
func TestNoise(t *testing.T) {
	const good, mean, sd = 0.005, 2.0, 0.4
	need := sd * sd / (good * mean * good * mean) // samples
	var off []float64
	for seed := range uint64(30) {
		r := rand.New(rand.NewPCG(seed, 1))
		at := ends(ms, good, 0, func(float64) float64 { return mean + sd*r.NormFloat64() })
		require.NotZero(t, at)
		off = append(off, at.Seconds()/(need*1e-3))
	}
	var sum float64
	for _, x := range off {
		sum += x / float64(len(off))
	}
	// Half of the step is looked at, and the rise must be small as well.
	assert.Greater(t, sum, 1.2)
	assert.Less(t, sum, 20.0)
}

func TestNeverGood(t *testing.T) {
	for name, x := range map[string]func(float64) float64{
		"steady rise": func(t float64) float64 { return 1 + t },
	} {
		assert.Zero(t, ends(10*ms, 0.005, 0, x), name)
	}
	assert.Zero(t, ends(ms, 0, 0, func(float64) float64 { return 3 }), "good 0: to its limit")
}

func TestFloor(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	quiet := func(float64) float64 { return 1e-4 * r.NormFloat64() }
	assert.NotZero(t, ends(ms, 0.005, 1e-3, quiet), "below the converter's step nothing more is to be known")
	assert.Less(t, ends(ms, 0.005, 1e-3, quiet), 200*ms)
}

func TestGapsInSamples(t *testing.T) {
	s := newSettling(0, ms, 0, 0.01, 0)
	for at := 50 * ms; at < 3*time.Second; at += 50 * ms {
		if s.add(at, 3) {
			return
		}
	}
	t.Fatal("never good")
}
