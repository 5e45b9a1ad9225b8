package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dutybench/bench/kinds"
)

func FuzzParseFault(f *testing.F) {
	for _, s := range []string{"", "drag", "drag:0.5", "drag:1e-3", "drag:", ":", "drag:0x1p-1", "drag:-0", "drag:+Inf", "no:1", "drag:0.5:1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		name, severity, err := parseFault(s, "pump")
		if err != nil {
			assert.IsType(t, &usageError{}, err)
			return
		}
		assert.True(t, severity >= 0 && severity <= 1, s)
		if s != "" {
			assert.Contains(t, names(), name)
		}
	})
}

func names() (out []string) {
	for _, f := range kinds.Faults("pump") {
		out = append(out, f.Name)
	}
	return out
}

func TestParseFault(t *testing.T) {
	for s, want := range map[string]float64{"drag": 1, "drag:0.5": 0.5, "drag:0": 0, "drag:1": 1} {
		name, severity, err := parseFault(s, "pump")
		assert.NoError(t, err)
		assert.Equal(t, "drag", name)
		assert.Equal(t, want, severity, s)
	}
}
