package report_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/report"
)

// TestPagesToLookAt writes the sample pages into the folder that LOOK_AT
// names, for a person to look at.
func TestPagesToLookAt(t *testing.T) {
	dir := os.Getenv("LOOK_AT")
	if dir == "" {
		t.Skip("set LOOK_AT to a folder to have the sample pages written there")
	}
	for name, in := range map[string]report.Input{"good": goodPump(), "binding": bindingPump(), "dead": deadBoard()} {
		f, err := os.Create(filepath.Join(dir, name+".html"))
		require.NoError(t, err)
		require.NoError(t, report.Page(f, in))
		require.NoError(t, f.Close())
		for suffix, o := range map[string]report.TextOptions{"": {Unicode: true}, "-ascii": {}} {
			f, err = os.Create(filepath.Join(dir, name+suffix+".txt"))
			require.NoError(t, err)
			require.NoError(t, report.Text(f, in, o))
			require.NoError(t, f.Close())
		}
	}
}
