package coil_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"dutybench/signal/coil"
)

// BenchmarkRise reads a pulse of 300 ms at 20 kHz with a motion in it.
func BenchmarkRise(b *testing.B) {
	r := rand.New(rand.NewPCG(7, 1))
	p := drawPlunger(r)
	fine := p.run(0.3, fineStep)
	ts, is, edge := sampled(r, fine, 0, 20e3, 5e-3, p.U_V/p.R_ohm*math.Pow(10, -1.5))
	for b.Loop() {
		if _, err := coil.Rise(coil.Samples{Time_s: ts, Current_A: is}, coil.Known{Switched: true, Switched_s: math.Floor(edge*20e3) / 20e3}); err != nil {
			b.Fatal(err)
		}
	}
}
