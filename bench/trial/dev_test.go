package trial_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"dutybench/bench/judge"
	"dutybench/bench/kind/pump"
	"dutybench/bench/trial/stranger"
)

func TestDev(t *testing.T) {
	mi, err := strconv.Atoi(os.Getenv("MI"))
	if err != nil {
		t.Skip()
	}
	seed := uint64(1)
	fmt.Sscan(os.Getenv("SEED"), &seed)
	m := stranger.Models(seed)[mi]
	rng := rand.New(rand.NewPCG(seed, uint64(mi)))
	p := learnFrom(t, m, rng, 20)
	for _, name := range strings.Fields(os.Getenv("VAL")) {
		fmt.Print(name, ": ")
		for _, g := range p.Good {
			x, _ := g.Get(name)
			fmt.Printf("%.4g ", x)
		}
		fmt.Println()
	}
	f, ok := stranger.FaultNamed(os.Getenv("FN"))
	if !ok {
		f = stranger.Good()
	}
	fmt.Println(f.Severity)
	for _, sv := range strings.Fields(os.Getenv("SV")) {
		sev, _ := strconv.ParseFloat(sv, 64)
		u := m.Unit(rng)
		r, _ := judge.Judge(u.Trace(f, sev, rng), p, pump.Kind{}, judge.Options{})
		fmt.Println(r.Sentence)
		for _, f := range r.Findings {
			if f.Value != nil && f.Spread != nil {
				fmt.Printf("  %s %.4g z=%.1f %s\n", f.Name, *f.Value, *f.Spread, f.Result)
			}
		}
		for i, a := range r.Startup.Attempts {
			if i < 8 {
				fmt.Printf("  attempt %+v\n", a)
			}
		}
		if r.Startup.Settled != nil {
			fmt.Println("  settled", *r.Startup.Settled)
		}
		for _, c := range r.Curve {
			if c.Low != nil {
				fmt.Printf("  %s %.0f: %.3f [%.3f %.3f] V=%v\n", c.Direction, c.Duty, c.Current, *c.Low, *c.High, c.Supply != nil)
			}
		}
		fmt.Println(r.Causes)
	}
}
