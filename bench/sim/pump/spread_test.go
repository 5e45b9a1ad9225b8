package pump

import (
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// spreads are the standard deviations of good units' currents at shares.
func spreads(t *testing.T, size string, shares []float64) []float64 {
	const n = 2000
	rng := rand.New(rand.NewPCG(41, 42))
	sum, sq := make([]float64, len(shares)), make([]float64, len(shares))
	for range n {
		c, err := Draw(size, rng)
		require.NoError(t, err)
		for k, s := range shares {
			i := c.Steady(s, c.Nominal_V, 20, 20).Supply_A
			sum[k], sq[k] = sum[k]+i, sq[k]+i*i
		}
	}
	for k := range sum {
		mean := sum[k] / n
		sq[k] = math.Sqrt(sq[k]/n - mean*mean)
	}
	return sq
}

// Graded faults at the half move the most affected steady current by 3.5 to 5.1
// standard deviations of good units, on every size; and the texts tell what
// the size "medium" does.
func TestGradedFaultsAtHalf(t *testing.T) {
	shares := []float64{0.118, 0.47, 1} // 20, 50, 95 % duty of the Direct law
	texts := map[string]Fault{}
	for _, f := range Faults() {
		texts[f.Name] = f
	}
	for _, size := range Sizes() {
		sd := spreads(t, size, shares)
		c := nominal(t, size)
		for _, name := range []string{"drag", "rub", "dry-loop", "blocked-outlet", "power-limit", "impeller-lost"} {
			for _, severity := range []float64{0.5, 1} {
				bad, _, err := damage(c, name, severity)
				require.NoError(t, err)
				most, shift := 0.0, 0.0
				for k, s := range shares {
					d := bad.Steady(s, c.Nominal_V, 20, 20).Supply_A - c.Steady(s, c.Nominal_V, 20, 20).Supply_A
					if math.Abs(d/sd[k]) > math.Abs(most) {
						most, shift = d/sd[k], d
					}
				}
				t.Logf("%s %s %v: %+.3f A, %+.1f sd", size, name, severity, shift, most)
				if severity == 0.5 && texts[name].Graded {
					assert.InDelta(t, 4.3, math.Abs(most), 0.8, "%s %s", size, name)
				}
				if size == "medium" {
					text := texts[name].Half
					if severity == 1 {
						text = texts[name].Full
					}
					told := regexp.MustCompile(`([+-][0-9.]+) A at .*about (\d+) sd`).FindStringSubmatch(text)
					require.NotNil(t, told, text)
					amps, _ := strconv.ParseFloat(told[1], 64)
					sds, _ := strconv.ParseFloat(told[2], 64)
					assert.InDelta(t, shift, amps, 0.006, name)
					assert.InDelta(t, math.Abs(most), sds, 0.8, name)
				}
			}
		}
	}
}

// The supply's limit at the half takes away 4 to 5 deviations of the full
// current, and a late start is late by about 5 deviations of the time from the
// command to the full speed, which the clock alone spreads.
func TestOtherGradedAtHalf(t *testing.T) {
	for _, size := range Sizes() {
		c := nominal(t, size)
		sd := spreads(t, size, []float64{1})[0]
		full := c.Steady(1, c.Nominal_V, 20, 20).Supply_A
		limit := SourceChange(c, "supply-limit", 0.5, ideal(c)).Limit_A
		assert.InDelta(t, 4.3, (full-limit)/sd, 0.6, size)
		_, d, err := damage(c, "late-start", 0.5)
		require.NoError(t, err)
		late := float64(d.wakeUps) * (c.Wake_s + nap_s)
		assert.InDelta(t, 5, late/(spreadClock*(c.Wake_s+c.Align_s+c.Ramp_s+c.Verify_s+c.Slew_s)), 0.5)
	}
}

// Every good unit starts at its first attempt and reaches full speed; a wide
// draw of units with graded faults starts as well.
func TestGoodUnitsStart(t *testing.T) {
	for _, size := range Sizes() {
		for k := range 12 {
			fault := []string{"", "", "drag", "rub", "dry-loop", "blocked-outlet"}[k%6]
			b := plug(t, drawn(t, size, uint64(k)), fault, 1, uint64(k))
			b.hold(0.3)
			b.line = pwm(b.params, fullDuty(b.params))
			b.hold(2.6)
			now := b.Truth()
			assert.Equal(t, "closed loop", now.State, "%s %s %d", size, fault, k)
			assert.Equal(t, 1, now.Attempt, "%s %s %d", size, fault, k)
		}
	}
}
