package trial_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"time"

	"dutybench/bench/judge"
	"dutybench/bench/kind"
	"dutybench/bench/kinds"
	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/bench/trial"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// workshop makes the records of years of work from a few judged tests: each
// with serial, circumstances, verdict and numbers of its own, and as large as
// a real one.
type workshop struct {
	rng     *rand.Rand
	text    []byte // the profile's
	profile *profiles.Profile
	results []result.Result
	traces  []*trace.Trace
	n       int
	units   []string // all so far, repeats once more
}

// newWorkshop runs and judges a unit of each of some faults on the simulated
// bench.
func newWorkshop(p *profiles.Profile, seed uint64) (*workshop, error) {
	text, err := os.ReadFile("../../profiles/builtin/" + p.Name + ".toml")
	if err != nil {
		return nil, err
	}
	w := &workshop{rng: rand.New(rand.NewPCG(seed, 8)), text: text, profile: p}
	k, err := kinds.Named(p.Kind)
	if err != nil {
		return nil, err
	}
	c := kind.Conditions{Primed: true}
	for i, fault := range []string{"", "drag", "no-start", "input-short", "blocked-outlet", "drop-outs"} {
		rec, err := trial.RecordQuick(p, kinds.Simulated{Seed: seed + uint64(i), Fault: fault, Severity: 1}, c)
		if err != nil {
			return nil, err
		}
		r, err := rec.Judge(p, k, judge.Options{Conditions: c})
		if err != nil {
			return nil, err
		}
		tr, err := rec.Read()
		if err != nil {
			return nil, err
		}
		if _, err := json.Marshal(r); err != nil {
			return nil, fmt.Errorf("the result of %s: %w", fault, err)
		}
		w.results, w.traces = append(w.results, *r), append(w.traces, tr)
	}
	return w, nil
}

// shorten cuts the traces to their first rows.
func (w *workshop) shorten(rows int) {
	for _, t := range w.traces {
		for i := range t.Columns {
			c := &t.Columns[i]
			c.Values, c.Text = c.Values[:min(rows, len(c.Values))], c.Text[:min(rows, len(c.Text))]
			if len(c.Text) == 0 {
				c.Text = nil
			}
		}
	}
}

// rows is how long the median trace is.
func (w *workshop) rows() int {
	var n []int
	for _, t := range w.traces {
		n = append(n, t.Len())
	}
	slices.Sort(n)
	return n[len(n)/2]
}

// noTrace is what a record without samples holds: one sample, the same in all,
// of which a store keeps one.
var noTrace = []byte("# trace: 1\nt_s,duty_pct,current_A\n0,0,0\n")

// next is one more test; one in five is of a unit that came back.
func (w *workshop) next(withTrace bool) (*record.Record, error) {
	rng := w.rng
	pick := func(words ...string) string { return words[rng.IntN(len(words))] }
	unit := fmt.Sprintf("SN%08d", 40_000_000+w.n*7)
	if len(w.units) > 50 && rng.IntN(5) == 0 {
		unit = w.units[rng.IntN(len(w.units))]
	} else {
		w.units = append(w.units, unit)
	}
	i := rng.IntN(len(w.results))
	if rng.IntN(2) == 0 {
		i = 0 // half of them are good
	}
	r := w.results[i]
	r.Unit = unit
	r.Findings = slices.Clone(r.Findings)
	for j := range r.Findings {
		if v := r.Findings[j].Value; v != nil {
			r.Findings[j].Value = new(*v * (1 + 0.01*rng.NormFloat64()))
		}
	}
	r.Curve = slices.Clone(r.Curve)
	if r.Cause != nil && rng.IntN(4) == 0 { // some come to another cause
		r.Cause = &result.Causes()[rng.IntN(len(result.Causes()))]
	}
	object, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	rec := &record.Record{
		When: time.Date(2020, 1, 6, 8, 0, 0, 0, time.UTC).Add(time.Duration(w.n) * 11 * time.Minute), Purpose: pick("incoming", "incoming", "repeat", "outgoing"),
		Program: "dutybench 0.5", Calibration: "2026-01-05 bench A",
		Rig: record.Rig{Name: "bench-a", Simulated: true, Facts: []record.Fact{{Key: "current", Value: "INA226 at 0x40, shunt 10 mΩ"},
			{Key: "voltage", Value: "ADS1115 at 0x48"}, {Key: "command", Value: "GPIO18, 100 Hz, open drain"}}},
		Profile: record.Profile{Name: w.profile.Name, Revision: w.profile.Revision, SHA256: w.profile.SHA256, Text: w.text},
		At: record.Circumstances{
			Unit: unit, Kind: w.profile.Kind, Operator: pick("A. Ahn", "B. Bo", "C. Cruz", "D. Dahl"), Fixture: "loop 1", Fluid: "water/glycol 50/50",
			Temperature_C: new(20 + 5*rng.Float64()), Primed: true, PartNumber: pick("P-100", "P-200", "P-300"), Revision: pick("A", "B", "C"),
			DateCode: fmt.Sprintf("%02d%02d", 18+rng.IntN(8), 1+rng.IntN(52)), Complaint: pick("no flow", "noisy", "stops", "leaks", "code stored", "no heat"),
			Lot: fmt.Sprintf("LOT-%05d", w.n/400), Order: fmt.Sprintf("JOB-%06d", w.n/3), ReceivedBy: "R. Desk", Received: "2026-01-05",
		},
		Workshop: record.Workshop{Name: "The workshop", Address: "1 Street, Town", Contact: "desk"},
		Files:    []record.File{{Name: record.RigFile, Data: bytes.Repeat([]byte("# rig file\n"), 100)}},
		Result:   object, Trace: noTrace,
	}
	if rng.IntN(3) == 0 {
		rec.At.Claim, rec.At.Hours_h = fmt.Sprintf("CLM-%07d", w.n), new(float64(rng.IntN(9000)))
		rec.At.Notes = "claimed under warranty; the plug was clean, the seal whole; customer says it " + pick("hums", "stops in the cold", "never ran")
	}
	if withTrace {
		t := *w.traces[i]
		t.Meta = append(slices.Clone(t.Meta), trace.Entry{Key: "serial", Value: unit})
		t.Columns = slices.Clone(t.Columns)
		for j := range t.Columns {
			c := &t.Columns[j]
			if c.Name == trace.ColCurrent { // other noise, in steps of the converter
				step := 1e-4
				c.Values = slices.Clone(c.Values)
				for k := range c.Values {
					c.Values[k] += step * float64(rng.IntN(3)-1)
				}
			}
		}
		var b bytes.Buffer
		if err := trace.Write(&b, &t); err != nil {
			return nil, err
		}
		rec.Trace = b.Bytes()
	}
	w.n++
	return rec, nil
}
