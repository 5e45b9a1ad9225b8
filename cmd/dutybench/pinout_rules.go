package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"dutybench/profiles"
)

// What a meter of at most 1 V and 10 mA shows at the plug of a unit with its
// own board. All of it is common practice, no source:
//
//   - plus on ground, minus on supply: the body diodes of the board's
//     transistors or its protection conduct, 0.15 to 0.95 V;
//   - plus on supply, minus on ground: the input capacitor charges, and the
//     reading climbs;
//   - a signal input has some kilohms to a megohm to ground, supply or both, and
//     often a diode from ground;
//   - two cavities of one node read next to nothing both ways.
const (
	meterMost_V  = 1.0
	meterMost_mA = 10.0

	diodeLow_V, diodeHigh_V = 0.15, 0.95
	joined_Ohm              = 2.0
	winding_Ohm             = 50.0
	signalLow_Ohm           = 300.0
	signalHigh_Ohm          = 5e6
)

// reading is what a meter shows with plus on one cavity and minus on another.
type reading struct {
	open, climbs bool
	volt, ohm    float64 // NaN: not shown
}

func (r reading) diode() bool  { return r.volt >= diodeLow_V && r.volt <= diodeHigh_V }
func (r reading) signal() bool { return r.ohm >= signalLow_Ohm && r.ohm <= signalHigh_Ohm }

// parseReading reads what a person types: ol, rise, 0.55 V, 12 kohm.
func parseReading(s string) (reading, error) {
	r := reading{volt: math.NaN(), ohm: math.NaN()}
	t := strings.ToLower(strings.ReplaceAll(strings.TrimSpace(s), " ", ""))
	switch t {
	case "ol", "open", "-":
		r.open = true
		return r, nil
	case "rise", "rises", "climbs", "r":
		r.climbs = true
		return r, nil
	}
	for _, u := range []struct {
		suffix string
		factor float64
		to     *float64
	}{
		{"mv", 1e-3, &r.volt}, {"v", 1, &r.volt},
		{"kohm", 1e3, &r.ohm}, {"mohm", 1e6, &r.ohm}, {"ohm", 1, &r.ohm},
		{"kω", 1e3, &r.ohm}, {"mω", 1e6, &r.ohm}, {"ω", 1, &r.ohm}, {"k", 1e3, &r.ohm}, {"m", 1e6, &r.ohm},
	} {
		number, ok := strings.CutSuffix(t, u.suffix)
		if !ok {
			continue
		}
		x, err := strconv.ParseFloat(number, 64)
		if err != nil || !(x >= 0) || math.IsInf(x, 0) {
			break
		}
		*u.to = x * u.factor
		if r.volt > meterMost_V {
			return r, fmt.Errorf("%s is above %g V: this meter's range is not for it; take one of at most %g V and %g mA", strings.TrimSpace(s), meterMost_V, meterMost_V, meterMost_mA)
		}
		return r, nil
	}
	return r, fmt.Errorf("%q is no reading: give volts of a diode range (0.55 V), ohms (12 kohm), ol for open, or rise when it climbs", strings.TrimSpace(s))
}

// probe is an ordered pair of cavities: plus on the first.
type probe struct{ plus, minus string }

// pinout is what the readings propose.
type pinout struct {
	function map[string]string // by label; missing: not told
	reasons  []string
	open     []string // what stays open, and what would tell
}

// supplyMargin is how much more must speak for one pair of supply and ground
// than for any other: one sure sign (chosen).
const supplyMargin = 3

// propose tells what the cavities are from readings both ways between all of
// them.
func propose(labels []string, got map[probe]reading) pinout {
	p := pinout{function: map[string]string{}}
	at := func(plus, minus string) reading {
		if r, ok := got[probe{plus, minus}]; ok {
			return r
		}
		return reading{volt: math.NaN(), ohm: math.NaN()}
	}
	if p.twoWires(labels, at) {
		return p
	}
	node := nodes(labels, at) // one label stands for all that are joined
	var heads []string
	for _, l := range labels {
		if node[l] == l {
			heads = append(heads, l)
		}
	}
	for i, a := range heads {
		for _, b := range heads[i+1:] {
			if x, y := at(a, b).ohm, at(b, a).ohm; x <= winding_Ohm && y <= winding_Ohm {
				p.open = append(p.open, fmt.Sprintf("Between %s and %s are %.3g ohm both ways: a winding or a short, not the input of a board. Such a unit is wired otherwise.", a, b, math.Min(x, y)))
			}
		}
	}
	ranked := pairs(heads, at)
	if len(ranked) == 0 || ranked[0].score <= 0 {
		p.open = append(p.open, "No two cavities behave as supply and ground: no reading climbs and none is a diode's. Two diodes in series need more than 1 V; the unit's documents or its board must tell.")
		return p
	}
	best := ranked[0]
	for _, other := range ranked[1:] {
		if best.score-other.score < supplyMargin {
			p.open = append(p.open, fmt.Sprintf("%s as supply with %s as ground would look nearly the same: do not energise before the unit's documents or its board tell which.", other.supply, other.ground))
		}
	}
	p.reasons = append(p.reasons, best.reasons...)
	give := func(head, function string) {
		for _, l := range labels {
			if node[l] == head {
				p.function[l] = function
				if l != head {
					p.reasons = append(p.reasons, fmt.Sprintf("%s is joined to %s.", l, head))
				}
			}
		}
	}
	give(best.supply, profiles.CavitySupply)
	give(best.ground, profiles.CavityGround)
	p.signals(heads, best, at, give)
	return p
}

// twoWires tells a unit that has two cavities and no board: a coil or a motor, which
// is some ohms both ways.
func (p *pinout) twoWires(labels []string, at func(plus, minus string) reading) bool {
	if len(labels) != 2 {
		return false
	}
	a, b := labels[0], labels[1]
	x, y := at(a, b).ohm, at(b, a).ohm
	if !(x <= signalLow_Ohm && y <= signalLow_Ohm) {
		return false
	}
	p.function[a], p.function[b] = profiles.CavitySupply, profiles.CavityGround
	p.reasons = append(p.reasons,
		fmt.Sprintf("Between %s and %s are %s both ways: a coil or a motor without a board.", a, b, shownOhm(x, y)),
		fmt.Sprintf("It has no polarity unless it has its own diode; %s and %s may be either way.", a, b))
	if math.Min(x, y) <= joined_Ohm {
		p.open = append(p.open, fmt.Sprintf("%s may be a large motor, or a short: measure again with the leads' own resistance taken off.", shownOhm(x, y)))
	}
	if max(x, y) > 1.5*math.Min(x, y) {
		p.open = append(p.open, fmt.Sprintf("%s with plus on %s and %s with plus on %s: something besides a winding lies between them, such as a diode: plus goes where the reading is the higher.", shownOhm(x, x), a, shownOhm(y, y), b))
		if y > x {
			p.function[a], p.function[b] = profiles.CavityGround, profiles.CavitySupply
		}
	}
	return true
}

// nodes gives each label the first one that it is joined to.
func nodes(labels []string, at func(plus, minus string) reading) map[string]string {
	node := map[string]string{}
	for i, l := range labels {
		node[l] = l
		for _, before := range labels[:i] {
			if at(l, before).ohm <= joined_Ohm && at(before, l).ohm <= joined_Ohm {
				node[l] = node[before]
				break
			}
		}
	}
	return node
}

// powerPair is one way to take two cavities as supply and ground.
type powerPair struct {
	supply, ground string
	score          int
	reasons        []string
}

// pairs ranks all ways to take two cavities as supply and ground.
func pairs(heads []string, at func(plus, minus string) reading) []powerPair {
	var out []powerPair
	for _, s := range heads {
		for _, g := range heads {
			if s == g {
				continue
			}
			k := powerPair{supply: s, ground: g}
			if at(s, g).climbs {
				k.score += 4
				k.reasons = append(k.reasons, fmt.Sprintf("With plus on %s and minus on %s the reading climbs, as a capacitor between supply and ground makes it.", s, g))
			}
			if r := at(g, s); r.diode() {
				k.score += 3
				k.reasons = append(k.reasons, fmt.Sprintf("With plus on %s and minus on %s a diode conducts at %.2f V, as those from ground to supply do.", g, s, r.volt))
			}
			if at(g, s).climbs {
				k.score -= 4
			}
			if at(s, g).diode() {
				k.score -= 3
			}
			for _, x := range heads {
				if x == s || x == g {
					continue
				}
				if at(g, x).diode() {
					k.score++
				}
				if at(x, s).diode() {
					k.score++
				}
			}
			out = append(out, k)
		}
	}
	slices.SortStableFunc(out, func(a, b powerPair) int { return cmp.Compare(b.score, a.score) })
	return out
}

// signals tells line, return and unused among what is left.
func (p *pinout) signals(heads []string, power powerPair, at func(plus, minus string) reading, give func(head, function string)) {
	var inputs []string
	for _, x := range heads {
		if x == power.supply || x == power.ground {
			continue
		}
		s, g := power.supply, power.ground
		var signs []string
		for _, c := range []struct {
			a, b reading
			word string
		}{{at(s, x), at(x, s), "supply"}, {at(g, x), at(x, g), "ground"}} {
			if c.a.signal() || c.b.signal() {
				signs = append(signs, fmt.Sprintf("some %s to %s", shownOhm(c.a.ohm, c.b.ohm), c.word))
			}
		}
		if r := at(g, x); r.diode() {
			signs = append(signs, fmt.Sprintf("a diode from ground at %.2f V", r.volt))
		}
		whole := true
		for _, y := range heads {
			whole = whole && (y == x || at(x, y).open && at(y, x).open)
		}
		switch {
		case len(signs) > 0:
			inputs = append(inputs, x)
			p.reasons = append(p.reasons, fmt.Sprintf("%s has %s, as a signal does.", x, strings.Join(signs, " and ")))
		case whole:
			give(x, profiles.CavityUnused)
			p.reasons = append(p.reasons, fmt.Sprintf("%s is open to all others.", x))
		default:
			p.open = append(p.open, fmt.Sprintf("%s is neither open nor like a signal: not told.", x))
		}
	}
	switch len(inputs) {
	case 0:
		p.open = append(p.open, "No cavity looks like a signal: the line is not told.")
	case 1:
		give(inputs[0], profiles.CavityLine)
	default:
		p.open = append(p.open, fmt.Sprintf("%s are signals; which one is the command and which the unit's return, no meter tells: with supply and ground connected, listen on each (dutybench listen): a pull-up alone is a command's, what changes by itself a return.", strings.Join(inputs, " and ")))
	}
}

// shownOhm is a resistance in words, the lower of two.
func shownOhm(a, b float64) string {
	x := math.Inf(1)
	for _, v := range []float64{a, b} {
		if v < x {
			x = v
		}
	}
	if x >= 1e3 {
		return fmt.Sprintf("%.3g kohm", x/1e3)
	}
	return fmt.Sprintf("%.3g ohm", x)
}

// connector is the proposal as a profile's connector, the cavities in a row in
// the order in which they were named.
func (p *pinout) connector(labels []string, side string) profiles.Connector {
	c := profiles.Connector{SeenFrom: side}
	for i, l := range labels {
		if f := p.function[l]; f != "" {
			c.Cavities = append(c.Cavities, profiles.Cavity{Label: l, Function: f, Row: 1, Column: i + 1})
		}
	}
	return c
}
