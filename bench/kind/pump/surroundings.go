package pump

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dutybench/bench/kind"
	"dutybench/bench/kind/weigh"
	"dutybench/profiles"
	"dutybench/signal/matter"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

const (
	// sensorU is the standard uncertainty of a sensor in kelvin: half a kelvin
	// either way, uniform (DS18B20 data sheet; thermistors of 1 % are alike).
	sensorU = 0.5 / 1.7320508
	// farthest_K is how far beyond the good units' temperatures a comparison
	// goes at most: start, quiet current and charge change too, uncorrected (chosen).
	farthest_K = 10
	negligible = least / 50 // a relative error that changes no verdict
	thickest   = 1.9        // change of half propylene glycol's viscosity over that of water's, about 20 °C (signal/matter)
)

// measureSurroundings reads the facts. It comes before gains, which adds what
// the bench says of its voltage reading.
func measureSurroundings(tr *trace.Trace, p *profiles.Profile, m *kind.Measured) {
	var top []kind.Point // the plateaus at full command
	for _, c := range m.Curve {
		if c.Duty_pct >= fullDuty(p) {
			top = append(top, c)
		}
	}
	measureColumn(tr, m, kind.WaterTemperature, "°C", trace.ColTemperature, m.Curve, sensorU)
	measureColumn(tr, m, kind.SupplyVoltage, "V", trace.ColSupply, top, 0)
	if rest, ok := tr.Number(trace.KeyRested); ok && rest >= 0 {
		add(m, kind.Rested, "s", stat.Exact(rest))
	} else {
		miss(m, kind.Rested, "s", "the trace does not say how long the unit had rested")
	}
}

// measureColumn is the mean of a column over plateaus, with its noise, its
// resolution, how far it still moved (taken as uniform) and its sensor.
func measureColumn(tr *trace.Trace, m *kind.Measured, name, unit, column string, curve []kind.Point, sensor float64) {
	t, values := tr.Time(), tr.Values(column)
	xs := room()
	defer func() { giveBack(xs) }()
	for _, k := range curve {
		from, _ := slices.BinarySearch(t, k.Start_s)
		for i := from; i < len(values) && t[i] <= k.End_s; i++ {
			if x := values[i]; !math.IsNaN(x) && !math.IsInf(x, 0) {
				xs = append(xs, x)
			}
		}
	}
	if len(xs) == 0 {
		miss(m, name, unit, "the trace has no "+column+" on a plateau")
		return
	}
	q := stat.Exact(xs[0])
	if len(xs) > 1 {
		q = stat.MeanOf(xs)
	}
	third := max(1, len(xs)/3)
	drift := stat.Mean(xs[len(xs)-third:]) - stat.Mean(xs[:third])
	q = q.With("resolution", tr.Column(column).Resolution/math.Sqrt(12), 0).With("drift over the test", 1.5*math.Abs(drift)/math.Sqrt(12), 0)
	add(m, name, unit, weigh.WithBench(q, "temperature sensor", sensor))
}

// surroundings are those of a trace beside those of the good units.
type surroundings struct {
	profile *profiles.Profile
	laws    []law
	unsure  ranges
	full_A  float64 // good units' mean at the highest duty
	quiet   float64 // their quiet current, share of full

	at, rested     *kind.Value   // of the trace; nil when not known
	fluid, fixture string        // as the trace has them
	liquid         matter.Fluid  // as the profile has it; water where that cannot be read
	ref            stat.Quantity // temperature to compare with, °C
	low, high      float64       // range of the good units' temperatures, °C; NaN not known
	rows           bool          // these come from the good units' rows
	change         matter.Change // from ref to at
	perK           matter.Change // per kelvin, at at
	refused        string        // why the liquid's properties there are not known
}

// newSurroundings compares a trace with a profile: with the mean of the good
// units' temperatures, or where only a range is stated, with the nearest end of
// it; good units are taken as spread over it, so theirs holds what lies within.
func newSurroundings(m *kind.Measured, p *profiles.Profile) *surroundings {
	s := &surroundings{profile: p, laws: lawsOf(sectionOf(p).Regulation), unsure: shares, low: math.NaN(), high: math.NaN()}
	s.fluid, _ = m.Trace.Get(trace.KeyFluid)
	s.fixture, _ = m.Trace.Get(trace.KeyFixture)
	for name, v := range map[string]**kind.Value{kind.WaterTemperature: &s.at, kind.Rested: &s.rested} {
		if *v = m.Get(name); *v != nil && ((*v).Missing != "" || !((*v).Q.U() < farthest_K)) {
			*v = nil // a temperature known no better than that says nothing
		}
	}
	for _, g := range p.Good {
		if len(g.Up) > 0 {
			s.full_A += g.Up[len(g.Up)-1] / float64(len(p.Good))
		}
	}
	if s.full_A > 0 {
		s.quiet = min(max(weigh.MeanOf(p, Quiet)/s.full_A, 0), 1)
	}
	good, fixture := weigh.Values(p, kind.WaterTemperature), p.Fixture
	switch {
	case len(good) >= 2 && 2*len(good) >= len(p.Good):
		s.rows, s.low, s.high = true, slices.Min(good), slices.Max(good)
		s.ref = stat.Repeated("good units' temperatures", good)
	case fixture.HighTemp_C > fixture.LowTemp_C:
		s.low, s.high = fixture.LowTemp_C, fixture.HighTemp_C
		if s.at != nil {
			s.ref = stat.Exact(min(max(s.at.Q.Value, s.low), s.high))
		}
	}
	var read bool
	if s.liquid, read = matter.ParseFluid(fixture.Fluid); !read {
		s.liquid, s.unsure[thicker].high = matter.Water, thickest
	}
	if s.at == nil || math.IsNaN(s.low) {
		return s
	}
	at, r := s.at.Q.Value, s.liquid.Range()
	var err error
	if s.change, err = s.liquid.Change(s.ref.Value, at); err != nil {
		s.refused = " (" + strings.TrimPrefix(err.Error(), "matter: ") + ")"
		return s
	}
	a, b := max(at-0.5, r.Low_C), min(at+0.5, r.High_C)
	step, _ := s.liquid.Change(a, b) // a and b lie within the range
	s.perK = step.Scale(1 / (b - a))
	return s
}

// correction is what to take off ln of the trace's current, at a share x of
// full speed, for the change that good units are expected to show between the
// two temperatures, and its standard uncertainty; 0 where one is not known.
func (s *surroundings) correction(x float64) (lnFactor, u float64) {
	return s.expected(s.change, x), together(s.parts(x))
}

// parts of the correction's uncertainty: what is not known of the type, and the
// temperatures. Sizes are signed; each is one error that all duties share.
func (s *surroundings) parts(x float64) []common {
	out := s.spread(s.change, x)
	if s.at == nil || s.refused != "" || !s.rows && s.change == (matter.Change{}) {
		return out // nothing is compared
	}
	own, sensor := s.at.Q.Split()
	slope := s.expected(s.perK, x)
	return append(out, common{"temperature reading", false, []float64{slope * math.Hypot(own, s.ref.U())}},
		common{"temperature sensor", true, []float64{slope * sensor}})
}

func together(parts []common) (u float64) {
	for _, c := range parts {
		u = math.Hypot(u, c.by[0])
	}
	return u
}

// errors are the parts over the points of a reference; those too small to
// change a verdict are left out.
func (s *surroundings) errors(pts []point) []common {
	var out []common
	for i, q := range pts {
		for j, c := range s.parts(q.x) {
			if i == 0 {
				out = append(out, common{c.source, c.bench, nil})
			}
			out[j].by = append(out[j].by, c.by[0])
		}
	}
	return slices.DeleteFunc(out, func(c common) bool { return slices.Max(c.by) < negligible && slices.Min(c.by) > -negligible })
}

// bring gives a current at a share x of full speed as it would be at the good
// units' temperature.
func (s *surroundings) bring(q stat.Quantity, x float64) stat.Quantity {
	ln, _ := s.correction(x)
	q = q.Scale(math.Exp(-ln))
	for _, c := range s.parts(x) {
		if u := math.Abs(c.by[0]); u >= negligible {
			q = c.add(q, u*math.Abs(q.Value))
		}
	}
	return q
}

// outside is a clause on what lies outside what the profile was learned in,
// and what to do about it; both empty where nothing does or it is not known.
func (s *surroundings) outside() (why, next string) {
	name, at := s.profile.Name, "repeat the test, or judge with a profile learned "
	var whys, nexts []string
	out := func(why, next string) { whys, nexts = append(whys, why), append(nexts, next) }
	if s.tooFar() {
		out(fmt.Sprintf("the water was at %.1f °C, and the good units of profile %s ran at %s%s", s.at.Q.Value, name, s.span(), s.refused),
			"bring the water to "+s.span()+" and "+at+"at this temperature")
	}
	if learned := s.profile.Fixture.Fluid; matter.OtherFluid(s.fluid, learned) {
		out(fmt.Sprintf("the unit ran in %q, and profile %s was learned in %q", s.fluid, name, learned), "fill the bench with what the profile was learned in and "+at+"in this fluid")
	}
	learned, words := s.profile.Fixture.Type, strings.ToLower(s.fixture)
	if other := map[string]string{"loop": "bucket", "bucket": "loop"}[learned]; other != "" && strings.Contains(words, other) && !strings.Contains(words, learned) {
		out(fmt.Sprintf("the unit ran in a %s, and profile %s was learned in a %s", other, name, learned), "mount the unit as the profile says and "+at+"in this fixture")
	}
	// A winding that has just run is tens of kelvin warmer, which is per cents
	// of current; longer rests end where water and unit are equally warm. A
	// half, as rests are not kept to the second (chosen).
	if good := weigh.Values(s.profile, kind.Rested); s.rested != nil && len(good) >= 2 && s.rested.Q.Value < slices.Min(good)/2 {
		out(fmt.Sprintf("the unit had rested %.0f s, and the good units of profile %s %.0f s or longer", s.rested.Q.Value, name, slices.Min(good)),
			fmt.Sprintf("let the unit rest for %.0f s and repeat the test", slices.Min(good)))
	}
	if len(whys) == 0 {
		return "", ""
	}
	return strings.Join(whys, "; "), nexts[0]
}

// tooFar says that the temperature lies beyond that of the good units by more
// than the correction can carry: what it is unsure of, from the nearest end on,
// exceeds their own spread, of which the limits are made, or farthest_K does not
// reach. Two standard uncertainties of the reading count for the trace.
func (s *surroundings) tooFar() bool {
	if s.at == nil || math.IsNaN(s.low) {
		return false
	}
	at := s.at.Q.Value
	far := math.Abs(at-min(max(at, s.low), s.high)) - 2*s.at.Q.U()
	if !(far > 0) || s.refused != "" || far > farthest_K {
		return far > 0
	}
	for i := range s.profile.Grid {
		var ln []float64
		for _, g := range s.profile.Good {
			if g.Up[i] > 0 {
				ln = append(ln, math.Log(g.Up[i]))
			}
		}
		mean, sd := stat.MeanSD(ln)
		x := math.Cbrt(max(math.Exp(mean)/s.full_A-s.quiet, 0) / max(1-s.quiet, 1e-9))
		if len(ln) > 1 && together(s.spread(s.perK.Scale(far), x)) > max(sd, least) {
			return true
		}
	}
	return false
}

// span is the good units' temperatures in words.
func (s *surroundings) span() string {
	high := fmt.Sprintf("%.1f °C", s.high)
	if fmt.Sprintf("%.1f °C", s.low) == high {
		return high
	}
	return fmt.Sprintf("%.1f to %s", s.low, high)
}

// unrecorded are clauses on what the profile has learned and the trace does
// not say.
func (s *surroundings) unrecorded() []string {
	var out []string
	if s.at == nil && s.rows {
		w := "the water's temperature was not measured, and good units ran at " + s.span()
		if c, err := s.liquid.Change(s.ref.Value, s.ref.Value+10); err == nil {
			w += fmt.Sprintf(": 10 K off shift the current by about %.1g %%", 100*math.Hypot(s.expected(c, 1), together(s.spread(c, 1))))
		}
		out = append(out, w)
	}
	if s.rested == nil && len(weigh.Values(s.profile, kind.Rested)) >= 2 {
		out = append(out, "the trace does not say how long the unit had rested: a warm winding shifts the current by per cents")
	}
	return out
}

// What is not known of a type, each uniform over its range. All are chosen
// from what small wet-rotor pumps are like (common practice, no source, where
// none is named); the middle is what is corrected by, the width is the
// uncertainty.
const (
	dry       = iota // share of the shaft's power at full speed that is dry friction
	film             // share of it that is a sheared film of water, ~ μ (Petroff's law); with dry, shareOfFriction in the middle
	turbulent        // n in hydraulic power ~ μ^n: 0.2 (von Kármán 1921) of 5 to 25 % disc friction; -0.125 (Blasius 1913) of flow in smooth pipe, by at most half
	copper           // share of the running power at full speed that heats the winding
	magnet           // loss of remanence per kelvin: neodymium 0.0009 to 0.0013, ferrite 0.0020 (makers' tables)
	thicker          // times water's change of viscosity: where the fluid's words cannot be read, up to half propylene glycol's
	unknowns
)

type ranges [unknowns]struct {
	source    string
	low, high float64
}

var shares = ranges{
	dry:       {"temperature: share of dry friction", 0, 0.2},
	film:      {"temperature: share of film friction", 0, 0.2},
	turbulent: {"temperature: turbulent losses", -0.05, 0.05},
	copper:    {"temperature: share of winding loss", 0.05, 0.25},
	magnet:    {"temperature: strength of the magnets", 0.001, 0.002},
	thicker:   {"temperature: which fluid", 1, 1},
}

func (r ranges) middle() (v [unknowns]float64) {
	for i, b := range r {
		v[i] = (b.low + b.high) / 2
	}
	return v
}

// law is the change of ln of the running power for those of torque at a given
// speed, of winding resistance and of magnets, where a share c of the power
// heats the winding and torque ~ ω^n.
type law func(c, n, torque, resistance, magnets float64) float64

// lawsOf are the laws that a board may follow.
func lawsOf(regulation string) []law {
	all := map[string]law{
		// P = Tω + i²R at a given ω, i = T/k.
		"speed": func(c, _, t, r, k float64) float64 { return (1+c)*t + c*r - 2*c*k },
		// V = kω + iR at a given V, P = Vi.
		"voltage": func(c, n, t, r, k float64) float64 { return t - k - n*((1-2*c)*k+c*(t+r))/(1-c+c*n) },
		"power":   func(float64, float64, float64, float64, float64) float64 { return 0 },
	}
	if l, ok := all[regulation]; ok {
		return []law{l}
	}
	return []law{all["power"], all["speed"], all["voltage"]}
}

// effect of a change of matter on ln of the current, at a share x of full speed.
func (s *surroundings) effect(l law, v [unknowns]float64, m matter.Change, x float64) float64 {
	p := x * x * x // running power
	var still, wet, water, shaft, heat float64
	lo, hi := 0.01, 1.5
	for range 30 { // the speed for it
		w := (lo + hi) / 2
		still, wet, water = v[dry]*w, v[film]*w*w, (1-v[dry]-v[film])*w*w*w
		shaft = still + wet + water
		if heat = v[copper] * (shaft / w) * (shaft / w); (1-v[copper])*shaft+heat < p { // i²R ~ torque²
			lo = w
		} else {
			hi = w
		}
	}
	running, μ := (1-s.quiet)*p, v[thicker]*m.Viscosity
	torque := math.Log((still + wet*math.Exp(μ) + water*math.Exp(m.Density+v[turbulent]*μ)) / shaft)
	change := l(heat/((1-v[copper])*shaft+heat), (wet+2*water)/shaft, torque, m.Copper, -v[magnet]*m.Kelvin)
	return running / max(s.quiet+running, 1e-9) * change
}

// expected is the effect in the middle of all ranges, meant over the laws.
func (s *surroundings) expected(m matter.Change, x float64) (mean float64) {
	if m == (matter.Change{}) {
		return 0
	}
	for _, l := range s.laws {
		mean += s.effect(l, s.unsure.middle(), m, x) / float64(len(s.laws))
	}
	return mean
}

// spread is the effect's uncertainty part by part: what is not known within a
// law, and which of the laws it is. Of several laws, and of a unit with and
// without dry friction, beside which a film counts less, the largest counts.
func (s *surroundings) spread(m matter.Change, x float64) (out []common) {
	if m == (matter.Change{}) {
		return nil
	}
	mid, mean := s.unsure.middle(), s.expected(m, x)
	smooth := mid
	smooth[dry] = s.unsure[dry].low
	part := func(source string, of func(l law, v [unknowns]float64) float64) {
		u := 0.0
		for _, l := range s.laws {
			for _, v := range [][unknowns]float64{mid, smooth} {
				if d := of(l, v); math.Abs(d) > math.Abs(u) {
					u = d
				}
			}
		}
		out = append(out, common{source, false, []float64{u}})
	}
	for i, b := range s.unsure {
		part(b.source, func(l law, v [unknowns]float64) float64 {
			low, high := v, v
			low[i], high[i] = b.low, b.high
			return (s.effect(l, high, m, x) - s.effect(l, low, m, x)) / math.Sqrt(12)
		})
	}
	part("temperature: how the board regulates", func(l law, _ [unknowns]float64) float64 { return s.effect(l, mid, m, x) - mean })
	return out
}
