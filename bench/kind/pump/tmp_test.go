package pump
import ("testing";"time";"math/rand/v2";"fmt";"dutybench/bench/kind";"encoding/json";"dutybench/bench/result";"math")
func TestTmp(t *testing.T) {
	p := fuzzProfile()
	r := rand.New(rand.NewPCG(1,77))
	end := time.Now().Add(40*time.Second)
	worst := time.Duration(0); n := 0
	for time.Now().Before(end) {
		data := make([]byte, r.IntN(150))
		for i := range data { data[i] = byte(r.Uint32()); if r.IntN(3)==0 {data[i]=[]byte{0,100,96,30,255,20}[r.IntN(6)]} }
		fl := uint8(r.Uint32()); seed := uint64(r.IntN(50))
		tr := wild(data, fl, seed)
		if tr.Len()==0 {continue}
		t0 := time.Now()
		m, err := Kind{}.Measure(tr,p)
		if err != nil { t.Fatal(err) }
		for _, v := range m.Values { if v.Missing=="" && (math.IsNaN(v.Q.Value)||math.IsInf(v.Q.Value,0)) { fmt.Println("nan", v.Name, v.Q.Value, len(data), fl, seed) } ; if v.Missing=="" && (math.IsNaN(v.Q.U())||math.IsInf(v.Q.U(),0)) { fmt.Println("u", v.Name, v.Q.U(), len(data), fl, seed) } }
		a := Kind{}.Assess(m,p,kind.Conditions{})
		if _, err := json.Marshal(result.Result{Findings: a.Findings, Curve: a.Curve, Causes: a.Causes}); err != nil { fmt.Println(err, len(data), fl, seed) }
		if d := time.Since(t0); d > worst { worst = d; fmt.Println(d, tr.Len(), fl) }
		n++
	}
	fmt.Println(n)
}
