package spectrum

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestLinesFound(t *testing.T) {
	const rate = 2000.0
	x := noise(rand.New(rand.NewPCG(4, 4)), 8000, 0.05)
	truth := []Line{{Frequency_Hz: 151.37, Amplitude: 1}, {Frequency_Hz: 302.74, Amplitude: 0.2}, {Frequency_Hz: 153.9, Amplitude: 0.1}, {Frequency_Hz: 7.77, Amplitude: 0.05}}
	for i, l := range truth {
		addLine(x, rate, l.Frequency_Hz, l.Amplitude, float64(i))
	}
	lines, err := Lines(x, rate, Options{})
	require.NoError(t, err)
	require.Len(t, lines, len(truth), "%v", lines)
	for i, l := range lines {
		assert.InDelta(t, truth[i].Frequency_Hz, l.Frequency_Hz, 4*l.U_Hz)
		assert.InDelta(t, truth[i].Amplitude, l.Amplitude, 0.003)
		// Power A²/2 over the noise of a bin, σ²·2/rate·ENBW·rate/N.
		snr := 10 * math.Log10(truth[i].Amplitude*truth[i].Amplitude/2/(0.05*0.05*2*2.00435/8000))
		assert.InDelta(t, snr, l.SNR_dB, 1.5)
	}
	only, err := Lines(x, rate, Options{Lo_Hz: 200, Hi_Hz: 400})
	require.NoError(t, err)
	require.Len(t, only, 1)
	only, err = Lines(x, rate, Options{Most: 1})
	require.NoError(t, err)
	assert.Len(t, only, 1)
}

// Noise has no lines; the odd false one is as rare as stated.
func TestNoLinesInNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	found := 0
	for range 60 {
		x := noise(rng, 4000, 1)
		v := 0.0
		for i := range x { // coloured too
			v = 0.9*v + rng.NormFloat64()
			x[i] += v
		}
		lines, err := Lines(x, 1000, Options{})
		require.NoError(t, err)
		found += len(lines)
	}
	assert.LessOrEqual(t, found, 1)
	for _, x := range [][]float64{make([]float64, 500), ramp(500)} {
		lines, err := Lines(x, 1000, Options{})
		require.NoError(t, err)
		assert.Empty(t, lines)
	}
}

func ramp(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1e3 + 0.37*float64(i)
	}
	return x
}

// The stated uncertainty holds: about 95 % within two of it.
func TestLineUncertainty(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	in, runs := 0, 300
	for range runs {
		x := noise(rng, 500, 0.3)
		f := 60 + 5*rng.Float64()
		addLine(x, 1000, f, 0.5, 6*rng.Float64())
		lines, err := Lines(x, 1000, Options{})
		require.NoError(t, err)
		require.NotEmpty(t, lines)
		if math.Abs(lines[0].Frequency_Hz-f) < 2*lines[0].U_Hz {
			in++
		}
	}
	assert.InDelta(t, 0.95, float64(in)/float64(runs), 0.04)
}

// A sine of few periods looks like a slope to a straight line; taking the
// slope off first would cost 6/(πm)² of it, 1.2 % for 7 periods.
func TestFewPeriodsKeepTheirAmplitude(t *testing.T) {
	x := make([]float64, 700)
	addLine(x, 7000, 70, 2, -math.Pi/2)
	for i := range x {
		x[i] += 0.001 * float64(i)
	}
	lines, err := Lines(x, 7000, Options{Most: 1})
	require.NoError(t, err)
	require.Len(t, lines, 1)
	assert.InEpsilon(t, 2, lines[0].Amplitude, 1e-3)
	assert.InDelta(t, 70, lines[0].Frequency_Hz, 1e-3)
}

// recording reads a folder of real recordings beside the repository.
func recording(t *testing.T, name string) (ts []float64, ch [3][]float64) {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		require.NotEqual(t, filepath.Dir(dir), dir, "no go.mod above the test")
		dir = filepath.Dir(dir)
	}
	file, err := os.Open(filepath.Join(dir, "..", "shared", "datasets", "bldc-backemf-lines", name))
	if err != nil {
		t.Skipf("recording absent: %v", err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	for _, row := range rows[1:] {
		var v [4]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(row[i], 64)
			require.NoError(t, err)
		}
		ts = append(ts, v[0])
		for i := range ch {
			ch[i] = append(ch[i], v[i+1])
		}
	}
	return ts, ch
}

// A real brushless motor with 7 pole pairs turned at labelled speeds; the
// recordings' notes give the frequency and amplitudes of a least-squares sine.
func TestBackEMFRecordings(t *testing.T) {
	perThousand := map[int][]float64{}
	for _, c := range []struct {
		name      string
		rpm, f    float64
		amplitude [3]float64
	}{
		{"bemf_0250rpm1.csv", 250, 29.114, [3]float64{0.999, 1.001, 0.100}},
		{"bemf_0500rpm1.csv", 500, 58.29, [3]float64{1.986, 1.996, 0.199}},
		{"bemf_1000rpm1.csv", 1000, 116.58, [3]float64{3.951, 3.965, 0.395}},
	} {
		t.Run(c.name, func(t *testing.T) {
			ts, channels := recording(t, c.name)
			for i, x := range channels {
				grid, rate, err := Even(nil, ts, x)
				require.NoError(t, err)
				lines, err := Lines(grid, rate, Options{})
				require.NoError(t, err)
				require.NotEmpty(t, lines)
				l := lines[0]
				speed, err := Speed(l, 7, rate, 1000)
				require.NoError(t, err)
				t.Logf("channel %d: %.3f Hz (u %.3f), %.1f rpm, amplitude %.4f V, %.0f dB, %d lines", i+1, l.Frequency_Hz, l.U_Hz, speed.Value, l.Amplitude, l.SNR_dB, len(lines))
				assert.InEpsilon(t, c.rpm, speed.Value, 0.01)
				assert.InEpsilon(t, c.f, l.Frequency_Hz, 0.001)
				assert.InEpsilon(t, c.amplitude[i], l.Amplitude, 0.006)
				perThousand[i] = append(perThousand[i], l.Amplitude/speed.Value*1000)
			}
		})
	}
	for i, k := range perThousand {
		for _, v := range k {
			assert.InEpsilon(t, k[0], v, 0.02, "channel %d: amplitude per 1000 rpm %.3f", i+1, k)
		}
	}
}

func FuzzLines(f *testing.F) {
	f.Add([]byte("a line of text that is long enough for a spectrum of sorts"))
	f.Fuzz(func(t *testing.T, data []byte) {
		x := make([]float64, len(data))
		for i, b := range data {
			x[i] = float64(b)
		}
		lines, err := Lines(x, 100, Options{})
		if err != nil {
			return
		}
		for _, l := range lines {
			require.True(t, l.Frequency_Hz > 0 && l.Frequency_Hz < 50 && finite(l.Amplitude) && finite(l.U_Hz) && finite(l.SNR_dB), "%+v", l)
		}
	})
}
