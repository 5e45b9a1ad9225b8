package container

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// TestRecordings sends real recordings of the shared data sets through, and
// says how much smaller than their CSV they are. They are short, at 0.1 to
// 200 kHz, of a few columns, and three are of stand-alone converters.
func TestRecordings(t *testing.T) {
	found := 0
	for _, c := range []struct{ mapping, files string }{
		{"bldc-duty-sweep-controller.toml", "bldc-duty-sweep-f40/esc_f40_steps_5-2.csv"},
		{"bldc-duty-sweep-stand.toml", "bldc-duty-sweep-f40/stand_2019-11-05_171350.csv"},
		{"brushed-duty-step.toml", "brushed-duty-step/*.csv"},
		{"bldc-backemf-lines.toml", "bldc-backemf-lines/*.csv"},
		{"solenoid-pulse.toml", "solenoid-pulse-200ks/*.csv"},
		{"solenoid-edge-samples.toml", "solenoid-stroke/edge_samples_240509.csv"},
		{"bldc-prop-tables.toml", "bldc-prop-tables/a1_11.csv"},
	} {
		m, err := trace.ReadMapping(filepath.Join(root(t), "testdata", "maps", c.mapping))
		require.NoError(t, err)
		files, err := filepath.Glob(filepath.Join(root(t), "..", "shared", "datasets", c.files))
		require.NoError(t, err)
		for _, path := range files {
			found++
			tr, err := trace.ReadFileMapped(path, m)
			require.NoError(t, err)
			text, data := csv(t, tr), round(t, plain(tr))
			t.Logf("%-32s %6d rows, %2d columns: CSV %7d B, container %6d B, %5.1f times smaller", filepath.Base(path), tr.Len(), len(tr.Columns),
				len(text), len(data), float64(len(text))/float64(len(data)))
		}
	}
	if found == 0 {
		t.Skip("the recordings are not here: ../shared/datasets beside the repository")
	}
}

// plain is a trace as read from its own CSV, which Decode is compared with.
func plain(tr *trace.Trace) *trace.Trace {
	out := *tr
	out.Source = "a name"
	return &out
}

// root is the folder of go.mod.
func root(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		require.NotEqual(t, dir, up, "no go.mod above the test")
		dir = up
	}
}
