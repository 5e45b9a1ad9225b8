package pump

import (
	"math"
	"slices"

	"dutybench/bench/kind"
	"dutybench/profiles"
)

// AtSupply is a measurement as it would be with other voltages at the plug, by
// the profile's regulation: the curve, and the current at full with the plateau
// it was taken from. Plateaus whose supply was not sampled stay as they are.
// known is false, and the measurement the one given, when the profile does not
// say how current goes with supply.
func (Kind) AtSupply(m *kind.Measured, p *profiles.Profile, volt func(duty_pct float64, up bool) float64) (at *kind.Measured, known bool) {
	γ, _ := supplyExponent(sectionOf(p).Regulation)
	if γ == 0 {
		return m, false
	}
	factor := func(q kind.Point) float64 {
		if v := volt(q.Duty_pct, q.Up); v > 1 && q.Supply_V > 1 {
			return math.Pow(q.Supply_V/v, γ)
		}
		return 1
	}
	c := *m
	c.Curve, c.Values = slices.Clone(m.Curve), slices.Clone(m.Values)
	top := 0
	for i, q := range m.Curve {
		c.Curve[i].Current = q.Current.Scale(factor(q))
		if q.Duty_pct > m.Curve[top].Duty_pct {
			top = i
		}
	}
	if v := c.Get(Full); v != nil && v.Missing == "" && len(m.Curve) > 0 {
		v.Q = v.Q.Scale(factor(m.Curve[top]))
	}
	return &c, true
}

// Ratio says that good units differ in a named value by ratios.
func (Kind) Ratio(value string) bool {
	return ruleFor(value).Log
}
