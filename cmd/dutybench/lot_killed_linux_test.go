package main

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/lot"
	"dutybench/bench/record/store"
)

// A lot whose program is killed at any moment goes on where it stopped, by its
// records alone: no unit that was told is lost, and one whose test broke off is
// asked for again.
func TestLotKilled(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("processes")
	}
	rng := rand.New(rand.NewPCG(3, 5))
	d := newDesk(t)
	told := map[string]bool{}
	for round := range 4 {
		c := exec.Command(os.Args[0], "lot", "killed", "--fault", "none,drag:1,board-dead")
		c.Env = append(os.Environ(), asProgram+"="+asWhole, "HOME="+d.dir, "XDG_RUNTIME_DIR="+d.dir, "DUTYBENCH_STORE="+d.home())
		in, err := c.StdinPipe()
		require.NoError(t, err)
		out, err := c.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, c.Start())
		for i := range 40 {
			_, _ = io.WriteString(in, fmt.Sprintf("R%d-%d\n", round, i))
		}
		// After one to three verdicts, at any moment of the next test.
		wait := 1 + rng.IntN(3)
		lines := bufio.NewScanner(out)
		for wait > 0 && lines.Scan() {
			if serial, rest, ok := strings.Cut(lines.Text(), "  "); ok && strings.Contains(rest, "into bin") {
				told[serial] = true
				wait--
			}
		}
		time.Sleep(time.Duration(rng.IntN(500)) * time.Millisecond)
		require.NoError(t, c.Process.Kill())
		for lines.Scan() {
			if serial, rest, ok := strings.Cut(lines.Text(), "  "); ok && strings.Contains(rest, "into bin") {
				told[serial] = true
			}
		}
		_ = c.Wait()
	}
	require.NotEmpty(t, told)
	d.call("lot", "list") // keeps what broke off
	s, err := store.Open(d.home(), store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	tests, err := lot.Load(s, "killed", nil)
	require.NoError(t, err)
	sorted, broken := map[string]bool{}, 0
	for _, u := range lot.Fold(tests, lot.Rule{}) {
		sorted[u.Serial] = true
		if w, _ := u.Last().Weight(); w == lot.Broken {
			broken++
			assert.Equal(t, lot.Again, u.Bin)
		}
	}
	for serial := range told {
		assert.True(t, sorted[serial], "%s was told and is kept", serial)
	}
	t.Logf("%d units told, %d kept, %d of them broke off", len(told), len(sorted), broken)
	d.stdin = "END\n"
	got := d.call("lot", "killed")
	require.Zero(t, got.status, got.stderr)
	if len(sorted) > 0 {
		assert.Contains(t, got.stderr, fmt.Sprintf("It goes on: %s so far", plural(len(sorted), "unit")))
	}
}
