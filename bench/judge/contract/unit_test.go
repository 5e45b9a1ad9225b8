package contract_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dutybench/bench/judge"
	"dutybench/bench/kind/pump"
	"dutybench/bench/learn"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// specimen is a unit by plain formulas of its own, so that these tests lean on
// no simulator: current = quiet + friction·w + water·w³ with w the share of
// full speed, cut off at a limit, through a supply with a resistance and
// itself perhaps a limit.
type specimen struct {
	serial                 int
	quiet, friction, water float64 // A
	cut                    float64 // A, the board's limit; 0 none
	ohm                    float64 // before the plug
	supplyLimit            float64 // A; 0 none
	unrest                 float64 // share of the current, white
	dead, open             bool    // draws only quiet; draws nothing
	tries                  int     // failed attempts, then latched off
	tryLevel               float64 // A
	nominal                float64 // V, 12 when 0
	rate                   float64 // Hz, 500 when 0
	plan                   []float64
}

// plain is the middle of good units.
var plain = specimen{quiet: 0.05, friction: 0.6, water: 3.8, ohm: 0.05}

var upAndDown = []float64{0, 20, 30, 40, 50, 60, 70, 80, 90, 100, 90, 80, 70, 60, 50, 40, 30, 20, 0}

// drawn is a good unit with a spread of 8 % in friction, 2.5 % in water and
// 5 % in resting current.
func drawn(serial int) specimen {
	r := rand.New(rand.NewPCG(3, uint64(serial)))
	s := plain
	s.serial = serial
	s.friction *= 1 + 0.08*r.NormFloat64()
	s.water *= 1 + 0.025*r.NormFloat64()
	s.quiet *= 1 + 0.05*r.NormFloat64()
	return s
}

const (
	step_s  = 2.0
	burst_A = 1.5
	burst_s = 0.3
)

// trace records the specimen: supply on from the first sample, a step of duty
// every two seconds.
func (s specimen) trace(t testing.TB) *trace.Trace {
	t.Helper()
	r := rand.New(rand.NewPCG(5, uint64(s.serial)))
	rate, nominal, plan := s.rate, s.nominal, s.plan
	if rate == 0 {
		rate = 500
	}
	if nominal == 0 {
		nominal = 12
	}
	if plan == nil {
		plan = upAndDown
	}
	n := int(step_s * rate * float64(len(plan)))
	cols := [4][]float64{}
	state := 0.0
	for i := range n {
		at := float64(i) / rate
		k := int(at / step_s)
		duty := plan[min(k, len(plan)-1)]
		aim, x := 0.0, s.quiet
		since := at - step_s // since the first command
		if duty > 0 {
			w := duty / 100
			aim = s.friction*w + s.water*w*w*w
			if s.cut > 0 {
				aim = min(aim, s.cut-s.quiet)
			}
		}
		state += (aim - state) * (1 - math.Exp(-1/(0.15*rate)))
		switch {
		case s.open:
			x = 0
		case s.dead:
		case s.tries > 0:
			if m := int(since / 2.5); since >= 0 && m < s.tries && since-2.5*float64(m) < 1 && duty > 0 {
				x += s.tryLevel
			}
		case since >= 0 && since < burst_s:
			x += burst_A
		default:
			x += state * (1 + s.unrest*r.NormFloat64())
		}
		volts := nominal - s.ohm*x
		if s.supplyLimit > 0 && x > s.supplyLimit {
			volts -= 4 * (x - s.supplyLimit) / s.supplyLimit
			x = s.supplyLimit
		}
		cols[0], cols[1] = append(cols[0], at), append(cols[1], duty)
		cols[2] = append(cols[2], math.Round((x+0.004*r.NormFloat64())*1e4)/1e4)
		cols[3] = append(cols[3], math.Round((volts+0.003*r.NormFloat64())*1e3)/1e3)
	}
	tr := &trace.Trace{Source: fmt.Sprintf("unit-%d.csv", s.serial), Meta: []trace.Entry{
		{Key: trace.KeyTrace, Value: "1"}, {Key: trace.KeyUnit, Value: fmt.Sprintf("U-%d", s.serial)},
		{Key: trace.KeyKind, Value: "pump"}, {Key: trace.KeyNominal, Value: fmt.Sprint(nominal)}}}
	for i, name := range []string{trace.ColTime, trace.ColDuty, trace.ColCurrent, trace.ColSupply} {
		tr.Columns = append(tr.Columns, trace.Column{Name: name, Values: cols[i]})
	}
	var b bytes.Buffer
	require.NoError(t, trace.Write(&b, tr))
	back, err := trace.Read(bytes.NewReader(b.Bytes()), tr.Source)
	require.NoError(t, err)
	return back
}

func goodTraces(t testing.TB, n int) (out []*trace.Trace) {
	for i := range n {
		out = append(out, drawn(i+1).trace(t))
	}
	return out
}

func profileOf(t testing.TB, n int) *profiles.Profile {
	t.Helper()
	p, rep, err := learn.Learn(goodTraces(t, n), pump.Kind{}, learn.Options{Name: "specimen", On: "2026-01-01"})
	require.NoError(t, err)
	require.Empty(t, rep.LeftOut)
	return p
}

func judged(t testing.TB, tr *trace.Trace, p *profiles.Profile, o judge.Options) *result.Result {
	t.Helper()
	r, err := judge.Judge(tr, p, pump.Kind{}, o)
	require.NoError(t, err)
	var sum float64
	for _, c := range r.Causes {
		sum += c.Probability
	}
	require.InDelta(t, 1, sum, 1e-9, "causes sum to 1")
	if r.Verdict == result.Pass {
		require.Nil(t, r.Cause)
	}
	return r
}
