package stranger

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

func TestDumpDev(t *testing.T) {
	mi, err := strconv.Atoi(os.Getenv("MI"))
	if err != nil {
		t.Skip()
	}
	m := Models(1)[mi]
	fmt.Printf("%+v\n", m)
	rng := rand.New(rand.NewPCG(1, 5))
	f, ok := FaultNamed(os.Getenv("FN"))
	if !ok {
		f = Good()
	}
	sev, _ := strconv.ParseFloat(os.Getenv("SV"), 64)
	u := m.Unit(rng)
	tr := u.Trace(f, sev, rng)
	tt, d, x := tr.Time(), tr.Duty(), tr.Current()
	v := tr.Values("supply_V")
	n, _ := strconv.Atoi(os.Getenv("N"))
	st, _ := strconv.ParseFloat(os.Getenv("ST"), 64)
	en, _ := strconv.ParseFloat(os.Getenv("EN"), 64)
	for i := 0; i < len(tt); i += n {
		if tt[i] < st || tt[i] > en {
			continue
		}
		vv := 0.0
		if v != nil {
			vv = v[i]
		}
		fmt.Printf("%.3f d=%.0f I=%.3f V=%.2f\n", tt[i], d[i], x[i], vv)
	}
}
