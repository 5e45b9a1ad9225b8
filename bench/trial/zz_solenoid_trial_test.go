package trial_test

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"sort"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

func TestZZTrial(t *testing.T) {
	name := os.Getenv("ZZT")
	if name == "" {
		t.Skip()
	}
	file := "/tmp/zz_" + name + ".toml"
	p, err := profiles.Load(file, kinds.Section)
	if err != nil || os.Getenv("ZZNEW") != "" {
		bare, err := trial.Bare(name)
		require.NoError(t, err)
		n := 60
		p, err = trial.LearnSimulated(bare, n, trial.BuiltinSeed, kinds.Perturbation{})
		require.NoError(t, err)
		require.NoError(t, profiles.WriteFile(file, p, true))
	}
	k, _ := kinds.Named(p.Kind)
	good, _ := strconv.Atoi(os.Getenv("ZZGOOD"))
	each, _ := strconv.Atoi(os.Getenv("ZZEACH"))
	type job struct {
		fault string
		sev   float64
		seed  uint64
		side  string
	}
	var jobs []job
	seed := uint64(5000)
	for range good {
		seed++
		jobs = append(jobs, job{"", 0, seed, ""})
	}
	only := os.Getenv("ZZONLY")
	for _, f := range kinds.Faults(p.Kind) {
		if only != "" && !strings.Contains(only, f.Name) {
			continue
		}
		for _, s := range []float64{0.2, 0.4, 0.6, 0.8, 1} {
			for range each {
				seed++
				jobs = append(jobs, job{f.Name, s, seed, f.Side})
			}
		}
	}
	type out struct {
		job
		r *result.Result
	}
	res := make([]out, len(jobs))
	var wg sync.WaitGroup
	ch := make(chan int)
	for range runtime.NumCPU() {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range ch {
				j := jobs[i]
				rec, err := trial.Record(p, kinds.Simulated{Seed: j.seed, Fault: j.fault, Severity: j.sev})
				if err != nil {
					fmt.Println("ERR", j, err)
					continue
				}
				r, err := rec.Judge(p, k, judge.Options{})
				if err != nil {
					fmt.Println("ERR", j, err)
					continue
				}
				res[i] = out{j, r}
			}
		}()
	}
	for i := range jobs {
		ch <- i
	}
	close(ch)
	wg.Wait()
	_ = context.Background
	counts := map[string]map[string]int{}
	var keys []string
	for _, o := range res {
		if o.r == nil {
			continue
		}
		key := fmt.Sprintf("%-16s %.1f %-11s", o.fault, o.sev, o.side)
		if counts[key] == nil {
			counts[key] = map[string]int{}
			keys = append(keys, key)
		}
		c := "-"
		if o.r.Cause != nil {
			c = string(*o.r.Cause)
		}
		if len(o.r.Inseparable) > 1 {
			c += fmt.Sprint(o.r.Inseparable)
		}
		counts[key][string(o.r.Verdict)+" "+c]++
		if os.Getenv("ZZV") != "" && (o.side == "" && o.r.Verdict != result.Pass || o.side != "" && o.r.Verdict != result.Pass && c != o.side || os.Getenv("ZZV") == "all") {
			fmt.Printf("* %s seed %d: %s\n", key, o.seed, o.r.Sentence)
			for _, f := range o.r.Findings {
				if f.Result != result.Passed && f.Result != result.NotMeasured || (os.Getenv("ZZV") == "all" && f.Spread != nil) {
					v := 0.0
					if f.Value != nil {
						v = *f.Value
					}
					z := 0.0
					if f.Spread != nil {
						z = *f.Spread
					}
					fmt.Printf("      %-22s %10.4g z %.1f %s\n", f.Name, v, z, f.Result)
				}
			}
		}
	}
	for _, k := range keys {
		var s []string
		for c, n := range counts[k] {
			s = append(s, fmt.Sprintf("%s: %d", c, n))
		}
		sort.Strings(s)
		fmt.Println(k, strings.Join(s, ", "))
	}
}
