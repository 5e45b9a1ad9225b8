package latecomer

import ("testing";"fmt";"math/rand/v2";"time")

func TestLook(t *testing.T) {
	for _, m := range Models(1) {
		rng := rand.New(rand.NewPCG(1, 2))
		fmt.Printf("%s low %.3f sd %.2f%% top %.3f sd %.2f%% V %.2f sd %.3f\n", m.name, m.lowA.mid, 100*m.lowA.sd/m.lowA.mid, m.topA.mid, 100*m.topA.sd/m.topA.mid, m.topV.mid, m.topV.sd)
		t0 := time.Now()
		var n int
		for range 10 { n = m.Good(rng).Len() }
		fmt.Println("  ", n, time.Since(t0)/10)
		for _, f := range append([]string{""}, names()...) {
			var tr = m.Good(rand.New(rand.NewPCG(1, 2)))
			if f != "" { tr = m.Faulty(f, 0.5, rand.New(rand.NewPCG(1, 2))) }
			fmt.Printf("  %-20s", f)
			tm, i := tr.Time(), tr.Current()
			v := tr.Values("supply_V")
			// mean of 2nd half of each hold
			at := 0.4
			for _, h := range m.plan {
				a, b := at+h.seconds*.6, at+h.seconds*.95
				at += h.seconds
				var s, sv float64; var c, cv int
				for k := range tm { if tm[k] >= a && tm[k] < b { s += i[k]; c++; if v != nil && v[k] == v[k] { sv += v[k]; cv++ } } }
				if h.duty == 100 { fmt.Printf(" %.3f(%.2fV)", s/float64(c), sv/float64(cv)) } else { fmt.Printf(" %.3f", s/float64(c)) }
			}
			e, _ := tr.Get("ended")
			fmt.Println(" ", e)
		}
	}
}
func names() []string { var n []string; for _, f := range Faults() { n = append(n, f.Name) }; return n }
