package kinds

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/profiles"
)

// A fault of the bench comes within the shortest whole test, and that of a pump at
// the time that its seed always gave it.
func TestBenchFaultsComeInTime(t *testing.T) {
	for _, name := range profiles.Builtins() {
		p, err := profiles.Load(name, Section)
		require.NoError(t, err)
		e, ok := find(p.Kind)
		require.True(t, ok)
		long := quickest(e.kind, p)
		if p.Kind == "pump" {
			assert.GreaterOrEqual(t, long, latest, name)
		}
		for seed := range uint64(40) {
			at := armed("switch-welded", 1, seed, long).At
			assert.GreaterOrEqual(t, at, min(earliest, long), name)
			assert.LessOrEqual(t, at, max(earliest, min(latest, long)), name)
		}
		t.Log(name, long.Round(time.Millisecond))
	}
}
