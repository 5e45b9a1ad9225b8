package upkeep

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/signal/quality"
)

func plan() Plan {
	return Plan{Name: "2026-01-05", Made: began, Seed: 3, Units: []string{"A", "B", "C"}, Fillings: 2, Repeats: 2, Rig: "sim", Profile: "type"}
}

// carry does the next n tests of a plan, with the values of value.
func carry(t *testing.T, s *shelf, p Plan, n int, value func(m Mount) float64) *Progress {
	t.Helper()
	for range n {
		g := follow(t, s, p)
		m, _, ok := g.Next()
		require.True(t, ok)
		s.put(t, GaugeStudy, m.Unit, map[string]float64{"full_current": value(m), "quiet_current": 0.05, "start_attempts": 1},
			func(r *record.Record, _ *result.Result) { r.At.Filling = m.Label })
	}
	return follow(t, s, p)
}

func follow(t *testing.T, s *shelf, p Plan) *Progress {
	t.Helper()
	tests, err := Load(s, record.Filter{Purpose: GaugeStudy})
	require.NoError(t, err)
	g, err := Follow(p, tests)
	require.NoError(t, err)
	return g
}

// The order is drawn: the same for a seed, every filling of every unit once.
func TestPlanOrder(t *testing.T) {
	p := plan()
	assert.Equal(t, p.Mounts(), p.Mounts())
	other := p
	other.Seed = 4
	assert.NotEqual(t, p.Mounts(), other.Mounts())
	rng := rand.New(rand.NewPCG(5, 7))
	for range 50 {
		p.Seed, p.Fillings, p.Repeats = rng.Uint64(), 2+rng.IntN(4), 2+rng.IntN(3)
		seen := map[string]int{}
		for i, m := range p.Mounts() {
			seen[m.Unit]++
			require.Equal(t, seen[m.Unit], m.Filling)
			require.Equal(t, i+1, m.Number)
		}
		require.Equal(t, map[string]int{"A": p.Fillings, "B": p.Fillings, "C": p.Fillings}, seen)
	}
	for name, bad := range map[string]func(*Plan){
		"one unit": func(p *Plan) { p.Units = p.Units[:1] }, "a unit twice": func(p *Plan) { p.Units = []string{"A", "A"} },
		"no filling": func(p *Plan) { p.Fillings = 0 }, "one test": func(p *Plan) { p.Repeats = 1 }, "no name": func(p *Plan) { p.Name = " " },
		"many": func(p *Plan) { p.Fillings = 1e6 }, "nameless unit": func(p *Plan) { p.Units[0] = "" },
	} {
		p := plan()
		bad(&p)
		assert.Error(t, p.Check(), name)
	}
}

// A study goes on where the records end, and only they count.
func TestStudyResumes(t *testing.T) {
	s, p := &shelf{}, plan()
	g := carry(t, s, p, 0, nil)
	_, err := g.Result()
	require.ErrorIs(t, err, ErrUnfinished)
	g = carry(t, s, p, 5, func(Mount) float64 { return 5 })
	m, repeat, ok := g.Next()
	require.True(t, ok)
	assert.Equal(t, g.Mounts[2], m)
	assert.Equal(t, 2, repeat)
	// A test that broke off is done again; one of another study, unit or bench
	// does not count.
	first := g.Mounts[2]
	for _, change := range []func(*record.Record){
		func(r *record.Record) { r.Interrupted = true },
		func(r *record.Record) { r.Cancelled = true },
		func(r *record.Record) { r.At.Filling = "study other, filling 3" },
		func(r *record.Record) { r.At.Unit = "Z" },
		func(r *record.Record) { r.Calibration = "new" },
		func(r *record.Record) { r.Rig.Name = "another" },
	} {
		s.put(t, GaugeStudy, first.Unit, map[string]float64{"full_current": 5}, func(r *record.Record, _ *result.Result) {
			r.At.Filling = first.Label
			change(r)
		})
	}
	g = follow(t, s, p)
	again, repeat, _ := g.Next()
	assert.Equal(t, first, again)
	assert.Equal(t, 2, repeat)
	assert.Equal(t, 3, g.Extra)
	g = carry(t, s, p, 7, func(Mount) float64 { return 5 })
	_, _, ok = g.Next()
	assert.False(t, ok)
	assert.Equal(t, 12, g.Made())
}

func whole(t *testing.T) (*Outcome, *shelf) {
	t.Helper()
	s, rng := &shelf{}, rand.New(rand.NewPCG(5, 8))
	fill := map[string]float64{}
	g := carry(t, s, plan(), 12, func(m Mount) float64 {
		if _, ok := fill[m.Label]; !ok {
			fill[m.Label] = 0.05 * rng.NormFloat64()
		}
		return 5 + 0.3*float64(int(m.Unit[0])-'B') + fill[m.Label] + 0.01*rng.NormFloat64()
	})
	o, err := g.Result()
	require.NoError(t, err)
	return o, s
}

// What comes out is quality.Nested over the records, whatever their order.
func TestStudyResult(t *testing.T) {
	o, s := whole(t)
	require.Len(t, o.Findings, 1)
	g := o.Findings[0]
	values := map[string]map[string][]float64{}
	for _, r := range s.records {
		var judged result.Result
		require.NoError(t, json.Unmarshal(r.Result, &judged))
		if values[r.At.Unit] == nil {
			values[r.At.Unit] = map[string][]float64{}
		}
		values[r.At.Unit][r.At.Filling] = append(values[r.At.Unit][r.At.Filling], *judged.Findings[0].Value)
	}
	var x [][][]float64
	for _, u := range []string{"A", "B", "C"} {
		var unit [][]float64
		for _, cell := range values[u] {
			unit = append(unit, cell)
		}
		x = append(x, unit)
	}
	want, err := quality.Nested(x)
	require.NoError(t, err)
	assert.InEpsilon(t, want.Reproducibility.SD(), g.Study.Reproducibility.SD(), 1e-9)
	assert.InEpsilon(t, want.Part.SD(), g.Study.Part.SD(), 1e-9)
	assert.Equal(t, 2.0, g.Room)
	assert.InEpsilon(t, 6*want.Gauge.SD()/2, g.OfTolerance(g.Study.Gauge), 1e-9)
	assert.Contains(t, g.Meaning(), "refilling and remounting")
	assert.Equal(t, []Left{{"quiet_current", "it was the same in all tests"}, {"start_attempts", "it is a count, and has no uncertainty"}}, o.Left)

	var text bytes.Buffer
	require.NoError(t, o.WriteText(&text, true))
	for _, want := range []string{"refill and remount", "distinct categories", "of limits", "Not analysed"} {
		assert.Contains(t, text.String(), want)
	}
	data, err := json.Marshal(o.JSON())
	require.NoError(t, err)
	// The bench of whole scatters by more than 10 % and less than 30 %: no step.
	assert.Empty(t, o.Next())
	assert.Contains(t, string(data), `"next_step":""`)
	first, _, _ := strings.Cut(text.String(), "\n")
	assert.True(t, strings.HasSuffix(strings.TrimSpace(text.String()), first), "the sentence stands last as well")
}

// A bench that is too unsteady has a next step by where its scatter comes from,
// first and last.
func TestStudyNextStep(t *testing.T) {
	o, _ := whole(t)
	g := &o.Findings[0]
	g.Room = 6 * g.Study.Gauge.SD() / 0.301
	assert.Equal(t, "In 1 finding of 1 the bench's scatter takes more than 30 % of the tolerance: most in full current, where it takes 30.1 % of it.", o.Sentence())
	assert.Contains(t, o.Next(), "mount and bleed every unit in the same way")
	var text, page bytes.Buffer
	require.NoError(t, o.WriteText(&text, true))
	assert.Equal(t, 2, strings.Count(text.String(), "Next step: "+o.Next()))
	assert.True(t, strings.HasSuffix(text.String(), "Next step: "+o.Next()+"\n"))
	require.NoError(t, o.Page(&page, "dutybench 1"))
	assert.Contains(t, page.String(), "mount and bleed every unit")
	g.Study.Repeatability, g.Study.Reproducibility = g.Study.Reproducibility, g.Study.Repeatability
	assert.Contains(t, o.Next(), "with nothing touched")
	g.Room = 6 * g.Study.Gauge.SD() / 0.299
	assert.Empty(t, o.Next())
}

// With one limit the room is twice the way from the mean to it, and beyond it
// there is none.
func TestRoomOfOneLimit(t *testing.T) {
	at := func(low, high *float64, mean float64) float64 {
		v := mean
		return gauged("x", "A", quality.Study{}, nil, []Test{{Findings: []result.Finding{{Name: "x", Value: &v, Low: low, High: high}}}}).Room
	}
	four, six := 4.0, 6.0
	assert.Equal(t, 2.0, at(&four, &six, 5))
	assert.Equal(t, 3.0, at(nil, &six, 4.5))
	assert.Equal(t, 1.0, at(&four, nil, 4.5))
	assert.True(t, math.IsNaN(at(nil, nil, 5)))
	assert.True(t, math.IsNaN(at(nil, &six, 7)))
}

func TestGaugeFile(t *testing.T) {
	dir := t.TempDir()
	g, err := ReadGauge(dir)
	require.NoError(t, err)
	o, _ := whole(t)
	setting := o.Setting
	k, why := g.For("bench one", setting)
	assert.Empty(t, k.Name+why)
	require.NoError(t, AddGauge(dir, o.Keep()))
	later := o.Keep()
	later.Name, later.Made = "later", later.Made.Add(time.Hour)
	later.Findings = []KeptOne{{Name: "full_current", Unit: "A", Repeat: 0.5}}
	later.Hash = later.sum()
	require.NoError(t, AddGauge(dir, later))
	require.NoError(t, AddGauge(dir, o.Keep()), "the same study again gives way")
	g, err = ReadGauge(dir)
	require.NoError(t, err)
	require.Len(t, g.Studies, 2)
	k, why = g.For("bench one", setting)
	require.Empty(t, why)
	assert.Equal(t, later, k, "the newest")
	k, why = g.For("bench two", setting)
	assert.Empty(t, k.Name+why, "another rig")
	for want, change := range map[string]func(*Setting){
		"":                                      func(s *Setting) { s.Simulated = true },
		" ":                                     func(s *Setting) { s.Profile = "other" },
		"the rig file was changed":              func(s *Setting) { s.RigFile = "ee" },
		"the calibration was changed":           func(s *Setting) { s.Calibration = "of today" },
		"the profile went from revision 1 to 2": func(s *Setting) { s.Revision = 2 },
		"the profile's text was changed":        func(s *Setting) { s.ProfileSHA256 = "cd" },
	} {
		now := setting
		change(&now)
		k, why = g.For("bench one", now)
		assert.Equal(t, strings.TrimSpace(want), why)
		assert.Equal(t, why == "", k.Name == "", "%q: no study, or one that does not count", want)
	}
	// An older study that fits counts before a newer one that does not.
	newest := o.Keep()
	newest.Name, newest.Made, newest.RigFile = "newest", newest.Made.Add(2*time.Hour), "ee"
	newest.Hash = newest.sum()
	for _, all := range [][]Kept{append(slices.Clone(g.Studies), newest), append([]Kept{newest}, g.Studies...)} {
		k, why = Gauge{all}.For("bench one", setting)
		assert.Equal(t, "later", k.Name+why)
	}
	path := filepath.Join(dir, GaugeFile)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, bytes.Replace(data, []byte("repeatability = 0.5"), []byte("repeatability = 0.1"), 1), 0o644))
	_, err = ReadGauge(dir)
	require.ErrorContains(t, err, "changed by hand")
	for _, bad := range []string{"[[study]]\nno = 1", "x", "[[study]]\nname = 1"} {
		require.NoError(t, os.WriteFile(path, []byte(bad), 0o644))
		_, err = ReadGauge(dir)
		assert.Error(t, err, bad)
	}
}

func TestPlanFile(t *testing.T) {
	dir := t.TempDir()
	_, err := ReadPlan(dir)
	require.ErrorContains(t, err, "no study is planned")
	p := plan()
	require.NoError(t, WritePlan(dir, p))
	got, err := ReadPlan(dir)
	require.NoError(t, err)
	assert.Equal(t, p, got)
	p.Units = nil
	assert.Error(t, WritePlan(dir, p))
	left, err := filepath.Glob(filepath.Join(dir, ".upkeep-*"))
	require.NoError(t, err)
	assert.Empty(t, left)
}

// Serials and names are shown as text, whatever they hold.
func TestStudyPageEscapes(t *testing.T) {
	o, _ := whole(t)
	evil := `<script>alert(1)</script>` + "\x1b[31m"
	o.Plan.Units = slices.Repeat([]string{evil}, 3)
	o.Plan.Name, o.Rig, o.Setting.Profile = evil, evil, evil
	o.Findings[0].Finding, o.Findings[0].Unit = evil, evil
	o.Left = append(o.Left, Left{evil, evil})
	var page, text bytes.Buffer
	require.NoError(t, o.Page(&page, "dutybench 1"))
	require.NoError(t, o.WriteText(&text, false))
	for _, s := range []string{page.String(), text.String()} {
		assert.NotContains(t, s, "\x1b")
	}
	assert.NotContains(t, page.String(), "<script")
	assert.Positive(t, strings.Count(page.String(), "<svg"))
}

// Figures that no study can have found do not count, whatever the hash says.
func TestGaugeFileRefusesWhatIsNoStudy(t *testing.T) {
	o, _ := whole(t)
	good := o.Keep()
	for says, change := range map[string]func(k *Kept){
		"":                    func(*Kept) {},
		"changed by hand":     func(k *Kept) { k.Hash = "" },
		"gives -1":            func(k *Kept) { k.Findings[0].Refill = -1 },
		"gives NaN":           func(k *Kept) { k.Findings[0].Repeat, k.Hash = math.NaN(), "" },
		"gives +Inf":          func(k *Kept) { k.Findings[0].RefillDoF, k.Hash = math.Inf(1), "" },
		"has a name that has": func(k *Kept) { k.Name = " x" },
	} {
		dir := t.TempDir()
		k := good
		k.Findings = slices.Clone(good.Findings)
		before := k.Hash
		change(&k)
		if k.Hash == before {
			k.Hash = k.sum()
		}
		require.NoError(t, writeTOML(filepath.Join(dir, GaugeFile), Gauge{[]Kept{k}}))
		_, err := ReadGauge(dir)
		if says == "" {
			require.NoError(t, err)
			continue
		}
		require.ErrorContains(t, err, says)
	}
}

// Names that a trace or a record would hold otherwise are refused: the study
// would not find its own tests.
func TestPlanNames(t *testing.T) {
	for _, bad := range []string{" x", "x ", "a\tb", "a  b", "a\x1b[1m", "a\u202eb", "\xff"} {
		p := plan()
		p.Name = bad
		require.Error(t, p.Check(), "%q", bad)
		p = plan()
		p.Units[0] = bad
		require.Error(t, p.Check(), "%q", bad)
	}
	p := plan()
	p.Name, p.Units[0] = "Frühjahr 2026", "A 1"
	require.NoError(t, p.Check())
}
