package sim

import (
	"math/rand/v2"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
)

// lineFaults are those of what drives the signal wire.
func lineFaults() []armable {
	return []armable{
		{BenchFault: BenchFault{Name: "pwm-stuck", Side: sideBench,
			Line: "the line's PWM keeps its old command, whatever it is told", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second),
			set:   func(b *Bench, _ float64, _ *rand.Rand) func() { return b.freezeLine(func() {}) }},
		{BenchFault: BenchFault{Name: "pwm-low", Side: sideBench,
			Line: "the line's driver is dead and holds it low", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second),
			set: func(b *Bench, _ float64, _ *rand.Rand) func() {
				s := &b.World.wire
				return b.freezeLine(func() { s.driven, s.pwm, s.level = true, false, b.World.Wire.Inverted })
			}},
		{BenchFault: BenchFault{Name: "pwm-high", Side: sideBench,
			Line: "the line's driver is dead and lets it go", Half: "for 2 s", Full: "for ever"},
			lasts: spell(2 * time.Second),
			set: func(b *Bench, _ float64, _ *rand.Rand) func() {
				s := &b.World.wire
				return b.freezeLine(func() { s.driven, s.pwm = false, false })
			}},
	}
}

// freezeLine brings the wire into a state and keeps it there; undo gives the
// line what it was last told.
func (b *Bench) freezeLine(state func()) (undo func()) {
	p, was, frozen := b.Line, b.Line.drive, true
	s := b.World.wire // as last told
	duty := gpio.Duty(s.high * float64(gpio.DutyMax))
	if !s.pwm {
		duty = 0
	}
	f := physic.Frequency(s.freq_Hz * float64(physic.Hertz))
	p.drive = func(p *Pin, d gpio.Duty, hz physic.Frequency) error {
		if frozen {
			duty, f = d, hz
			return nil
		}
		return was(p, d, hz)
	}
	state()
	return func() {
		frozen = false
		_ = was(p, duty, f) // the simulated line takes every command
	}
}

// powerFaults are those of the supply, its switch and the stop input.
func powerFaults() []armable {
	// supply changes the supply, and gives it back as it was.
	supply := func(change func(s *Supply, severity float64)) func(*Bench, float64, *rand.Rand) func() {
		return func(b *Bench, severity float64, _ *rand.Rand) func() {
			was := b.World.Supply
			change(&b.World.Supply, severity)
			return func() { b.World.Supply = was }
		}
	}
	contact := func(f SwitchFault) func(*Bench, float64, *rand.Rand) func() {
		return func(b *Bench, _ float64, _ *rand.Rand) func() {
			b.Switch.SetFault(f)
			return func() { b.Switch.SetFault(SwitchWhole) }
		}
	}
	return []armable{
		{BenchFault: BenchFault{Name: "switch-welded", Side: sideBench,
			Line: "the supply switch conducts, whatever it is told", Half: "for good", Full: "for good"}, set: contact(SwitchWelded)},
		{BenchFault: BenchFault{Name: "switch-dead", Side: sideBench,
			Line: "the supply switch does not close, or opens and stays open", Half: "for good", Full: "for good"}, set: contact(SwitchNotClosing)},
		{BenchFault: BenchFault{Name: "switch-drops", Side: sideBench,
			Line: "the supply switch opens by itself and closes again", Half: "after 5 ms", Full: "after 50 ms"},
			lasts: func(severity float64) time.Duration { return time.Duration(between(severity, 5e6, 50e6)) }, set: contact(SwitchNotClosing)},
		{BenchFault: BenchFault{Name: "supply-sags", Side: sideBench,
			Line: "the supply comes to a current limit that is too low", Half: "of 4 A", Full: "of 1 A"},
			set: supply(func(s *Supply, severity float64) { s.Limit_A = lower(s.Limit_A, between(severity, 4, 1)) })},
		{BenchFault: BenchFault{Name: "supply-folds", Side: sideBench,
			Line: "the supply folds back: the lower its voltage, the less current it gives", Half: "from 4 A", Full: "from 1 A"},
			set: supply(func(s *Supply, severity float64) {
				s.Limit_A, s.FoldBack = lower(s.Limit_A, between(severity, 4, 1)), 0.8
			})},
		{BenchFault: BenchFault{Name: "supply-off", Side: sideBench,
			Line: "the supply goes off", Half: "for 50 ms", Full: "for ever"},
			lasts: spell(50 * time.Millisecond), set: supply(func(s *Supply, _ float64) { s.Open_V = 0 })},
		{BenchFault: BenchFault{Name: "supply-dips", Side: sideBench,
			Line: "the supply dips and comes back", Half: "to 60 % for 10 ms", Full: "to 36 % for 100 ms"},
			lasts: func(severity float64) time.Duration { return time.Duration(between(severity, 10e6, 100e6)) },
			set:   supply(func(s *Supply, severity float64) { s.Open_V *= between(severity, 0.6, 0.36) })},
		{BenchFault: BenchFault{Name: "supply-low", Side: sideBench,
			Line: "the supply falls and stays there", Half: "by 10 %", Full: "by 50 %"},
			set: supply(func(s *Supply, severity float64) { s.Open_V *= 1 - between(severity, 0.1, 0.5) })},
		{BenchFault: BenchFault{Name: "supply-high", Side: sideBench,
			Line: "the supply rises and stays there", Half: "by 10 %", Full: "by 80 %"},
			set: supply(func(s *Supply, severity float64) { s.Open_V *= 1 + between(severity, 0.1, 0.8) })},
		{BenchFault: BenchFault{Name: "stop-pressed", Side: sideBench,
			Line: "somebody presses the stop input", Half: "for 0.2 s", Full: "for good"},
			lasts: spell(200 * time.Millisecond),
			set: func(b *Bench, _ float64, _ *rand.Rand) func() {
				b.Stop.Pressed = true
				return func() { b.Stop.Pressed = false }
			}},
	}
}

// lower is the lower of two limits, the first of which may be none.
func lower(was, limit float64) float64 {
	if was > 0 {
		return min(was, limit)
	}
	return limit
}

// clockFaults are those of the machine's clock. The bench's own time is
// monotonic and does not know of them.
func clockFaults() []armable {
	return []armable{
		{BenchFault: BenchFault{Name: "clock-jumps", Side: sideBench,
			Line: "the machine's clock is set during the test", Half: "by an hour", Full: "by ten years"},
			set: func(b *Bench, severity float64, rng *rand.Rand) func() {
				b.jump += time.Duration(between(severity, 3600e9, 10*365*24*3600e9))
				if rng.IntN(2) == 0 {
					b.jump = -b.jump
				}
				return nil
			}},
		{BenchFault: BenchFault{Name: "clock-unset", Side: sideBench,
			Line: "the machine has no clock of its own and stands at the beginning of its time", Half: "at 1970", Full: "at 1970"},
			always: true,
			set: func(b *Bench, _ float64, _ *rand.Rand) func() {
				b.unset = true
				return nil
			}},
	}
}

// Wall is what the machine's clock shows for a true date.
func (b *Bench) Wall(t time.Time) time.Time {
	if b.unset {
		return time.Unix(0, 0).In(t.Location()).Add(b.World.now)
	}
	return t.Add(b.jump)
}
