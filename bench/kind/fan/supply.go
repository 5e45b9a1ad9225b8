package fan

import (
	"math"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// measureSupply fits V = open − R·I through rest and plateaus; what the upper
// currents lack beyond that line is a supply at its limit.
func (d *detail) measureSupply(tr *trace.Trace, m *kind.Measured) {
	var amps, volts []float64
	for _, q := range d.plateaus {
		if !math.IsNaN(q.Supply_V) {
			amps, volts = append(amps, q.Median_A), append(volts, q.Supply_V)
		}
	}
	const why = "the supply at the plug was not sampled, or the current varied too little"
	most := 0.0
	for _, a := range amps {
		most = max(most, a)
	}
	var x, y []float64 // the lower half of the currents, and rest where it was read
	for i := range amps {
		if amps[i] <= 0.6*most {
			x, y = append(x, amps[i]), append(y, volts[i])
		}
	}
	fit, err := stat.Line(x, y, nil)
	if len(x) < 3 || err != nil || stat.SD(x) < max(0.1, 10*d.noise_A/30) {
		miss(m, "ohm", why, SupplyDrop)
		miss(m, "V", why, SupplyFold)
		return
	}
	resolution := 0.0
	if c := tr.Column(trace.ColSupply); c != nil {
		resolution = c.Resolution
	}
	ohm, u := -fit.Coef[1], math.Hypot(fit.U(1), resolution/math.Sqrt(12)/(math.Sqrt(float64(len(x)))*stat.SD(x)))
	fold := math.Inf(-1)
	for i := range amps {
		fold = max(fold, fit.Coef[0]-ohm*amps[i]-volts[i])
	}
	d.volts = true
	add(m, SupplyDrop, "ohm", stat.Quantity{Value: ohm}.With("scatter about the line, and resolution", u, float64(fit.DoF)))
	add(m, SupplyFold, "V", stat.Quantity{Value: fold}.With("the line, carried to the highest current", u*most, float64(fit.DoF)).With("resolution", resolution/math.Sqrt(12), 0))
}

// normal brings currents to the supply that good units had: I·(V/Vgood)^γ.
//
// A board that regulates speed draws constant power, I ~ 1/V; where the duty sets
// the voltage, speed goes with V and power with its cube (fan laws), I ~ V². The
// board's own current and friction do not follow: 0.3 either way (chosen; at 2 %
// off the learned supply it adds 0.6 %). Unknown: anything from −2 to 1.
type normal struct {
	γ, u, gain  float64
	mean_A, ohm float64 // of the good units
	learned_V   float64
}

func newNormal(tr *trace.Trace, p *profiles.Profile) normal {
	n := normal{u: 0.3, learned_V: p.Learned.Supply_V, ohm: weigh.MeanOf(p, SupplyDrop)}
	switch sectionOf(p).Regulation {
	case "speed":
		n.γ = 1
	case "voltage":
		n.γ = -2
	default:
		n.u = 1
	}
	n.gain, _ = tr.Number(trace.KeyVoltageGainU)
	var all []float64
	for _, g := range p.Good {
		for _, row := range [][]float64{g.Up, g.Down} {
			for _, x := range row {
				if !math.IsNaN(x) {
					all = append(all, x)
				}
			}
		}
	}
	n.mean_A = mean(all)
	return n
}

// ratio is ln of the supply over that of good units where they draw level_A; 0
// when either is not known.
func (n normal) ratio(q kind.Point, level_A float64) float64 {
	if v := n.learned_V - n.ohm*(level_A-n.mean_A); n.learned_V > 0 && v > 1 && q.Supply_V > 1 {
		return math.Log(q.Supply_V / v)
	}
	return 0
}

// bring gives a plateau's current at the good units' supply, with what that adds
// to its uncertainty; good is what they drew there.
func (n normal) bring(q kind.Point, good []float64) stat.Quantity {
	cur := q.Current
	r := n.ratio(q, stat.Mean(good))
	if r == 0 {
		return cur
	}
	cur = cur.Scale(math.Exp(n.γ * r))
	cur = cur.With("supply normalisation", n.u*math.Abs(r*cur.Value), 0)
	return weigh.WithBench(cur, "voltage reading in the supply normalisation", math.Abs(n.γ*n.gain*cur.Value))
}
