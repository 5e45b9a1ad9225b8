package trial_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"sort"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/pump"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/bench/trial/stranger"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// tally counts what became of the units of one fault.
type tally struct {
	n, passed, right, named int
	wrong                   map[string]int
}

func learnFrom(t testing.TB, m stranger.Model, rng *rand.Rand, n int) *profiles.Profile {
	var good []*trace.Trace
	for range n {
		u := m.Unit(rng)
		good = append(good, u.Trace(stranger.Good(), 0, rng))
	}
	p, rep, err := learn.Learn(good, pump.Kind{}, learn.Options{Name: "blind"})
	require.NoError(t, err, m.Name)
	if len(rep.LeftOut) > 0 {
		t.Logf("%s: left out %v", m.Name, rep.LeftOut)
	}
	return p
}

func TestBlind(t *testing.T) {
	if os.Getenv("BLIND") == "" {
		t.Skip("dev")
	}
	verbose := os.Getenv("BLIND") == "v"
	only := os.Getenv("FAULT")
	seed := uint64(1)
	fmt.Sscan(os.Getenv("SEED"), &seed)
	models := stranger.Models(seed)
	var mu sync.Mutex
	tallies := map[string]*tally{}
	add := func(name string, r *result.Result, ok func(string) bool, label string) {
		mu.Lock()
		defer mu.Unlock()
		y := tallies[name]
		if y == nil {
			y = &tally{wrong: map[string]int{}}
			tallies[name] = y
		}
		y.n++
		if r.Verdict == result.Pass {
			y.passed++
		}
		if r.Cause != nil && ok(string(*r.Cause)) {
			y.right++
		} else if r.Cause != nil {
			y.wrong[string(*r.Cause)]++
			named := false
			for _, c := range r.Inseparable {
				named = named || ok(string(c))
			}
			if named {
				y.named++
			}
		} else {
			y.wrong["-"]++
		}
		bad := name == "good" && r.Verdict != result.Pass || name != "good" && (r.Cause == nil || !ok(string(*r.Cause)))
		if verbose && bad && (only == "" || strings.HasPrefix(name, only)) {
			fmt.Printf("%s %s: %s | ", name, label, r.Sentence)
			for _, f := range r.Findings {
				if f.Result != result.Passed && f.Result != result.NotMeasured {
					z := 0.0
					if f.Spread != nil {
						z = *f.Spread
					}
					fmt.Printf("%s=%.4g z=%.1f; ", f.Name, *f.Value, z)
				}
			}
			for _, c := range r.Causes {
				fmt.Printf("%s %.2f ", c.Cause, c.Probability)
			}
			fmt.Println()
		}
	}
	sem := make(chan struct{}, runtime.NumCPU())
	var wg sync.WaitGroup
	for mi, m := range models {
		if m.RateHz > 2000 {
			continue
		}
		wg.Add(1)
		go func() {
			defer wg.Done()
			sem <- struct{}{}
			defer func() { <-sem }()
			rng := rand.New(rand.NewPCG(seed, uint64(mi)))
			p := learnFrom(t, m, rng, 20)
			if only == "" || only == "good" {
				for i := range 30 {
					u := m.Unit(rng)
					r, err := judge.Judge(u.Trace(stranger.Good(), 0, rng), p, pump.Kind{}, judge.Options{})
					require.NoError(t, err)
					add("good", r, func(string) bool { return true }, fmt.Sprint(m.Name, i))
				}
			}
			for _, f := range stranger.Faults() {
				if only != "" && !strings.HasPrefix(f.Name, only) {
					continue
				}
				for _, sev := range []float64{0.5, 0.75, 1} {
					u := m.Unit(rng)
					r, err := judge.Judge(u.Trace(f, sev, rng), p, pump.Kind{}, judge.Options{})
					require.NoError(t, err)
					add(fmt.Sprintf("%s:%.2g", f.Name, sev), r, func(c string) bool { return f.Accepts(c, m) }, fmt.Sprint(m.Name))
				}
			}
		}()
	}
	wg.Wait()
	var names []string
	for n := range tallies {
		names = append(names, n)
	}
	sort.Strings(names)
	var all tally
	for _, n := range names {
		y := tallies[n]
		fmt.Printf("%-28s n %3d passed %3d right %3d named %3d wrong %v\n", n, y.n, y.passed, y.right, y.named, y.wrong)
		if n != "good" {
			all.n += y.n
			all.passed += y.passed
			all.right += y.right
			all.named += y.named
		}
	}
	l, h := stat.ClopperPearson(all.right, max(all.n, 1), 0.95)
	fmt.Printf("faults %d passed %d right %d (%.3f to %.3f) named %d\n", all.n, all.passed, all.right, l, h, all.named)
}
