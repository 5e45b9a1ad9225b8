package upkeep

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/signal/quality"
)

// shelf is a store of a few records.
type shelf struct {
	records []*record.Record
	entries []record.Entry
}

func (s *shelf) List(f record.Filter) ([]record.Entry, error) {
	var out []record.Entry
	for _, e := range s.entries {
		if (f.Purpose == "" || f.Purpose == e.Purpose) && (f.Unit == "" || f.Unit == e.At.Unit) && (f.Rig == "" || f.Rig == e.Rig.Name) {
			out = append(out, e)
		}
	}
	return out, nil
}

func (s *shelf) Get(id record.ID) (*record.Record, error) {
	if id.Seq < 1 || id.Seq > len(s.records) {
		return nil, fs.ErrNotExist
	}
	return s.records[id.Seq-1], nil
}

// began is the day of the first test.
var began = time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)

// put adds a test with findings by name; NaN is not measured.
func (s *shelf) put(t testing.TB, purpose, unit string, findings map[string]float64, change func(*record.Record, *result.Result)) {
	t.Helper()
	r := result.Result{Verdict: result.Pass}
	for _, name := range []string{"full_current", "quiet_current", "start_attempts"} {
		v, ok := findings[name]
		if !ok {
			continue
		}
		f := result.Finding{Name: name, Unit: "A", Result: result.Passed}
		if !math.IsNaN(v) {
			f.Value = &v
			low, high := 4.0, 6.0
			f.Low, f.High = &low, &high
			f.Budget = []result.Part{{Source: "noise", U: 0.001}}
		}
		if name == "start_attempts" {
			f.Budget, f.Unit = nil, ""
		}
		r.Findings = append(r.Findings, f)
	}
	seq := len(s.records) + 1
	rec := &record.Record{ID: record.ID{Bench: "k3v7q2m9xw", Seq: seq}, Hash: fmt.Sprintf("%064x", seq), When: began.AddDate(0, 0, seq-1), Purpose: purpose,
		Rig: record.Rig{Name: "bench one"}, Profile: record.Profile{Name: "type", Revision: 1, SHA256: "ab"}, At: record.Circumstances{Unit: unit, Kind: "pump"}}
	if change != nil {
		change(rec, &r)
	}
	var err error
	rec.Result, err = json.Marshal(r)
	require.NoError(t, err)
	s.records = append(s.records, rec)
	s.entries = append(s.entries, record.Entry{ID: rec.ID, Hash: rec.Hash, When: rec.When, Purpose: rec.Purpose, Rig: rec.Rig, Calibration: rec.Calibration, Profile: rec.Profile, At: rec.At, Interrupted: rec.Interrupted, Cancelled: rec.Cancelled, Verdict: r.Verdict})
}

// checks puts n tests of the check unit with a scatter of 0.01 A about 5 A.
func (s *shelf) checks(t testing.TB, rng *rand.Rand, n int, shift float64, change func(*record.Record, *result.Result)) {
	for range n {
		s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 5 + shift + 0.01*rng.NormFloat64()}, change)
	}
}

func one(n int) Chosen { return Chosen{Findings: []string{"full_current"}, Baseline: n} }

func TestWatchTheBaseline(t *testing.T) {
	s := &shelf{}
	_, err := Watch(s, one(0))
	require.ErrorIs(t, err, ErrNoCheck)
	rng := rand.New(rand.NewPCG(5, 1))
	s.checks(t, rng, 19, 0, nil)
	h, err := Watch(s, one(0))
	require.NoError(t, err)
	assert.Equal(t, 1, h.Missing)
	assert.False(t, h.Out)
	assert.Nil(t, h.Charts[0].Limits[0])
	s.checks(t, rng, 1, 0, nil)
	h, err = Watch(s, one(0))
	require.NoError(t, err)
	assert.Zero(t, h.Missing)
	require.NotNil(t, h.Charts[0].Limits[0])
	var base []float64
	for _, p := range h.Charts[0].Points {
		base = append(base, p.Value)
		assert.True(t, p.InBaseline)
	}
	want, err := quality.NewIndividuals(base, quality.Next(1.0/FalseAlarms/3, 20))
	require.NoError(t, err)
	assert.InDelta(t, want.High, h.Charts[0].Limits[0].High, 1e-12)
	// Later tests do not move limits.
	s.checks(t, rng, 10, 0.5, nil)
	later, err := Watch(s, one(0))
	require.NoError(t, err)
	assert.Equal(t, *h.Charts[0].Limits[0], *later.Charts[0].Limits[0])
	assert.True(t, later.Out)
	_, err = Watch(s, Chosen{})
	assert.Error(t, err)
	_, err = Watch(s, one(2))
	assert.Error(t, err)
}

// Each kind of alarm, alone, with the record's name and a next step.
func TestAlarms(t *testing.T) {
	base := func(t *testing.T) (*shelf, *rand.Rand) {
		s, rng := &shelf{}, rand.New(rand.NewPCG(5, 2))
		s.checks(t, rng, 20, 0, nil)
		return s, rng
	}
	at := func(s *shelf, t *testing.T, values ...float64) *Health {
		for _, v := range values {
			s.put(t, CheckUnit, "C1", map[string]float64{"full_current": v}, nil)
		}
		h, err := Watch(s, one(0))
		require.NoError(t, err)
		return h
	}
	kinds := func(h *Health) (out []string) {
		for _, a := range h.Alarms {
			require.NotEmpty(t, a.Next)
			require.Contains(t, a.Record, "k3v7q2m9xw-0000")
			out = append(out, a.Record[len(a.Record)-2:]+" "+a.Kind)
		}
		return out
	}
	t.Run("none", func(t *testing.T) {
		s, _ := base(t)
		h := at(s, t, 5.001, 4.999)
		assert.False(t, h.Out)
		assert.Empty(t, h.Alarms)
		assert.Contains(t, h.Sentence(), "in control")
	})
	t.Run("value, and the step back is no second alarm", func(t *testing.T) {
		s, _ := base(t)
		l := at(s, t).Charts[0].Limits[0]
		h := at(s, t, l.High+0.1)
		assert.Contains(t, kinds(h), "21 value")
		assert.True(t, h.Out)
		assert.Contains(t, h.Next(), "Stop testing until")
		h = at(s, t, 5.0)
		assert.NotContains(t, kinds(h), "22 range")
		assert.False(t, h.Out, "the repeated check lies inside")
	})
	t.Run("step between two values inside", func(t *testing.T) {
		s, _ := base(t)
		l := at(s, t).Charts[0].Limits[0]
		h := at(s, t, l.Low+0.0002, l.High-0.0002)
		assert.Contains(t, kinds(h), "22 range")
		assert.NotContains(t, kinds(h), "22 value")
	})
	t.Run("drift that no value shows", func(t *testing.T) {
		s, _ := base(t)
		sigma := at(s, t).Charts[0].Limits[0].Sigma
		var h *Health
		for i := 0; i < 60 && (h == nil || !h.Out); i++ {
			h = at(s, t, 5+2.5*sigma)
		}
		require.True(t, h.Out)
		assert.Equal(t, "drift", h.Alarms[0].Kind)
		assert.Contains(t, h.Next(), "calibration")
	})
	t.Run("a check unit that fails", func(t *testing.T) {
		s, _ := base(t)
		s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 5}, func(_ *record.Record, r *result.Result) { r.Verdict = result.Fail })
		h, err := Watch(s, one(0))
		require.NoError(t, err)
		assert.Equal(t, []string{"21 verdict"}, kinds(h))
		assert.True(t, h.Out)
		assert.Contains(t, h.Sentence(), "did not pass")
	})
	t.Run("a test without the finding", func(t *testing.T) {
		s, _ := base(t)
		h := at(s, t, math.NaN(), 5)
		assert.False(t, h.Out)
		assert.True(t, math.IsNaN(h.Charts[0].Points[20].Range))
		assert.False(t, math.IsNaN(h.Charts[0].Points[21].Range), "the step is from the last one measured")
	})
}

// A known change begins a new phase with limits of its own; other units, rigs
// and tests that broke off are not in it.
func TestPhases(t *testing.T) {
	s, rng := &shelf{}, rand.New(rand.NewPCG(5, 3))
	s.checks(t, rng, 22, 0, nil)
	moved := func(r *record.Record, _ *result.Result) { r.Calibration = "of 2026-02-01" }
	s.checks(t, rng, 21, 0.3, moved)
	s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 9}, func(r *record.Record, x *result.Result) { moved(r, x); r.Interrupted = true })
	s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 9}, func(r *record.Record, x *result.Result) { moved(r, x); r.Cancelled = true })
	s.put(t, "test", "C1", map[string]float64{"full_current": 9}, moved)
	s.put(t, CheckUnit, "C1", map[string]float64{"full_current": 9}, func(r *record.Record, x *result.Result) { moved(r, x); r.Rig.Name = "bench two" })
	c := one(0)
	c.Rig = "bench one"
	h, err := Watch(s, c)
	require.NoError(t, err)
	assert.Equal(t, []Phase{{Tests: 22}, {From: 22, Why: "the calibration was changed", Tests: 21}}, h.Phases)
	assert.Empty(t, h.Alarms, "the jump came with the calibration")
	assert.InDelta(t, 0.3, h.Charts[0].Limits[1].Mean-h.Charts[0].Limits[0].Mean, 0.01)
	assert.Len(t, h.Tests, 43)

	for why, change := range map[string]func(*record.Record){
		"the rig file was changed":                 func(r *record.Record) { r.Files = []record.File{{Name: record.RigFile, Data: []byte("x")}} },
		"the profile went from revision 1 to 2":    func(r *record.Record) { r.Profile.Revision = 2 },
		"the profile's text was changed":           func(r *record.Record) { r.Profile.SHA256 = "cd" },
		"the profile was changed from type to new": func(r *record.Record) { r.Profile.Name = "new" },
	} {
		two := &shelf{}
		two.checks(t, rng, 3, 0, nil)
		two.checks(t, rng, 2, 0, func(r *record.Record, _ *result.Result) { change(r) })
		h, err := Watch(two, one(0))
		require.NoError(t, err)
		require.Len(t, h.Phases, 2)
		assert.Equal(t, why, h.Phases[1].Why)
		assert.Equal(t, 18, h.Missing)
	}
}

// What a baseline costs: how often a bench in control gives an alarm, and how
// soon one is seen whose four findings have all moved.
func TestAlarmsOfABaseline(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 4))
	names := []string{"a", "b", "c", "d"}
	for _, n := range []int{10, 20, 40} {
		const benches, after = 60, 100
		rules := Health{Baseline: n}
		require.NoError(t, rules.rules(len(names)))
		// Tests with an alarm, of which share; for a shift, the first one.
		watch := func(moved int, by float64) (share float64, first float64) {
			for range benches {
				h := rules
				h.Tests = make([]Test, n+after)
				for i := range h.Tests {
					for j, name := range names {
						v := rng.NormFloat64()
						if j < moved && i >= n {
							v += by
						}
						h.Tests[i].Findings = append(h.Tests[i].Findings, result.Finding{Name: name, Value: &v})
					}
					h.Tests[i].Verdict, h.Tests[i].ID.Seq = result.Pass, i+1
				}
				h.divide()
				for _, name := range names {
					h.chart(name)
				}
				days, begin := map[int]bool{}, after
				for _, a := range h.Alarms {
					id, err := record.ParseID("k3v7q2m9xw" + a.Record)
					require.NoError(t, err)
					days[id.Seq] = true
					begin = min(begin, id.Seq-n)
				}
				share += float64(len(days)) / (benches * after)
				first += float64(begin) / benches
			}
			return share, first
		}
		quiet, _ := watch(0, 0)
		_, two := watch(1, 2)
		_, three := watch(1, 3)
		t.Logf("limits of %d tests: a bench in control alarms in one test of %.0f; one finding moved by 2 sd is seen after %.0f tests, by 3 sd after %.1f", n, 1/quiet, two, three)
		assert.Less(t, quiet, 1.3/FalseAlarms, "baseline %d", n)
	}
}

func TestHealthIsTold(t *testing.T) {
	s, rng := &shelf{}, rand.New(rand.NewPCG(5, 5))
	evil := `<script>alert(1)</script>&"` + "\x1b[31m"
	hostile := func(r *record.Record, _ *result.Result) { r.At.Unit, r.Rig.Name = evil, evil }
	s.checks(t, rng, 25, 0, hostile)
	s.put(t, CheckUnit, "", map[string]float64{"full_current": 9, "quiet_current": math.NaN()}, func(r *record.Record, x *result.Result) {
		hostile(r, x)
		r.Profile.Name = evil
		x.Findings[0].Unit = evil
	})
	h, err := Watch(s, Chosen{Findings: []string{"full_current", "quiet_current", evil}})
	require.NoError(t, err)
	var page, text bytes.Buffer
	require.NoError(t, h.Page(&page, "dutybench 1"))
	assert.NotContains(t, page.String(), "<script")
	assert.NotContains(t, page.String(), "\x1b")
	require.NoError(t, h.WriteText(&text, true))
	assert.NotContains(t, text.String(), "\x1b")
	for _, r := range text.String() {
		require.Less(t, r, rune(128))
	}
	data, err := json.Marshal(h.JSON())
	require.NoError(t, err, "no number that is none")
	var back map[string]any
	require.NoError(t, json.Unmarshal(data, &back))
	assert.Equal(t, true, back["in_control"], "new limits are being made")
}

// A store of half a year is charted in no time.
func BenchmarkWatch(b *testing.B) {
	s, rng := &shelf{}, rand.New(rand.NewPCG(5, 6))
	s.checks(b, rng, 250, 0, nil)
	for b.Loop() {
		if _, err := Watch(s, one(0)); err != nil {
			b.Fatal(err)
		}
	}
}

// The same finding out in the same way, test after test, is one row for people.
func TestRunsOfAlarms(t *testing.T) {
	h := &Health{Tests: make([]Test, 6)}
	for i := range h.Tests {
		h.Tests[i].ID = record.ID{Bench: "k3v7q2m9xw", Seq: i + 1}
	}
	for _, a := range []struct {
		seq  int
		kind string
	}{{1, "drift"}, {2, "drift"}, {2, "value"}, {3, "drift"}, {5, "drift"}, {6, "value"}} {
		h.Alarms = append(h.Alarms, Alarm{Record: h.Tests[a.seq-1].ID.String(), Finding: "x", Kind: a.kind, Sentence: a.kind})
	}
	var got []string
	for _, r := range h.runs() {
		got = append(got, r.Record[len(r.Record)-1:]+" "+r.What[:min(len(r.What), 40)])
	}
	assert.Equal(t, []string{"1 x: drift; and so in 2 further tests, up ", "2 x: value", "5 x: drift", "6 x: value"}, got)
}
