package trial_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kinds"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

func TestZZLook(t *testing.T) {
	name := os.Getenv("ZZ")
	if name == "" {
		t.Skip()
	}
	p, err := profiles.Load(name, kinds.Section)
	require.NoError(t, err)
	k, err := kinds.Named(p.Kind)
	require.NoError(t, err)
	for _, f := range strings.Split(os.Getenv("ZZF"), ",") {
		var sev float64 = 0
		var fault string
		if f != "" {
			parts := strings.Split(f, ":")
			fault = parts[0]
			fmt.Sscan(parts[1], &sev)
		}
		rec, err := trial.Record(p, kinds.Simulated{Seed: 77, Fault: fault, Severity: sev})
		require.NoError(t, err)
		if o := os.Getenv("ZZOUT"); o != "" {
			os.WriteFile(o, rec.CSV, 0644)
		}
		tr, err := rec.Read()
		require.NoError(t, err)
		start := time.Now()
		m, err := k.Measure(tr, p)
		require.NoError(t, err)
		fmt.Printf("== %s %q long %v run %v export %v rows %d measure %v\n", name, f, rec.Long, rec.Run, rec.Export, tr.Len(), time.Since(start))
		for _, v := range m.Values {
			fmt.Printf("%-24s %12.6g %-6s u %.3g  %s\n", v.Name, v.Q.Value, v.Unit, v.Q.U(), v.Missing)
		}
		for _, c := range m.Curve {
			fmt.Printf("   %3.0f %v %.4f ±%.2g at %.3f V\n", c.Duty_pct, c.Up, c.Current.Value, c.Current.U(), c.Supply_V)
		}
		for _, w := range append(tr.Warnings, m.Warnings...) {
			fmt.Println("   W", w)
		}
		r, err := rec.Judge(p, k, judge.Options{})
		require.NoError(t, err)
		fmt.Println(r.Verdict, r.Sentence)
	}
}
