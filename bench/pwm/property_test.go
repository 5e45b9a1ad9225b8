package pwm_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"path"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/pwm"
	"dutybench/bench/sim"
)

// watch is a tree on which no write may be refused, and between two writes
// the duty cycle may never be above the period.
type watch struct {
	*log
	t    *testing.T
	most float64 // the greatest share seen since it was set
}

func (w *watch) WriteFile(name string, data []byte) error {
	err := w.log.WriteFile(name, data)
	if len(data) > 0 && path.Base(name) != "export" {
		require.NoError(w.t, err, "%s of %s", data, name)
		period, duty := number(w.t, w.Tree, "period"), number(w.t, w.Tree, "duty_cycle")
		require.LessOrEqual(w.t, duty, period)
		if number(w.t, w.Tree, "enable") == 1 {
			w.most = max(w.most, float64(duty)/float64(period))
		}
	}
	return err
}

// TestRandomCalls makes random calls: the kernel refuses none, the output is
// right after each, and between two it never shows more than both.
func TestRandomCalls(t *testing.T) {
	const seed = 20261126
	rng := rand.New(rand.NewPCG(seed, 1))
	for run := range 60 {
		b := sim.NewBench(sim.Options{Ideal: true, Wire: sim.Wire{High_V: 5}})
		w := &watch{log: &log{Tree: b.Tree()}, t: t}
		p, err := pwm.Open(w, b.Clock(), sim.PWMDevice, 0)
		require.NoError(t, err)
		was := 0.0
		for step := range 60 {
			share, running := was, true
			w.most = 0
			switch rng.IntN(5) {
			case 0:
				level := gpio.Level(rng.IntN(2) == 1)
				require.NoError(t, p.Out(level))
				share = 0
				if level {
					share = 1
				}
			case 1:
				require.NoError(t, p.Halt())
				share, running = 0, false
			default:
				f := physic.Frequency(math.Exp(rng.Float64()*math.Log(1e6)) * float64(physic.Hertz))
				duty := gpio.Duty(rng.Int64N(int64(gpio.DutyMax) + 1))
				require.NoError(t, p.PWM(duty, min(f, pwm.HighestFrequency)))
				share = float64(duty) / float64(gpio.DutyMax)
				if duty != 0 && duty != gpio.DutyMax {
					want := 1e9 * float64(physic.Hertz) / float64(f)
					require.InDelta(t, want, number(t, w.Tree, "period"), 0.51, "seed %d run %d step %d", seed, run, step)
				}
			}
			period, duty := number(t, w.Tree, "period"), number(t, w.Tree, "duty_cycle")
			if running || period > 0 {
				require.InDelta(t, share, float64(duty)/float64(period), 1.01/float64(period), "seed %d run %d step %d", seed, run, step)
			}
			require.Equal(t, running, number(t, w.Tree, "enable") == 1)
			require.LessOrEqual(t, w.most, max(share, was)+1.01/float64(period), "seed %d run %d step %d", seed, run, step)
			was = share
		}
	}
}

// FuzzPWM gives any duty and frequency: an error, or the right files.
func FuzzPWM(f *testing.F) {
	f.Add(int32(1<<23), int64(physic.KiloHertz), int32(5), int64(100*physic.Hertz))
	f.Add(int32(-1), int64(0), int32(1<<24), int64(math.MaxInt64))
	f.Fuzz(func(t *testing.T, duty int32, freq int64, duty2 int32, freq2 int64) {
		b := sim.NewBench(sim.Options{})
		p, err := pwm.Open(b.Tree(), b.Clock(), sim.PWMDevice, 0)
		require.NoError(t, err)
		for range 2 {
			err := p.PWM(gpio.Duty(duty), physic.Frequency(freq))
			if err != nil {
				require.False(t, errors.Is(err, syscall.EINVAL), "the kernel refused: %v", err)
			} else {
				share := float64(number(t, b.Tree(), "duty_cycle")) / float64(number(t, b.Tree(), "period"))
				require.InDelta(t, float64(duty)/float64(gpio.DutyMax), share, 1.01e-3)
			}
			duty, freq = duty2, freq2
		}
	})
}
