package outsider

import (
	"math/rand/v2"
	"testing"
)

func BenchmarkGood(b *testing.B) {
	models := Models(1)
	rng := rand.New(rand.NewPCG(1, 1))
	for i := 0; b.Loop(); i++ {
		models[i%len(models)].Good(rng)
	}
}
