package startup

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// README of bldc-duty-sweep-f40: from standstill to 10 % duty at 8.2 s the
// current rises to 0.95 A and stays near 0.9 A for about 0.23 s, then falls
// and settles at 0.14 A by 8.7 s; peak to plateau about 6.8. The log has 100
// rows a second, in bunches of 20 ms.
func TestStartOfTheSweep(t *testing.T) {
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		require.NotEqual(t, filepath.Dir(dir), dir, "no go.mod above the test")
		dir = filepath.Dir(dir)
	}
	path := filepath.Join(dir, "..", "shared", "datasets", "bldc-duty-sweep-f40", "esc_f40_steps_5-2.csv")
	if _, err := os.Stat(path); os.IsNotExist(err) {
		t.Skip("the recordings are not here: " + path)
	}
	m, err := trace.ReadMapping(filepath.Join(dir, "testdata", "maps", "bldc-duty-sweep-controller.toml"))
	require.NoError(t, err)
	tr, err := trace.ReadFileMapped(path, m)
	require.NoError(t, err)

	s := Find(tr, 0, nil)
	require.True(t, s.Ran)
	require.Len(t, s.Attempts, 1)
	a := s.Attempts[0]
	t.Logf("%+v", s)
	assert.InDelta(t, 8.2, s.Commanded_s, 0.05)
	assert.InDelta(t, 8.2, a.Start_s, 0.06)
	assert.InDelta(t, 0.95, a.Peak_A, 0.01)
	assert.InDelta(t, 0.3, a.Length_s, 0.1, "0.23 s near 0.9 A, with rise and fall")
	assert.InDelta(t, 0, s.Rest_A, 0.001)
	assert.LessOrEqual(t, s.Settled_s, 8.75)
	assert.Greater(t, s.Settled_s, 8.4)

	var plateau, n float64
	for i, x := range tr.Time() {
		if x > 10 && x < 14.5 {
			plateau, n = plateau+tr.Current()[i], n+1
		}
	}
	assert.InDelta(t, 6.8, a.Peak_A/(plateau/n), 0.5)
}
