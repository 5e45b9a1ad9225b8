package learn

import (
	"fmt"
	"math"

	"dutybench/bench/kind"
	"dutybench/profiles"
	"dutybench/signal/stat"
)

// Scaler is a kind that also says how its quantities go with supply, and how
// they spread. Learning from a kind that says neither takes currents as they
// were measured, and named values to spread in differences.
type Scaler interface {
	// AtSupply is a measurement as it would be with other voltages at the plug;
	// plateaus whose supply is not known stay as they are. The one given is not
	// touched. known is false, and the measurement the one given, when a
	// profile does not say how current goes with supply.
	AtSupply(m *kind.Measured, p *profiles.Profile, volt func(duty_pct float64, up bool) float64) (at *kind.Measured, known bool)
	// Ratio says that good units differ in a named value by ratios: its
	// logarithm is what spreads normally.
	Ratio(value string) bool
}

// ratio says that a named value spreads in ratios.
func ratio(k kind.Kind, value string) bool {
	s, ok := k.(Scaler)
	return ok && s.Ratio(value)
}

// supply is what units ran at, and whether their currents were brought to one:
// at each duty to the mean voltage that they had there, so that the drop of the
// leads under current stays what it was.
type supply struct {
	levelled  bool
	mean      []step
	low, high float64 // V, means of single units; 0 when none was measured
	// unknown is how many units have a plateau whose supply was not measured.
	unknown int
}

// step is one duty of the grid in one direction, with the units' mean supply.
type step struct {
	duty   float64
	up     bool
	mean_V float64 // NaN when none was measured
}

// rows fills the units' rows, brought to one supply where the kind and the
// profile of a like type know how, and says at which supply they ran.
func rows(units []measured, grid []float64, k kind.Kind, like *profiles.Profile) supply {
	var s supply
	for _, d := range grid {
		for _, up := range []bool{true, false} {
			s.mean = append(s.mean, step{d, up, meanSupply(units, d, up)})
		}
	}
	scaler, ok := k.(Scaler)
	for i := range units {
		u := &units[i]
		if ok && like != nil {
			u.level = make([]*kind.Measured, len(u.m))
			for j, m := range u.m {
				u.level[j], s.levelled = scaler.AtSupply(m, like, s.at)
			}
		}
		u.row(grid)
		s.meet(*u)
	}
	return s
}

// meanSupply is the units' mean voltage at a duty, NaN when none was measured.
func meanSupply(units []measured, duty float64, up bool) float64 {
	var volts []float64
	for _, u := range units {
		var own []float64
		for q := range u.plateaus(duty, up) {
			if q.Supply_V > 0 {
				own = append(own, q.Supply_V)
			}
		}
		if len(own) > 0 {
			volts = append(volts, stat.Mean(own))
		}
	}
	if len(volts) == 0 {
		return math.NaN()
	}
	return stat.Mean(volts)
}

// at is the mean supply at the duty of the grid that is nearest to a plateau's,
// NaN where none is near.
func (s supply) at(duty float64, up bool) float64 {
	v, nearest := math.NaN(), math.Inf(1)
	for _, x := range s.mean {
		if d := math.Abs(x.duty - duty); x.up == up && d <= near && d < nearest {
			v, nearest = x.mean_V, d
		}
	}
	return v
}

// meet takes note of the supply of one unit.
func (s *supply) meet(u measured) {
	var volts []float64
	missing := false
	for _, m := range u.m {
		for _, q := range m.Curve {
			if q.Supply_V > 0 {
				volts = append(volts, q.Supply_V)
			} else {
				missing = true
			}
		}
	}
	if missing {
		s.unknown++
	}
	if len(volts) == 0 {
		return
	}
	v := stat.Mean(volts)
	if s.low == 0 || v < s.low {
		s.low = v
	}
	s.high = max(s.high, v)
}

// alike is how far apart units' supplies may lie, relative, to be one supply:
// below what their currents are known to (chosen; it only chooses a sentence).
const alike = 0.005

// sentences say at which supply the units ran and what was done about it.
func (s supply) sentences(units int) []string {
	switch {
	case s.low == 0:
		return []string{"The supply at the units was not measured: what it does to their currents is in their spread."}
	case !s.levelled && s.high > s.low*(1+alike):
		return []string{fmt.Sprintf("Units ran at %.4g to %.4g V, and nothing says how the current of this type goes with supply: that difference is in their spread.", s.low, s.high)}
	case !s.levelled:
		return nil
	}
	out := fmt.Sprintf("Units ran at %.4g to %.4g V; their currents were brought to one supply before they were compared, as the type's regulation says.", s.low, s.high)
	if s.unknown > 0 {
		out += fmt.Sprintf(" Not so where supply was not measured, in %d of %d units.", s.unknown, units)
	}
	return []string{out}
}
