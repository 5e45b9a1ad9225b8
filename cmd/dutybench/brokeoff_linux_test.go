package main

import (
	"bufio"
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/signal/trace"
)

// asWhole makes a process of this test the whole program.
const asWhole = "whole"

// A test whose program is killed is told of by the next one, and what was
// measured until a second or so before is kept.
func TestKilledTestIsKept(t *testing.T) {
	t.Parallel()
	for name, args := range map[string][]string{
		"built-in rig": {"run", "--pace", "real"},
		"rig file":     {"run", "--rig", "install/rigs/small.toml", "--simulate"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDesk(t)
			d.vars["XDG_RUNTIME_DIR"] = d.dir
			d.call("run", "--fault", short, "--unit", "before")
			c := exec.Command(os.Args[0], append(args, "--unit", "K\x1b[1m1", "--claim", "C-9", "--full")...)
			c.Env = append(os.Environ(), asProgram+"="+asWhole, "HOME="+d.dir, "XDG_RUNTIME_DIR="+d.dir, "DUTYBENCH_STORE="+d.home())
			out, err := c.StderrPipe()
			require.NoError(t, err)
			require.NoError(t, c.Start())
			lines := bufio.NewScanner(out)
			for lines.Scan() && !strings.HasPrefix(lines.Text(), "step  1") {
			}
			require.NoError(t, lines.Err())
			time.Sleep(2500 * time.Millisecond) // the second step, and into the third
			assert.Contains(t, d.call("records", "list").stdout, "before", "others can look meanwhile")
			assert.Len(t, d.listed(t), 1, "a test under way is no record yet")
			require.NoError(t, c.Process.Kill())
			_ = c.Wait()

			next := d.call("run", "--fault", short, "--unit", "after")
			assert.Contains(t, next.stderr, "broke off, as the program or its machine stopped; what was measured is record ")
			assert.Less(t, strings.Index(next.stderr, "broke off"), strings.Index(next.stderr, "step  1"), "before the next test")
			assert.NotContains(t, next.stderr, "\x1b")
			require.Len(t, d.listed(t), 3)
			rec := d.kept(t, 2)
			assert.True(t, rec.Interrupted)
			assert.Equal(t, "C-9", rec.At.Claim, "with what was said of it")
			assert.Equal(t, "K\x1b[1m1", rec.At.Unit)
			assert.NotEmpty(t, rec.Profile.Text)
			if name == "rig file" {
				assert.Len(t, rec.Files, 1)
			}
			tr, err := trace.Read(bytes.NewReader(rec.Trace), "trace")
			require.NoError(t, err)
			at := tr.Time()
			// The first step lasted a second; then 2.5 s went by.
			assert.Greater(t, at[len(at)-1], 1.0+2.5-1.0-0.7, "at most the last second is lost, and what was on its way")
			for i := range at {
				require.True(t, i == 0 || at[i] > at[i-1])
			}
			ended, _ := tr.Get(trace.KeyEnded)
			assert.Contains(t, ended, "stopped during the test")
			assert.NotContains(t, string(rec.Trace), "x-zero-A", "its zero is not taken")

			list := d.call("records", "list").stdout
			assert.Contains(t, list, "  broke off ")
			assert.Zero(t, d.call("records", "verify").status)
			assert.NotContains(t, d.call("run", "--fault", short).stderr, "broke off", "told once")
			again := d.call("records", "judge", "2", "--json")
			o := objects(t, again.stdout)[0]
			assert.Equal(t, "undecided", o["verdict_now"], "what broke off never passes")
			left, err := filepath.Glob(filepath.Join(d.home(), "drafts", "*"))
			require.NoError(t, err)
			assert.Empty(t, left)
		})
	}
}

// listed are the records' lines.
func (d *desk) listed(t testing.TB) []string {
	t.Helper()
	c := d.call("records", "list")
	require.Zero(t, c.status, c.stderr)
	return strings.Split(strings.TrimSpace(c.stdout), "\n")
}
