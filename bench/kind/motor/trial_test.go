package motor_test

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/motor"
	"dutybench/bench/kinds"
	"dutybench/bench/result"
	"dutybench/bench/trial"
	"dutybench/profiles"
)

// A small trial of the kind on simulated units that the built-in was not learned
// from: MOTOR_TRIAL=units a cell, MOTOR_GOOD=good ones. The campaigns in bench/trial
// are the large one.
func TestSmallTrial(t *testing.T) {
	units, _ := strconv.Atoi(os.Getenv("MOTOR_TRIAL"))
	good, _ := strconv.Atoi(os.Getenv("MOTOR_GOOD"))
	if units == 0 && good == 0 {
		t.Skip("set MOTOR_TRIAL to units a cell, MOTOR_GOOD to good ones")
	}
	name := os.Getenv("MOTOR_PROFILE")
	if name == "" {
		name = "brushed-12v-20w"
	}
	p, err := profiles.Load("../../../profiles/builtin/"+name+".toml", kinds.Section)
	require.NoError(t, err)
	type job struct {
		s    kinds.Simulated
		line string
		r    *result.Result
	}
	var jobs []*job
	seed := uint64(40_000)
	for range good {
		seed++
		jobs = append(jobs, &job{s: kinds.Simulated{Seed: seed}})
	}
	only := os.Getenv("MOTOR_FAULT")
	for _, f := range kinds.Faults("motor") {
		if only != "" && !slices.Contains(strings.Split(only, ","), f.Name) {
			continue
		}
		for _, s := range []float64{0.2, 0.4, 0.6, 0.8, 1} {
			if !f.Graded && s < 1 {
				continue
			}
			for range units {
				seed++
				jobs = append(jobs, &job{s: kinds.Simulated{Seed: seed, Fault: f.Name, Severity: s}})
			}
		}
	}
	var wg sync.WaitGroup
	next := make(chan *job)
	for range 3 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for j := range next {
				rec, err := trial.Record(p, j.s)
				if err != nil {
					j.line = err.Error()
					continue
				}
				j.r, err = rec.Judge(p, motor.Kind{}, judge.Options{})
				if err != nil {
					j.line = err.Error()
				}
			}
		}()
	}
	for _, j := range jobs {
		next <- j
	}
	close(next)
	wg.Wait()
	type cell struct {
		n                     int
		pass, fail, undecided int
		causes                map[string]int
	}
	cells, order := map[string]*cell{}, []string{}
	side := map[string]string{}
	for _, f := range kinds.Faults("motor") {
		side[f.Name] = f.Side
	}
	for _, j := range jobs {
		key := fmt.Sprintf("%-14s %.1f", j.s.Fault, j.s.Severity)
		c := cells[key]
		if c == nil {
			c = &cell{causes: map[string]int{}}
			cells[key], order = c, append(order, key)
		}
		c.n++
		if j.r == nil {
			t.Log(key, j.line)
			continue
		}
		switch j.r.Verdict {
		case result.Pass:
			c.pass++
		case result.Fail:
			c.fail++
		default:
			c.undecided++
		}
		cause := "none"
		if len(j.r.Inseparable) > 0 {
			var w []string
			for _, x := range j.r.Inseparable {
				w = append(w, string(x))
			}
			slices.Sort(w)
			cause = strings.Join(w, "+")
		} else if j.r.Cause != nil {
			cause = string(*j.r.Cause)
		}
		c.causes[cause]++
		odd := j.s.Fault == "" && j.r.Verdict != result.Pass || j.s.Fault != "" && j.r.Verdict != result.Pass && !strings.Contains(cause, side[j.s.Fault])
		if odd || os.Getenv("MOTOR_EXPLAIN") != "" {
			var out []string
			for _, f := range j.r.Findings {
				if f.Result == result.Failed || f.Result == result.Doubtful || os.Getenv("MOTOR_EXPLAIN") != "" && f.Value != nil {
					z := 0.0
					if f.Spread != nil {
						z = *f.Spread
					}
					out = append(out, fmt.Sprintf("%s=%.4g z%.1f %s", f.Name, *f.Value, z, f.Result))
				}
			}
			t.Logf("%s seed %d: %s %s; %s: %s", key, j.s.Seed, j.r.Verdict, cause, j.r.Sentence, strings.Join(out, ", "))
		}
	}
	for _, key := range order {
		c := cells[key]
		t.Logf("%s: n %d pass %d fail %d undecided %d causes %v", key, c.n, c.pass, c.fail, c.undecided, c.causes)
	}
}
