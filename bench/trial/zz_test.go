package trial_test

import (
	"fmt"
	"testing"

	"dutybench/bench/kinds"
	"dutybench/bench/trial"
)

func TestZZ(t *testing.T) {
	for _, n := range []string{"aux-pump-20w", "aux-pump-60w", "aux-pump-130w"} {
		p := load(t, n)[0]
		k, _ := kinds.Named("pump")
		for _, f := range []kinds.Simulated{{Seed: 5}, {Seed: 5, Fault: "rotor-seized", Severity: .5}, {Seed: 5, Fault: "open-phase", Severity: .5}, {Seed: 5, Fault: "open-phase", Severity: 1}} {
			rec, err := trial.Record(p, f)
			if err != nil {
				t.Fatal(err)
			}
			tr, _ := rec.Read()
			m, _ := k.Measure(tr, p)
			for i, a := range m.Startup.Attempts {
				if i < 2 {
					fmt.Printf("%s %s %.1f: %+v\n", n, f.Fault, f.Severity, a)
					// histogram of the attempt
					tt, x := tr.Time(), tr.Current()
					var parts [10]float64
					var cnt [10]float64
					var lo, hi [10]float64
					for j := range tt {
						if u := (tt[j] - a.Start_s) / a.Length_s; u >= 0 && u < 1 {
							b := int(u * 10)
							parts[b] += x[j]
							if cnt[b] == 0 || x[j] < lo[b] {
								lo[b] = x[j]
							}
							hi[b] = max(hi[b], x[j])
							cnt[b]++
						}
					}
					for b := range parts {
						fmt.Printf("  %.2f[%.2f %.2f]", parts[b]/cnt[b], lo[b], hi[b])
					}
					fmt.Println()
				}
			}
		}
	}
}
