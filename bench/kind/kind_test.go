package kind_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/stat"
	"dutybench/signal/step"
	"dutybench/signal/trace"
)

// lamp is a toy kind: a filament with a dimmer, which draws current by its
// duty and has nothing that starts, turns or pumps. It shows what a kind must
// bring, and that nothing else has to change for it.
type lamp struct{}

// lampSection is the [lamp] part of a profile.
type lampSection struct {
	Sockets int `toml:"sockets" comment:"filaments in parallel"`
}

// Unknown is what learning from traces alone says.
func (s *lampSection) Unknown() { s.Sockets = 1 }

const brightest = "brightest_current"

func (lamp) Name() string { return "lamp" }
func (lamp) Section() any { return &lampSection{} }
func (lamp) Plan(p *profiles.Profile) kind.Plan {
	return kind.Plan{Steps: []kind.Step{
		{Name: "dark", Supply: true, Command_pct: p.Command.Stop_pct, Min: time.Second, Max: time.Second},
		{Name: "bright", Supply: true, Command_pct: p.Command.Full_pct, Min: time.Second, Max: 2 * time.Second, Good: 0.01},
	}}
}

func (lamp) Measure(tr *trace.Trace, _ *profiles.Profile) (*kind.Measured, error) {
	if tr.Len() == 0 {
		return nil, fmt.Errorf("lamp: %s holds no sample: record it again", tr.Source)
	}
	m := &kind.Measured{Trace: tr}
	m.Startup.Settled_s = math.NaN()
	best := kind.Value{Name: brightest, Unit: "A", Missing: "never above half"}
	for _, p := range step.Plateaus(tr) {
		if p.Duty_pct == 0 {
			continue
		}
		m.Curve = append(m.Curve, kind.Point{Duty_pct: p.Duty_pct, Up: p.Up, Current: p.Current, Supply_V: p.Supply_V, Start_s: tr.Time()[p.Start], End_s: tr.Time()[p.End-1]})
		if p.Duty_pct > 50 {
			best = kind.Value{Name: brightest, Unit: "A", Q: p.Current}
		}
	}
	m.Values = []kind.Value{best}
	return m, nil
}

func (lamp) Assess(m *kind.Measured, p *profiles.Profile, _ kind.Conditions) *kind.Assessment {
	a := &kind.Assessment{NotTested: []string{"colour"}, Seen: "the lamp draws another current than good ones", NextStep: "fit a new filament"}
	v := m.Get(brightest)
	f := result.Finding{Name: brightest, Unit: "A", Result: result.NotMeasured, Note: v.Missing}
	if v.Missing == "" {
		var good []float64
		for _, g := range p.Good {
			if x, ok := g.Get(brightest); ok {
				good = append(good, x)
			}
		}
		mean, sd := stat.MeanSD(good)
		low, high, x := mean-4*sd, mean+4*sd, v.Q.Value
		f.Value, f.Low, f.High, f.Result = &x, &low, &high, result.Passed
		if x < low || x > high {
			f.Result = result.Failed
		}
	} else {
		a.Lacking = []string{"the lamp was never bright"}
	}
	a.Findings = []result.Finding{f}
	a.Causes = []result.CauseProbability{{Cause: result.Electrical, Probability: 0.9}, {Cause: result.Wiring, Probability: 0.1}}
	return a
}

// lit is a second dark and a second at each of three duties.
func lit(name string, ampere float64, most float64) *trace.Trace {
	r := rand.New(rand.NewPCG(uint64(name[len(name)-1]), uint64(ampere*1e6)))
	var t, d, x []float64
	for i := range 800 {
		duty := most / 3 * math.Floor(float64(i)/200)
		t, d, x = append(t, float64(i)/200), append(d, duty), append(x, ampere*duty/100+0.001*r.NormFloat64())
	}
	return &trace.Trace{Source: name + ".csv", SHA256: fmt.Sprintf("%064x", r.Uint64()), Meta: []trace.Entry{{Key: trace.KeyUnit, Value: name}, {Key: trace.KeyKind, Value: "lamp"}},
		Columns: []trace.Column{{Name: trace.ColTime, Values: t}, {Name: trace.ColDuty, Values: d}, {Name: trace.ColCurrent, Values: x}}}
}

func learnedLamp(t *testing.T) *profiles.Profile {
	t.Helper()
	var good []*trace.Trace
	for i := range 10 {
		good = append(good, lit(fmt.Sprintf("L-%d", i), 2+0.02*float64(i%5), 99))
	}
	p, rep, err := learn.Learn(good, lamp{}, learn.Options{Name: "lamp-2a", On: "2025-01-01"})
	require.NoError(t, err)
	require.Equal(t, 10, rep.Units)
	return p
}

func TestAnotherKindTouchesOnlyItsOwnRoom(t *testing.T) {
	var _ kind.Kind = lamp{}
	p := learnedLamp(t)
	require.Equal(t, "lamp", p.Kind)
	require.Equal(t, []float64{33, 66, 99}, p.Grid)
	require.Equal(t, 1, p.Section.(*lampSection).Sockets)

	// Its profile goes through the one format, its section included.
	data, err := profiles.Encode(p)
	require.NoError(t, err)
	require.Contains(t, string(data), "[lamp]")
	back, err := profiles.Parse(data, "lamp.toml", func(string) (any, error) { return lamp{}.Section(), nil })
	require.NoError(t, err)
	require.Equal(t, p.Section, back.Section)

	for _, c := range []struct {
		name    string
		tr      *trace.Trace
		verdict result.Verdict
		exit    int
	}{
		{"good", lit("NEW", 2.04, 99), result.Pass, 0},
		{"half the filaments", lit("OLD", 1, 99), result.Fail, 3},
		{"never bright", lit("DIM", 2.04, 45), result.Undecided, 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := judge.Judge(c.tr, back, lamp{}, judge.Options{})
			require.NoError(t, err)
			require.Equal(t, c.verdict, r.Verdict, r.Sentence)
			require.Equal(t, c.exit, r.Exit())
			require.Equal(t, "lamp", r.Kind)
			require.Equal(t, []string{"colour"}, r.NotTested)
			if c.verdict == result.Fail {
				require.Equal(t, result.Electrical, *r.Cause)
				require.Equal(t, "fit a new filament", r.NextStep)
				require.Contains(t, r.Sentence, "the lamp draws another current")
			} else {
				require.Nil(t, r.Cause)
			}
		})
	}

	wrong := lit("PUMP", 2, 99)
	wrong.Meta[1].Value = "pump"
	_, err = judge.Judge(wrong, back, lamp{}, judge.Options{})
	require.ErrorContains(t, err, "lamp")
}

func TestGetFindsByName(t *testing.T) {
	m := &kind.Measured{Values: []kind.Value{{Name: "a", Unit: "A"}, {Name: "b", Unit: "V"}}}
	require.Equal(t, "V", m.Get("b").Unit)
	require.Nil(t, m.Get("c"))
	m.Get("a").Unit = "mA"
	require.Equal(t, "mA", m.Values[0].Unit, "a pointer into the measurements")
}

func TestLongestPlan(t *testing.T) {
	require.Zero(t, kind.Plan{}.Longest())
	require.Equal(t, 3*time.Second, lamp{}.Plan(&profiles.Profile{}).Longest())
}
