package calibrate

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/rig"
	"dutybench/profiles/strict"
	"dutybench/signal/stat"
)

var noon = time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)

func day(s string) (d Day) {
	if err := d.UnmarshalText([]byte(s)); err != nil {
		panic(err)
	}
	return d
}

func meter() Reference {
	return Reference{Name: "bench multimeter", Serial: "4711", Certificate: "K-2026-0417", Issued: day("2026-04-17"), Due: day("2027-04-17"),
		Gain: strict.Share(0.001), Offset: 0.002, K: 2, Digit: 0.001}
}

// made is a calibration with this gain and offset in the readings.
func made(t *testing.T, d *rig.Description, gain, offset float64) *Calibration {
	t.Helper()
	var p []Point
	for i, v := range []float64{0, 2, 4, 6, 8, 10, 7, 3} {
		p = append(p, Point{Reading: offset + gain*v + 1e-4*float64(i%3-1), U: 1e-4, DoF: 19, Reference: v, Zero: i == 0})
	}
	l, err := Fit(p, meter().Meter())
	require.NoError(t, err)
	c := New(Current, d, l, meter(), noon)
	c.Due, c.By, c.Temperature, c.Note = day("2027-11-26"), "the technician", 23, "after the new shunt"
	return c
}

func TestFileKeeps(t *testing.T) {
	path := filepath.Join(t.TempDir(), "small.toml")
	d := rig.Default()
	f, err := Load(path)
	require.NoError(t, err)
	assert.Empty(t, f.List)
	first, second := made(t, &d, 1.01, 0.02), made(t, &d, 1.011, 0.021)
	require.NoError(t, Add(path, "small", first))
	require.NoError(t, Add(path, "small", second))
	f, err = Load(path)
	require.NoError(t, err)
	require.Len(t, f.List, 2)
	got, stale := f.Latest(&d, Current)
	assert.False(t, stale)
	assert.Equal(t, second.Points, got.Points)
	assert.Equal(t, second.Reference, got.Reference)
	assert.Equal(t, second.line.Gain.Half, got.line.Gain.Half)
	assert.Equal(t, first.Points, f.List[0].Points, "the earlier one is kept")
	v, stale := f.Latest(&d, Voltage)
	assert.Nil(t, v)
	assert.False(t, stale)
	// Another shunt: not the same rig any more. Another bus speed is.
	d.I2C.Speed_Hz = 100e3
	got, _ = f.Latest(&d, Current)
	assert.NotNil(t, got)
	d.Current.Shunt_Ohm = 0.001
	got, stale = f.Latest(&d, Current)
	assert.Nil(t, got)
	assert.True(t, stale)
	// Nothing is left beside the file.
	entries, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	assert.Len(t, entries, 1)
}

func TestFileRefuses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "small.toml")
	d := rig.Default()
	require.NoError(t, Add(path, "small", made(t, &d, 1.01, 0.02)))
	data, err := os.ReadFile(Path(path))
	require.NoError(t, err)
	for _, c := range []struct{ was, is, says string }{
		{"gain = 1.0", "gain = 1.1", "changed after it was written"},
		{"reference = 4,", "reference = 5,", "changed after it was written"},
		{"quantity = \"current\"", "quantity = \"power\"", "current or voltage"},
		{"by = ", "By = ", "exactly in case"},
		{"k = 2", "k = 9", "at most 4"},
		{"due = \"2027-11-26\"", "due = \"26.11.2027\"", "is no date"},
	} {
		text := strings.Replace(string(data), c.was, c.is, 1)
		require.NotEqual(t, string(data), text, c.was)
		_, err := Parse([]byte(text), "small.calibration.toml")
		assert.ErrorContains(t, err, c.says)
	}
	// A second program, or a dead one.
	require.NoError(t, os.WriteFile(Path(path)+".new", nil, 0o644))
	assert.ErrorContains(t, Add(path, "small", made(t, &d, 1, 0)), "another program is writing")
	after, err := os.ReadFile(Path(path))
	require.NoError(t, err)
	assert.Equal(t, data, after)
}

// one is a sampler that reads always the same.
type one struct {
	rig.Sampler
	s rig.Sample
}

func (o one) Next(s *rig.Sample) error { *s = o.s; return nil }

func TestApplyCorrects(t *testing.T) {
	d := rig.Default()
	const gain, offset = 1.01, 0.02
	f := &File{List: []Calibration{*made(t, &d, gain, offset)}}
	r := &rig.Rig{Sampler: one{s: rig.Sample{Current_A: offset + gain*5, Supply_V: 13, Line_V: 4}}, Accuracy: d.Accuracy(),
		Facts: []rig.Fact{{Key: "bus", Value: "400kHz"}, {Key: "accuracy", Value: "not calibrated"}}}
	raw := r.Sampler
	a := Apply(r, &d, f)
	require.NotNil(t, a.Current)
	assert.Nil(t, a.Voltage)
	var s rig.Sample
	require.NoError(t, r.Sampler.Next(&s))
	assert.InDelta(t, 5, s.Current_A, 5e-4)
	assert.Equal(t, 13.0, s.Supply_V)
	assert.Equal(t, 4.0, s.Line_V)
	assert.Equal(t, raw, Raw(r.Sampler))
	assert.Equal(t, raw, Raw(raw))
	assert.InDelta(t, 0.0005, r.Accuracy.CurrentGain, 1e-4)
	assert.Contains(t, r.Accuracy.ReferenceDocument, "K-2026-0417")
	assert.Contains(t, r.Accuracy.ReferenceDocument, "else limits of data sheets")
	assert.Equal(t, r.Accuracy.ReferenceDocument, r.Facts[1].Value)
	assert.Zero(t, testing.AllocsPerRun(100, func() { _ = r.Sampler.Next(&s) }))
	// No calibration: nothing is touched.
	r = &rig.Rig{Sampler: raw, Accuracy: d.Accuracy()}
	Apply(r, &d, &File{})
	assert.Equal(t, raw, r.Sampler)
	assert.Equal(t, d.Accuracy(), r.Accuracy)
}

func TestCheck(t *testing.T) {
	d := rig.Default()
	apply := func(change func(*Calibration)) *Applied {
		c := made(t, &d, 1.01, 0.02)
		if change != nil {
			change(c)
		}
		return Apply(&rig.Rig{Accuracy: d.Accuracy()}, &d, &File{List: []Calibration{*c}})
	}
	zero := func(v float64) stat.Quantity { return stat.Exact(v).With("noise", 1e-4, 50) }
	step := d.Accuracy().CurrentStep_A
	assert.Empty(t, apply(nil).Check(noon, zero(0.0002), step))
	assert.Empty(t, apply(nil).Check(time.Date(2027, 11, 26, 23, 0, 0, 0, time.UTC), zero(0), step), "due today is not past due")
	for name, c := range map[string]struct {
		change func(*Calibration)
		now    time.Time
		zero   float64
		says   string
	}{
		"due":         {nil, time.Date(2027, 11, 27, 1, 0, 0, 0, time.UTC), 0, "was due on 2027-11-26"},
		"certificate": {func(c *Calibration) { c.Reference.Due = day("2026-11-25") }, noon, 0, "had run out on 2026-11-25"},
		"zero":        {nil, noon, 0.005, "it has drifted since 2026-11-26"},
		"other shunt": {func(c *Calibration) { c.Identity = "0" }, noon, 0, "another wiring"},
		"clock":       {nil, time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC), 0, "clock is not set"},
		"ahead":       {nil, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 0, "lies ahead"},
	} {
		out := apply(c.change).Check(c.now, zero(c.zero), step)
		if assert.Len(t, out, 1, name) {
			assert.Contains(t, out[0], c.says, name)
		}
	}
	assert.Empty(t, apply(nil).Check(noon, stat.Exact(math.NaN()), step), "a zero that was not taken says nothing")
}

func TestWriteText(t *testing.T) {
	d := rig.Default()
	var b strings.Builder
	require.NoError(t, made(t, &d, 1.01, 0.02).Line().WriteText(&b, "A", true))
	for line := range strings.Lines(b.String()) {
		assert.LessOrEqual(t, len(strings.TrimRight(line, "\n")), 80, line)
	}
	assert.Contains(t, b.String(), "gain    1.01")
	assert.NotContains(t, b.String(), "±")
}

func FuzzParse(f *testing.F) {
	d := rig.Default()
	l, _ := Fit([]Point{{Reading: 0, Zero: true}, {Reading: 1, Reference: 1}, {Reading: 2.01, Reference: 2}, {Reading: 3, Reference: 3}}, meter().Meter())
	c := New(Current, &d, l, meter(), noon)
	c.Due = c.Date
	data, err := (&File{Format: 1, Rig: "small", List: []Calibration{*c}}).Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte("format = 1\nrig = \"a\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := Parse(data, "f")
		if err != nil {
			return
		}
		again, err := got.Encode()
		if err != nil {
			return // such as a note that is too odd to write
		}
		_, err = Parse(again, "again")
		require.NoError(t, err)
	})
}
