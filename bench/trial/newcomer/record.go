package newcomer

import (
	"math"
	"strconv"

	"dutybench/signal/trace"
)

// bench is what recorded a model: its supply, converters and plan.
type bench struct {
	volt, nominal float64 // open voltage
	ohm           float64 // source and leads
	limit, farad  float64 // of the source
	trip, tripS   float64

	hertz    int     // stated sampling rate
	step     float64 // of the integration, s
	substeps int     // steps a sample
	uneven   bool
	averages bool    // the converter gives means, else values at instants
	cutoff   float64 // filter ahead of the converter, Hz
	noiseA   float64
	noiseV   float64
	stepA    float64
	stepV    float64
	rangeA   float64
	everyV   int  // rows a sample of supply_V; 0 is no such column
	line     bool // with line_duty_pct

	celsius              float64 // of the loop
	kelvinPerW, windingJ float64
	waterJ               float64

	zeroS, quietS, stopS, afterS float64
	startDuty, startS            float64
	up                           []float64
	upS, fullS, downS            float64 // downS 0: no sweep down
}

// command is one line of a plan: a duty until a time.
type command struct{ duty, until float64 }

// plan is the commands of a test; the supply is on from on to off.
func (n *bench) plan() (plan []command, on, off float64) {
	t := n.zeroS
	add := func(duty, seconds float64) {
		t += seconds
		plan = append(plan, command{duty, t})
	}
	add(0, n.quietS)
	if n.startS > 0 {
		add(n.startDuty, n.startS)
	}
	for _, d := range n.up {
		add(d, n.upS)
	}
	add(100, n.fullS)
	if n.downS > 0 {
		for i := len(n.up) - 1; i >= 0; i-- {
			add(n.up[i], n.downS)
		}
	}
	add(0, n.stopS)
	off = t
	add(0, n.afterS)
	return plan, n.zeroS, off
}

// advance moves bench and unit by a step.
func (u *unit) advance(h, duty float64, on bool) {
	u.now += h
	u.node(h, on)
	u.decide(h, duty)
	u.drive(h)
	u.turn(h)
	u.loadA = 0
	if !u.away && u.short == 0 && u.volt > 0.5 {
		u.loadA = u.input()
	}
	u.warm(h)
}

// record runs the plan and writes down what the converters show.
func (u *unit) record() *trace.Trace {
	n := u.bench
	plan, on, off := n.plan()
	on += uniform(u.rng, 0, 1) * n.step
	end := plan[len(plan)-1].until
	room := int(end/(n.step*float64(n.substeps))) + 16
	column := func(name string, resolution float64) trace.Column {
		return trace.Column{Name: name, Values: make([]float64, 0, room), Resolution: resolution}
	}
	t, duty, amps := column(trace.ColTime, 0), column(trace.ColDuty, 0), column(trace.ColCurrent, n.stepA)
	fed, volt, line := column(trace.ColSupplyOn, 0), column(trace.ColSupply, n.stepV), column(trace.ColLineDuty, 0)
	for row := 0; u.now < end; row++ {
		asked := plan[0].duty
		if u.cut {
			asked = 0
			end = min(end, u.now+n.afterS)
		}
		at, sum := u.now, 0.0
		steps := u.interval()
		for range steps {
			u.advance(n.step, asked, u.now >= on && u.now < off)
			sum += u.source + u.chargeA
		}
		mean := sum / float64(steps)
		if !n.averages {
			mean = u.source + u.chargeA
		}
		t.Values = append(t.Values, math.Round(at*1e6)/1e6)
		duty.Values = append(duty.Values, asked)
		line.Values = append(line.Values, pick(u.board.inverted, 100-asked, asked))
		amps.Values = append(amps.Values, u.readA(mean))
		fed.Values = append(fed.Values, oneIf(u.fed))
		v := trace.NotSampled()
		if n.everyV > 0 && row%n.everyV == 0 {
			v = quantise(u.gainV*u.volt+n.noiseV*u.rng.NormFloat64(), n.stepV)
		} else {
			volt.Missing++
		}
		volt.Values = append(volt.Values, v)
		for len(plan) > 1 && u.now >= plan[0].until-1e-9 {
			plan = plan[1:]
		}
	}
	columns := []trace.Column{t, duty, amps, fed}
	if n.everyV > 0 {
		columns = append(columns, volt)
	}
	if n.line {
		columns = append(columns, line)
	}
	return &trace.Trace{Source: u.serial, Meta: u.meta(), Columns: columns}
}

// interval is how many steps the next sample takes.
func (u *unit) interval() int {
	n := u.bench
	if !n.uneven {
		return n.substeps
	}
	if u.rng.IntN(400) == 0 { // the recorder was busy
		return 4 * n.substeps
	}
	return n.substeps - 1 + u.rng.IntN(3)
}

// readA is the converter's reading of a current, A.
func (u *unit) readA(amps float64) float64 {
	n := u.bench
	noise := n.noiseA * u.rng.NormFloat64()
	if u.amps > 0 { // switching is heard
		noise *= 1.5
	}
	amps = u.gain*(amps+u.rippleA()) + u.offset + noise
	return quantise(min(amps, n.rangeA), n.stepA)
}

func (u *unit) meta() []trace.Entry {
	n := u.bench
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	meta := []trace.Entry{
		{Key: trace.KeyTrace, Value: trace.Format},
		{Key: trace.KeyUnit, Value: u.serial},
		{Key: trace.KeyKind, Value: "pump"},
		{Key: trace.KeyDuty, Value: trace.DutyCommand},
		{Key: trace.KeyNominal, Value: number(n.nominal)},
		{Key: trace.KeySampleRate, Value: strconv.Itoa(n.hertz)},
	}
	if u.ended != "" {
		meta = append(meta, trace.Entry{Key: trace.KeyEnded, Value: u.ended})
	}
	return meta
}

func oneIf(is bool) float64 {
	if is {
		return 1
	}
	return 0
}

// quantise rounds to a converter's step, spelled to the nanounit.
func quantise(x, step float64) float64 {
	return math.Round(math.Round(x/step)*step*1e9) / 1e9
}
