package upkeep

import (
	"time"

	"dutybench/signal/quality"
)

// StudyJSON is the object that scripts get of a study.
type StudyJSON struct {
	Schema   int          `json:"schema"`
	Sentence string       `json:"sentence"`
	NextStep string       `json:"next_step"`
	Plan     Plan         `json:"plan"`
	Rig      string       `json:"rig"`
	Profile  string       `json:"profile"`
	Revision int          `json:"revision"`
	SHA256   string       `json:"profile_sha256"`
	From     time.Time    `json:"from"`
	To       time.Time    `json:"to"`
	Findings []gaugedJSON `json:"findings"`
	Left     []leftJSON   `json:"not_analysed"`
	Records  []string     `json:"records"`
}

type leftJSON struct {
	Finding string `json:"finding"`
	Why     string `json:"why"`
}

type gaugedJSON struct {
	Finding    string          `json:"finding"`
	Unit       string          `json:"unit"`
	Mean       float64         `json:"mean"`
	Low        *float64        `json:"low"`
	High       *float64        `json:"high"`
	Tolerance  *float64        `json:"tolerance"`
	ANOVA      []rowJSON       `json:"anova"`
	Components []componentJSON `json:"components"`
	Categories *float64        `json:"distinct_categories"`
	Meaning    string          `json:"meaning"`
}

type rowJSON struct {
	Source string   `json:"source"`
	DoF    float64  `json:"dof"`
	SS     float64  `json:"sum_of_squares"`
	MS     float64  `json:"mean_square"`
	F      *float64 `json:"f"`
	P      *float64 `json:"p"`
}

type componentJSON struct {
	Name         string   `json:"name"`
	Variance     float64  `json:"variance"`
	SD           float64  `json:"sd"`
	Low          *float64 `json:"sd_low"`
	High         *float64 `json:"sd_high"`
	DoF          float64  `json:"dof"`
	Contribution *float64 `json:"share_of_variance"`
	Variation    *float64 `json:"share_of_study_variation"`
	Tolerance    *float64 `json:"share_of_tolerance"`
}

// JSON is the study as scripts get it.
func (o *Outcome) JSON() StudyJSON {
	out := StudyJSON{Schema: 1, Sentence: o.Sentence(), NextStep: o.Next(), Plan: o.Plan, Rig: o.Rig, Profile: o.Setting.Profile, Revision: o.Setting.Revision,
		SHA256: o.Setting.ProfileSHA256, From: o.From, To: o.To, Left: []leftJSON{}}
	for i := range o.Findings {
		g := &o.Findings[i]
		s := &g.Study
		k := gaugedJSON{Finding: g.Finding, Unit: g.Unit, Mean: g.Mean, Low: number(g.Low), High: number(g.High), Tolerance: number(g.Room), Categories: number(s.Categories()), Meaning: g.Meaning()}
		for _, r := range s.Rows {
			k.ANOVA = append(k.ANOVA, rowJSON{r.Source, r.DoF, r.SS, r.MS, number(r.F), number(r.P)})
		}
		for _, c := range []struct {
			name string
			c    quality.Component
		}{{"repeatability", s.Repeatability}, {"refill_and_remount", s.Reproducibility}, {"gauge", s.Gauge}, {"unit", s.Part}, {"total", s.Total}} {
			k.Components = append(k.Components, componentJSON{c.name, c.c.Variance, c.c.SD(), number(c.c.Low), number(c.c.High), c.c.DoF,
				number(s.Contribution(c.c)), number(s.Variation(c.c)), number(g.OfTolerance(c.c))})
		}
		out.Findings = append(out.Findings, k)
	}
	for _, l := range o.Left {
		out.Left = append(out.Left, leftJSON(l))
	}
	for _, t := range o.Progress.tests() {
		out.Records = append(out.Records, t.ID.String())
	}
	return out
}
