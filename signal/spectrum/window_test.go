package spectrum

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	gwindow "gonum.org/v1/gonum/dsp/window"
)

func TestWindowFigures(t *testing.T) {
	// Harris 1978 Table I prints 1.00/3.92, 1.50/1.42 and 2.00/0.83; the
	// digits beyond follow from the formulas. The Hann figures also stand in a
	// microcontroller maker's manual (1.5, 1.4236 dB); the flat top's 3.7706
	// bins are 16.6285 Hz for 10000 points at 44.1 kHz in a signal toolbox's
	// manual (symmetric form).
	for _, c := range []struct {
		w                      Window
		gain, enbw, scalloping float64
	}{
		{Rectangle, 1, 1, 3.9224},
		{Hann, 0.5, 1.5, 1.4236},
		{BlackmanHarris, 0.35875, 2.00435, 0.8256},
		{FlatTop, 0.21557895, 3.77025, 0.0098},
	} {
		t.Run(c.w.String(), func(t *testing.T) {
			const n = 16384
			w := make([]float64, n)
			c.w.Fill(w)
			var sum, sq, re, im float64
			for i, v := range w {
				sum += v
				sq += v * v
				s, cos := math.Sincos(math.Pi * float64(i) / n) // half a bin off
				re, im = re+v*cos, im+v*s
			}
			assert.InDelta(t, c.gain, sum/n, 1e-9)
			assert.InDelta(t, c.gain, c.w.Gain(), 1e-15)
			assert.InDelta(t, c.enbw, n*sq/(sum*sum), 6e-6)
			assert.InDelta(t, c.enbw, c.w.ENBW(), 6e-6)
			assert.InDelta(t, c.scalloping, -20*math.Log10(math.Hypot(re, im)/sum), 6e-5)
			assert.InDelta(t, c.scalloping, c.w.ScallopingLoss(), 6e-5)
		})
	}
}

// gonum's windows are the symmetric form: N+1 points of it less the last are
// the periodic form.
func TestWindowsAgainstGonum(t *testing.T) {
	const n = 64
	for w, ref := range map[Window]func([]float64) []float64{Hann: gwindow.Hann, BlackmanHarris: gwindow.BlackmanHarris} {
		ones := make([]float64, n+1)
		for i := range ones {
			ones[i] = 1
		}
		want, got := ref(ones), make([]float64, n)
		w.Fill(got)
		assert.InDeltaSlice(t, want[:n], got, 1e-12, w.String())
	}
}
