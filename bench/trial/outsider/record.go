package outsider

import (
	"math"
	"math/rand/v2"
	"strconv"

	"dutybench/signal/trace"
)

// command is one line of the plan: from a time on, this duty.
type command struct{ at, duty float64 }

// plan is the bench's sequence; end is the length of the trace in s.
func (u *state) plan(rng *rand.Rand) (commands []command, off, end float64) {
	n := &u.bench
	t := 0.0
	add := func(duty, seconds float64) {
		commands = append(commands, command{t, duty})
		t += seconds
	}
	add(n.stopDuty, u.onAt+n.restS+uniform(rng, 0, 0.05))
	add(n.startDuty, n.startS)
	for _, d := range n.up {
		add(d, n.upS)
	}
	add(100, n.fullS)
	for i := len(n.up) - 1; i >= 0; i-- {
		add(n.up[i], n.downS)
	}
	add(n.stopDuty, n.stopS)
	return commands, t, t + n.offS
}

// record runs the plan and writes down what the converters show.
func (u *state) record(rng *rand.Rand) *trace.Trace {
	o, n := &u.motor, &u.bench
	commands, off, end := u.plan(rng)
	u.pause, u.once, u.cap, u.density = u.board.rest, 1, 1, 1
	u.mechTau = o.inertia * o.ohm / (o.k * o.k)
	u.startAngle = uniform(rng, -1.2, 1.2)
	u.turn = uniform(rng, 0, 2*math.Pi)

	count := int(end * rate)
	column := func(name string, resolution float64) trace.Column {
		return trace.Column{Name: name, Values: make([]float64, count), Resolution: resolution}
	}
	t, duty := column(trace.ColTime, 1.0/rate), column(trace.ColDuty, 0)
	current, volt, on := column(trace.ColCurrent, n.stepA), column(trace.ColSupply, n.stepV), column(trace.ColSupplyOn, 0)
	for i := range count {
		now := float64(i) / rate
		for len(commands) > 1 && now >= commands[1].at {
			commands = commands[1:]
		}
		supply := now >= u.onAt && now < off
		u.weather(rng)
		amps := 0.0
		for range substeps {
			u.advance(step, commands[0].duty, supply)
			amps += u.source / substeps
		}
		t.Values[i], duty.Values[i] = now, commands[0].duty
		noise := n.noiseA * rng.NormFloat64()
		if u.mod > 0 || u.drive { // the bridge is heard
			noise *= 1.8
		}
		amps = min(u.gain*amps+u.offset+noise, n.rangeA)
		current.Values[i] = quantise(amps, n.stepA)
		volt.Values[i] = quantise(u.gainV*u.terminal+n.noiseV*rng.NormFloat64(), n.stepV)
		if i%n.everyV != 0 {
			volt.Values[i] = trace.NotSampled()
			volt.Missing++
		}
		if supply {
			on.Values[i] = 1
		}
	}
	columns := []trace.Column{t, duty, current, volt}
	if n.switchSeen {
		columns = append(columns, on)
	}
	return &trace.Trace{
		Source: u.serial,
		Meta: []trace.Entry{
			{Key: trace.KeyTrace, Value: trace.Format},
			{Key: "unit", Value: u.serial},
			{Key: "kind", Value: "pump"},
			{Key: trace.KeySampleRate, Value: strconv.Itoa(rate)},
			{Key: trace.KeyNominal, Value: strconv.FormatFloat(u.nominal, 'g', -1, 64)},
		},
		Columns: columns,
	}
}

// quantise rounds to a converter's step, spelled to the microunit.
func quantise(x, step float64) float64 {
	return math.Round(math.Round(x/step)*step*1e6) / 1e6
}
