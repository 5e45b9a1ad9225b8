package upkeep

import (
	"time"

	"dutybench/signal/quality"
)

// HealthJSON is the object that scripts get of a check unit. Numbers that
// there are not are null.
type HealthJSON struct {
	Schema       int         `json:"schema"`
	InControl    bool        `json:"in_control"`
	Sentence     string      `json:"sentence"`
	NextStep     string      `json:"next_step,omitempty"`
	Unit         string      `json:"unit"`
	Rig          string      `json:"rig"`
	Simulated    bool        `json:"simulated,omitempty"`
	Baseline     int         `json:"baseline_tests"`
	Missing      int         `json:"missing_tests"`
	Sigmas       float64     `json:"limits_sd"`
	Lambda       float64     `json:"ewma_lambda"`
	L            float64     `json:"ewma_limits_sd"`
	FalseAlarms  int         `json:"tests_per_false_alarm"`
	ShiftByValue *float64    `json:"tests_to_see_2_sd_by_value"` // these two with exact limits
	ShiftByEWMA  *float64    `json:"tests_to_see_2_sd_by_ewma"`
	Phases       []phaseJSON `json:"phases"`
	SeenByHalf   int         `json:"tests_to_see_2_sd_half_of_benches"`
	SeenByMost   int         `json:"tests_to_see_2_sd_nine_of_ten"`
	Charts       []chartJSON `json:"charts"`
	Others       []Other     `json:"other_units_out"`
	Open         []Alarm     `json:"open_from_phase_before"`
	Alarms       []Alarm     `json:"alarms"`
}

type phaseJSON struct {
	From  time.Time `json:"from"`
	Why   string    `json:"why,omitempty"`
	Tests int       `json:"tests"`
}

type chartJSON struct {
	Finding string        `json:"finding"`
	Unit    string        `json:"unit"`
	Note    string        `json:"note,omitempty"`
	Limits  []*limitsJSON `json:"limits"` // by phase
	Points  []pointJSON   `json:"points"`
}

type limitsJSON struct {
	Mean      float64  `json:"mean"`
	Sigma     float64  `json:"sd"`
	Low       float64  `json:"low"`
	High      float64  `json:"high"`
	RangeHigh float64  `json:"range_high"`
	EWMALow   float64  `json:"ewma_low"`
	EWMAHigh  float64  `json:"ewma_high"`
	Cp        *float64 `json:"cp"`
	Cpk       *float64 `json:"cpk"`
	CpkLow    *float64 `json:"cpk_low"`
	CpkHigh   *float64 `json:"cpk_high"`
}

type pointJSON struct {
	When       time.Time `json:"when"`
	Record     string    `json:"record"`
	Phase      int       `json:"phase"`
	Value      *float64  `json:"value"`
	Range      *float64  `json:"range"`
	EWMA       *float64  `json:"ewma"`
	InBaseline bool      `json:"in_baseline,omitempty"`
	Out        bool      `json:"out,omitempty"`
}

// JSON is the health as scripts get it.
func (h *Health) JSON() HealthJSON {
	out := HealthJSON{Schema: 1, InControl: !h.Out, Sentence: h.Sentence(), NextStep: h.Next(), Unit: h.Unit, Rig: h.Rig, Simulated: h.Simulated,
		Baseline: h.Baseline, Missing: h.Missing, Sigmas: h.Sigmas, Lambda: Weight, L: h.L, FalseAlarms: FalseAlarms,
		ShiftByValue: number(h.ShiftValue), ShiftByEWMA: number(h.ShiftDrift), Alarms: append([]Alarm{}, h.Alarms...),
		Others: append([]Other{}, h.Others...), Open: append([]Alarm{}, h.Open...)}
	out.SeenByHalf, out.SeenByMost = h.Seen()
	phase := make([]int, len(h.Tests))
	for i, p := range h.Phases {
		out.Phases = append(out.Phases, phaseJSON{h.Tests[p.From].When, p.Why, p.Tests})
		for j := range p.Tests {
			phase[p.From+j] = i
		}
	}
	for _, c := range h.Charts {
		k := chartJSON{Finding: c.Finding, Unit: c.Unit, Note: c.Note}
		for _, l := range c.Limits {
			k.Limits = append(k.Limits, l.json())
		}
		for i, p := range c.Points {
			k.Points = append(k.Points, pointJSON{h.Tests[i].When, h.Tests[i].ID.String(), phase[i], number(p.Value), number(p.Range), number(p.Average), p.InBaseline, p.Out})
		}
		out.Charts = append(out.Charts, k)
	}
	return out
}

func (l *Limits) json() *limitsJSON {
	if l == nil {
		return nil
	}
	k := l.Capability
	if k == nil {
		k = &quality.Capability{Cp: nan, Cpk: nan, CpkLow: nan, CpkHigh: nan}
	}
	return &limitsJSON{l.Mean, l.Sigma, l.Low, l.High, l.RangeHigh, l.Mean - l.AverageHalf, l.Mean + l.AverageHalf,
		number(k.Cp), number(k.Cpk), number(k.CpkLow), number(k.CpkHigh)}
}
