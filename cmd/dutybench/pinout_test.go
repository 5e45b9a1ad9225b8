package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParseReading(t *testing.T) {
	for s, want := range map[string]reading{
		"OL":      {open: true, volt: math.NaN(), ohm: math.NaN()},
		"rise":    {climbs: true, volt: math.NaN(), ohm: math.NaN()},
		"0.55 V":  {volt: 0.55, ohm: math.NaN()},
		"550mV":   {volt: 0.55, ohm: math.NaN()},
		"12 kohm": {volt: math.NaN(), ohm: 12e3},
		"12k":     {volt: math.NaN(), ohm: 12e3},
		"1.5M":    {volt: math.NaN(), ohm: 1.5e6},
		"470 Ω":   {volt: math.NaN(), ohm: 470},
		"0.3 ohm": {volt: math.NaN(), ohm: 0.3},
	} {
		got, err := parseReading(s)
		require.NoError(t, err, s)
		assert.Equal(t, want.open, got.open, s)
		assert.Equal(t, want.climbs, got.climbs, s)
		for _, v := range [][2]float64{{want.volt, got.volt}, {want.ohm, got.ohm}} {
			if math.IsNaN(v[0]) {
				assert.True(t, math.IsNaN(v[1]), s)
			} else {
				assert.InDelta(t, v[0], v[1], 1e-9*v[0], s)
			}
		}
	}
	for _, s := range []string{"", "0.55", "1.8 V", "-1 V", "NaN V", "inf ohm", "12 kg", "V"} {
		_, err := parseReading(s)
		assert.Error(t, err, "%q", s)
	}
}

// board is the readings at a unit's plug, by function.
func board(function map[string]string, joined map[string]string) map[probe]reading {
	node := func(l string) string {
		if j := joined[l]; j != "" {
			return j
		}
		return l
	}
	nan := math.NaN()
	out := map[probe]reading{}
	for a := range function {
		for b := range function {
			if a == b {
				continue
			}
			r := reading{open: true, volt: nan, ohm: nan}
			switch fa, fb := function[a], function[b]; {
			case node(a) == node(b):
				r = reading{volt: nan, ohm: 0.4}
			case fa == "supply" && fb == "ground":
				r = reading{climbs: true, volt: nan, ohm: nan}
			case fa == "ground" && fb == "supply":
				r = reading{volt: 0.55, ohm: nan}
			case fa == "ground" && fb == "line":
				r = reading{volt: 0.62, ohm: nan}
			case fa == "line" && fb == "supply" || fa == "supply" && fb == "line":
				r = reading{volt: nan, ohm: 12e3}
			case fa == "ground" && fb == "return" || fa == "return" && fb == "ground":
				r = reading{volt: nan, ohm: 47e3}
			}
			out[probe{a, b}] = r
		}
	}
	return out
}

func TestPropose(t *testing.T) {
	for name, c := range map[string]struct {
		labels   []string
		function map[string]string
		joined   map[string]string
	}{
		"three":           {[]string{"1", "2", "3"}, map[string]string{"1": "ground", "2": "line", "3": "supply"}, nil},
		"four, one empty": {[]string{"A", "B", "C", "D"}, map[string]string{"A": "supply", "B": "unused", "C": "line", "D": "ground"}, nil},
		"two grounds":     {[]string{"1", "2", "3", "4"}, map[string]string{"1": "ground", "2": "ground", "3": "line", "4": "supply"}, map[string]string{"2": "1"}},
	} {
		t.Run(name, func(t *testing.T) {
			p := propose(c.labels, board(c.function, c.joined))
			assert.Equal(t, c.function, p.function)
			assert.Empty(t, p.open)
			assert.NotEmpty(t, p.reasons)
		})
	}
}

func TestProposeSaysWhatStaysOpen(t *testing.T) {
	labels := []string{"1", "2", "3", "4"}
	p := propose(labels, board(map[string]string{"1": "supply", "2": "ground", "3": "line", "4": "return"}, nil))
	assert.Equal(t, map[string]string{"1": "supply", "2": "ground"}, p.function, "line and return look alike")
	require.Len(t, p.open, 1)
	assert.Contains(t, p.open[0], "dutybench listen")

	none := propose([]string{"1", "2"}, map[probe]reading{{"1", "2"}: {open: true, volt: math.NaN(), ohm: math.NaN()}, {"2", "1"}: {open: true, volt: math.NaN(), ohm: math.NaN()}})
	assert.Empty(t, none.function)
	assert.Contains(t, none.open[0], "No two cavities")

	winding := propose([]string{"1", "2"}, map[probe]reading{{"1", "2"}: {volt: math.NaN(), ohm: 8}, {"2", "1"}: {volt: math.NaN(), ohm: 8}})
	assert.Equal(t, map[string]string{"1": "supply", "2": "ground"}, winding.function)
	assert.Empty(t, winding.open)
	assert.Contains(t, winding.reasons[0], "8 ohm both ways: a coil or a motor")
	assert.Contains(t, winding.reasons[1], "may be either way")
	low := propose([]string{"1", "2"}, map[probe]reading{{"1", "2"}: {volt: math.NaN(), ohm: 0.8}, {"2", "1"}: {volt: math.NaN(), ohm: 0.8}})
	assert.Len(t, low.function, 2)
	assert.Contains(t, low.open[0], "or a short")
	diode := propose([]string{"1", "2"}, map[probe]reading{{"1", "2"}: {volt: math.NaN(), ohm: 20}, {"2", "1"}: {volt: math.NaN(), ohm: 60}})
	assert.Equal(t, "supply", diode.function["2"], "the diode conducts with plus on 1")

	// A diode alone between two that could be either pair.
	nan := math.NaN()
	two := map[probe]reading{}
	for _, a := range []string{"1", "2", "3"} {
		for _, b := range []string{"1", "2", "3"} {
			two[probe{a, b}] = reading{open: true, volt: nan, ohm: nan}
		}
	}
	two[probe{"1", "2"}] = reading{volt: 0.5, ohm: nan}
	two[probe{"1", "3"}] = reading{volt: 0.5, ohm: nan}
	p = propose([]string{"1", "2", "3"}, two)
	assert.NotEmpty(t, p.open)
	assert.Contains(t, strings.Join(p.open, " "), "nearly the same")
}

// Supply and ground are never exchanged without a word, whatever is read.
func TestProposeNeverContradictsAClimbingReading(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for range 3000 {
		labels := []string{"1", "2", "3", "4"}[:2+rng.IntN(3)]
		got := map[probe]reading{}
		for _, a := range labels {
			for _, b := range labels {
				r := reading{volt: math.NaN(), ohm: math.NaN()}
				switch rng.IntN(5) {
				case 0:
					r.open = true
				case 1:
					r.climbs = true
				case 2:
					r.volt = rng.Float64()
				default:
					r.ohm = math.Pow(10, -1+8*rng.Float64())
				}
				got[probe{a, b}] = r
			}
		}
		p := propose(labels, got)
		byFunction := map[string]string{}
		for l, f := range p.function {
			byFunction[f] = l
		}
		s, g := byFunction["supply"], byFunction["ground"]
		require.Equal(t, s == "", g == "")
		if s != "" && len(p.open) == 0 {
			require.False(t, got[probe{g, s}].climbs && !got[probe{s, g}].climbs, fmt.Sprint(got))
		}
	}
}

func TestPinoutCommand(t *testing.T) {
	t.Parallel()
	const readings = "A>B=rise,B>A=0.58V,A>C=12k,C>A=12k,B>C=0.6V,C>B=ol"
	d := newDesk(t)
	c := d.call("pinout", "--cavities", "A,B,C", "--meter", "0.9 V, 1 mA", "--readings", readings)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stdout, "[connector]")
	assert.Equal(t, 3, strings.Count(c.stdout, "[[connector.cavity]]"))
	assert.Contains(t, c.stderr, "at most 1 V open")
	assert.Contains(t, c.stderr, "capacitor")

	d.stdin = "A,B,C\n0.9 V, 1 mA\nrise\nwhat\n0.58 V\n12k\n12k\n0.6V\nol\n"
	asked := d.call("pinout")
	require.Zero(t, asked.status, asked.stderr)
	assert.Equal(t, c.stdout, asked.stdout)
	assert.Contains(t, asked.stderr, "is no reading")

	d.stdin = "A,B\n"
	assert.Equal(t, exitError, d.call("pinout").status, "the answers ended")
	for name, args := range map[string][]string{
		"strong meter":  {"--cavities", "A,B,C", "--meter", "3 V, 1 mA", "--readings", readings},
		"strong amps":   {"--cavities", "A,B,C", "--meter", "0.9 V, 50 mA", "--readings", readings},
		"no meter":      {"--cavities", "A,B,C", "--meter", "yes", "--readings", readings},
		"one missing":   {"--cavities", "A,B,C", "--meter", "0.9 V, 1 mA", "--readings", strings.TrimSuffix(readings, ",C>B=ol")},
		"twice":         {"--cavities", "A,B,A", "--meter", "0.9 V, 1 mA", "--readings", readings},
		"strange label": {"--cavities", "A,B,D", "--meter", "0.9 V, 1 mA", "--readings", readings},
		"side":          {"--cavities", "A,B,C", "--meter", "0.9 V, 1 mA", "--readings", readings, "--side", "top"},
		"argument":      {"A"},
	} {
		assert.Equal(t, exitUsage, d.call(append([]string{"pinout"}, args...)...).status, name)
	}
}
