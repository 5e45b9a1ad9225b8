package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Whole simulated tests by a program that was built for another machine, such
// as a board's under emulation, against the same tests by this one: the same
// steps, verdict and cause, and every number within 1e-9 of its size.
// DUTYBENCH_FOREIGN is how to call that program, such as
// "qemu-aarch64-static /tmp/dutybench-arm64".
func TestForeignMachineAgrees(t *testing.T) {
	call := strings.Fields(os.Getenv("DUTYBENCH_FOREIGN"))
	if len(call) == 0 {
		t.Skip("no program of another machine: set DUTYBENCH_FOREIGN")
	}
	for _, args := range [][]string{
		{"--seed", "1"},
		{"--seed", "2", "--fault", "drag:0.5"},
		{"--seed", "3", "--profile", "aux-pump-20w", "--fault", "open-phase"},
		{"--seed", "4", "--profile", "circulator-solar-24v"},
	} {
		t.Run(strings.Join(args, " "), func(t *testing.T) {
			d := newDesk(t)
			line := func(name string) []string {
				return append([]string{"--store", d.path(name), "run", "--json", "--trace", d.path(name + ".csv")}, args...)
			}
			here := d.call(line("here")...)
			c := exec.Command(call[0], append(call[1:len(call):len(call)], line("there")...)...)
			c.Env = append(os.Environ(), "HOME="+d.dir)
			out, err := c.Output()
			if exit := (*exec.ExitError)(nil); err != nil {
				require.ErrorAs(t, err, &exit)
				require.Equal(t, here.status, exit.ExitCode(), string(exit.Stderr))
			} else {
				require.Equal(t, here.status, 0, here.stderr)
			}
			a, b := objects(t, here.stdout), objects(t, string(out))
			require.Len(t, a, 1)
			require.Len(t, b, 1)
			for _, o := range []map[string]any{a[0], b[0]} {
				for _, key := range []string{"source", "record", "page"} { // of each its own
					delete(o, key)
				}
			}
			assert.Equal(t, a[0]["verdict"], b[0]["verdict"])
			assert.Equal(t, a[0]["cause"], b[0]["cause"])
			var worst float64
			differ(t, "", a[0], b[0], &worst)
			t.Logf("numbers differ by %.2g of their size at most", worst)
			assert.Equal(t, stepsOf(t, d.path("here.csv")), stepsOf(t, d.path("there.csv")), "steps of the duty")
		})
	}
}

// agrees is how far a number may be off, in proportion.
const agrees = 1e-9

// differ compares two values as JSON has them.
func differ(t *testing.T, at string, a, b any, worst *float64) {
	switch x := a.(type) {
	case map[string]any:
		y, _ := b.(map[string]any)
		require.Len(t, y, len(x), at)
		for key := range x {
			differ(t, at+"."+key, x[key], y[key], worst)
		}
	case []any:
		y, _ := b.([]any)
		require.Len(t, y, len(x), at)
		for i := range x {
			differ(t, fmt.Sprintf("%s[%d]", at, i), x[i], y[i], worst)
		}
	case float64:
		y, ok := b.(float64)
		require.True(t, ok, at)
		if size := math.Max(math.Abs(x), math.Abs(y)); size > 0 {
			off := math.Abs(x-y) / size
			*worst = math.Max(*worst, off)
			assert.LessOrEqual(t, off, agrees, "%s: %v and %v", at, x, y)
		}
	case json.Number:
		assert.Equal(t, a, b, at)
	default:
		assert.Equal(t, a, b, at)
	}
}

// stepsOf is what a trace says of its steps, to 0.1 ms.
func stepsOf(t *testing.T, path string) (out []string) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "# step:") {
			out = append(out, line)
		}
	}
	require.Greater(t, len(out), 3)
	return out
}
