package trial_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/trial/stranger"
	"dutybench/signal/trace"
)

func TestDevExport(t *testing.T) {
	mi, err := strconv.Atoi(os.Getenv("MI"))
	dir := os.Getenv("OUT")
	if err != nil || dir == "" {
		t.Skip()
	}
	m := stranger.Models(3)[mi]
	rng := rand.New(rand.NewPCG(3, uint64(mi)))
	for i := range 22 {
		u := m.Unit(rng)
		require.NoError(t, trace.WriteFile(fmt.Sprintf("%s/good%02d.csv", dir, i), u.Trace(stranger.Good(), 0, rng)))
	}
	for _, f := range stranger.Faults() {
		u := m.Unit(rng)
		require.NoError(t, trace.WriteFile(fmt.Sprintf("%s/%s.csv", dir, f.Name), u.Trace(f, 0.8, rng)))
	}
}
