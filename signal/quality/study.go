package quality

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// PoolAbove is the probability of the interaction's F above which the
// interaction is taken as none and joined to the repeatability. A quarter is
// the level from which pooling hardly biases what follows (Bancroft 1964, from
// memory; usual in gauge studies): at a twentieth, real interactions would
// often be pooled away.
const PoolAbove = 0.25

// Study is a gauge study: where the scatter of values comes from.
type Study struct {
	// Rows is the analysis of variance; the last is the total.
	Rows []Row
	// Pooled says that the interaction was joined to the repeatability; its
	// row stands there all the same.
	Pooled bool

	Repeatability Component // one test after another, nothing touched
	// Reproducibility is what an appraiser changes, with the interaction, or
	// in a nested study each filling.
	Reproducibility Component
	Interaction     Component // of part and appraiser; zero when pooled or nested
	Gauge           Component // both of the above
	Part            Component // what the parts truly differ by
	Total           Component

	Parts, Middles, Repeats int // how many: parts; appraisers, or fillings of a part; tests each
}

// errStudy says what a study needs.
var errStudy = errors.New("a study needs 2 parts or more, 2 appraisers or fillings or more, and 2 tests each or more")

// shape refuses values that are not whole: a study with holes is not analysed
// here, as its mean squares would mix effects. Do the tests that are missing.
func shape(values [][][]float64) (parts, middles, repeats int, err error) {
	parts = len(values)
	if parts < 2 || len(values[0]) < 2 || len(values[0][0]) < 2 {
		return 0, 0, 0, fmt.Errorf("quality: %w", errStudy)
	}
	middles, repeats = len(values[0]), len(values[0][0])
	for i, part := range values {
		if len(part) != middles {
			return 0, 0, 0, fmt.Errorf("quality: part %d has %d groups and the first has %d: do the tests that are missing", i+1, len(part), middles)
		}
		for j, cell := range part {
			if len(cell) != repeats {
				return 0, 0, 0, fmt.Errorf("quality: part %d, group %d has %d tests and the first has %d: do the tests that are missing", i+1, j+1, len(cell), repeats)
			}
			for k, x := range cell {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					return 0, 0, 0, fmt.Errorf("quality: test %d of part %d, group %d holds no number: repeat it", k+1, i+1, j+1)
				}
			}
		}
	}
	return parts, middles, repeats, nil
}

// Crossed analyses values[part][appraiser][repeat]: every appraiser tests
// every part, and parts and appraisers are taken as drawn from many (two-way
// random effects with interaction; MSA chapter III section B, appendix A). The
// interaction is pooled when its probability is above pool; 0 never pools.
func Crossed(values [][][]float64, pool float64) (Study, error) {
	p, a, r, err := shape(values)
	if err != nil {
		return Study{}, err
	}
	m := meansOf(values)
	of := func(n int) float64 { return float64(n) }
	parts := row("part", p-1, of(a*r)*m.parts())
	appraisers := row("appraiser", a-1, of(p*r)*m.appraisers())
	inter := row("part by appraiser", (p-1)*(a-1), of(r)*m.interaction())
	repeat := row("repeatability", p*a*(r-1), m.within)
	inter = inter.against(repeat)
	s := Study{Parts: p, Middles: a, Repeats: r}
	s.Pooled = pool > 0 && inter.P > pool
	total := row("total", p*a*r-1, parts.SS+appraisers.SS+inter.SS+repeat.SS)
	if s.Pooled {
		pooled := row("repeatability, pooled", p*a*(r-1)+(p-1)*(a-1), repeat.SS+inter.SS)
		s.Rows = []Row{parts.against(pooled), appraisers.against(pooled), inter, repeat, pooled, total}
		s.Repeatability = combine(s.Rows, 0, 0, 0, 0, 1)
		s.Reproducibility = combine(s.Rows, 0, 1/of(p*r), 0, 0, -1/of(p*r))
		s.Part = combine(s.Rows, 1/of(a*r), 0, 0, 0, -1/of(a*r))
	} else {
		s.Rows = []Row{parts.against(inter), appraisers.against(inter), inter, repeat, total}
		s.Repeatability = combine(s.Rows, 0, 0, 0, 1)
		s.Interaction = combine(s.Rows, 0, 0, 1/of(r), -1/of(r))
		appraiser := combine(s.Rows, 0, 1/of(p*r), -1/of(p*r))
		if s.Reproducibility = sum(s.Rows, appraiser, s.Interaction); s.Reproducibility.Variance == 0 {
			s.Reproducibility = appraiser // for the end of its interval
		}
		s.Part = combine(s.Rows, 1/of(a*r), 0, -1/of(a*r))
	}
	s.total()
	return s, nil
}

// Nested analyses values[part][filling][repeat], where each filling belongs to
// one part only: filling 1 of one part has nothing in common with filling 1 of
// another (random effects, e-Handbook 7.4.4 and 2.5.3).
func Nested(values [][][]float64) (Study, error) {
	p, f, r, err := shape(values)
	if err != nil {
		return Study{}, err
	}
	m := meansOf(values)
	of := func(n int) float64 { return float64(n) }
	parts := row("unit", p-1, of(f*r)*m.parts())
	fillings := row("refill and remount", p*(f-1), of(r)*m.nested())
	repeat := row("repeatability", p*f*(r-1), m.within)
	s := Study{Parts: p, Middles: f, Repeats: r}
	s.Rows = []Row{parts.against(fillings), fillings.against(repeat), repeat,
		row("total", p*f*r-1, parts.SS+fillings.SS+repeat.SS)}
	s.Repeatability = combine(s.Rows, 0, 0, 1)
	s.Reproducibility = combine(s.Rows, 0, 1/of(r), -1/of(r))
	s.Part = combine(s.Rows, 1/of(f*r), -1/of(f*r))
	s.total()
	return s, nil
}

func (s *Study) total() {
	s.Gauge = sum(s.Rows, s.Repeatability, s.Reproducibility)
	s.Total = sum(s.Rows, s.Gauge, s.Part)
	// Sums of parts that are zero or more: what rounding does to the weights
	// must not show.
	s.Gauge.Variance = s.Repeatability.Variance + s.Reproducibility.Variance
	s.Total.Variance = s.Gauge.Variance + s.Part.Variance
}

// Contribution is a component's share of the whole variance, 0 to 1.
func (s Study) Contribution(c Component) float64 { return c.Variance / s.Total.Variance }

// Variation is a component's standard deviation over the whole one ("study
// variation"), 0 to 1; such shares do not add up to one.
func (s Study) Variation(c Component) float64 { return c.SD() / s.Total.SD() }

// Categories is how many groups of parts the bench can tell apart,
// 1.41·parts/gauge (MSA); people round it down. +Inf without scatter.
func (s Study) Categories() float64 { return 1.41 * s.Part.SD() / s.Gauge.SD() }

// OfTolerance is six standard deviations over the width of a tolerance.
func OfTolerance(sd, width float64) float64 { return 6 * sd / width }

// survival is the probability of an F or more.
func survival(f, d1, d2 float64) float64 { return distuv.F{D1: d1, D2: d2}.Survival(f) }
