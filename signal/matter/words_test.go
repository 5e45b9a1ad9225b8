package matter

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestParseFluid(t *testing.T) {
	for words, want := range map[string]Fluid{
		"water": Water, "Tap  Water": Water, "water, deionised": Water, "boiled water": Water,
		"30 % propylene glycol":                 ByVolume(Propylene, 0.3),
		"water with 40% Ethylene Glycol":        ByVolume(Ethylene, 0.4),
		"propylene-glycol 33,5 % in water":      ByVolume(Propylene, 0.335),
		"25 % monoethylene glycol":              ByVolume(Ethylene, 0.25),
		"40 % ethylene glycol by mass in water": {Ethylene, 0.4},
	} {
		f, ok := ParseFluid(words)
		assert.True(t, ok, words)
		assert.Equal(t, want, f, words)
	}
	for _, words := range []string{"", "coolant", "glycol 30 %", "water glycol 50/50", "propylene glycol", "70 % water, 30 % ethylene glycol",
		"30 % diethylene glycol", "60 % ethylene glycol", "0 % ethylene glycol", "sea water", "salt water", "water with antifreeze", "not recorded", "ethylene glycol and propylene glycol 30 %", "0." + string(make([]byte, 400)) + "% ethylene glycol"} {
		_, ok := ParseFluid(words)
		assert.False(t, ok, words)
	}
}

// Whatever the words, a fluid that is read has a density and a viscosity.
func FuzzParseFluid(f *testing.F) {
	for _, s := range []string{"water", "30 % propylene glycol", "33,5% ethylene glycol w/w", "99 % ethylene glycol", "1e9 % propylene glycol by mass"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, words string) {
		fluid, ok := ParseFluid(words)
		if !ok {
			return
		}
		if v, err := fluid.Viscosity(20); err != nil || !(v.Value > 0) {
			t.Fatalf("%q: %v, %v", words, v, err)
		}
	})
}

func TestOtherFluid(t *testing.T) {
	for _, c := range []struct {
		a, b  string
		other bool
	}{
		{"water", "water", false}, {"Tap water", "water", false}, {"", "water", false}, {"water", "not recorded", false}, {"-", "coolant", false},
		{"coolant", "Coolant ", false}, {"coolant", "water", true}, {"30 % ethylene glycol", "water", true},
		{"30 % ethylene glycol", "ethylene glycol 33 %", false}, {"30 % ethylene glycol", "40 % ethylene glycol", true},
		{"30 % ethylene glycol", "30 % propylene glycol", true}, {"30 % ethylene glycol", "32 % ethylene glycol by mass", false},
	} {
		assert.Equal(t, c.other, OtherFluid(c.a, c.b), "%q and %q", c.a, c.b)
		assert.Equal(t, c.other, OtherFluid(c.b, c.a), "%q and %q", c.b, c.a)
	}
}
