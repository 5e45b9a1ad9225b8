package outsider

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"dutybench/signal/trace"
)

// TestLook prints traces, a mean, lowest and highest current for each
// stretch, for an eye to judge: LOOK=fault[,fault] LOOKMODEL=n LOOKSEV=x
// LOOKBLOCK=samples.
func TestLook(t *testing.T) {
	names := os.Getenv("LOOK")
	if names == "" {
		t.Skip("set LOOK to fault names, or good, to print traces")
	}
	var only int
	severity, block := 1.0, 400
	if s := os.Getenv("LOOKMODEL"); s != "" {
		_, err := fmt.Sscan(s, &only)
		if err != nil {
			t.Fatal(err)
		}
	}
	if s := os.Getenv("LOOKSEV"); s != "" {
		if _, err := fmt.Sscan(s, &severity); err != nil {
			t.Fatal(err)
		}
	}
	if s := os.Getenv("LOOKBLOCK"); s != "" {
		if _, err := fmt.Sscan(s, &block); err != nil {
			t.Fatal(err)
		}
	}
	m := Models(1)[only]
	t.Logf("%s %+v", m.Name(), m)
	for name := range strings.SplitSeq(names, ",") {
		rng := rand.New(rand.NewPCG(7, 7))
		tr := m.Good(rng)
		if name != "good" {
			tr = m.Faulty(name, severity, rng)
		}
		t.Log(name + "\n" + show(tr, block))
	}
}

func show(tr *trace.Trace, block int) string {
	var b strings.Builder
	c, d, v := tr.Current(), tr.Duty(), tr.Values(trace.ColSupply)
	for i := 0; i+block <= len(c); i += block {
		low, high, mean, volt, nv := c[i], c[i], 0.0, 0.0, 0.0
		for k := i; k < i+block; k++ {
			low, high, mean = min(low, c[k]), max(high, c[k]), mean+c[k]/float64(block)
			if v[k] == v[k] {
				volt += v[k]
				nv++
			}
		}
		fmt.Fprintf(&b, "%6.2f d%5.1f  I %7.3f [%7.3f %7.3f]  V %6.2f\n", tr.Time()[i], d[i], mean, low, high, volt/nv)
	}
	return b.String()
}
