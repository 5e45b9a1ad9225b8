package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"strings"
	"time"
)

// Signal is what is on a wire that the bench listens to: invented, for trying
// out. Its voltage is made as far as somebody looks.
type Signal struct {
	more func(*Signal) // puts at least one more stretch on
	rand *rand.Rand

	// Stretches: from ends[i-1] to ends[i], in seconds, the voltage is volts[i];
	// area is its integral up to ends[i].
	ends, volts, area []float64
	sine              *sine
}

// sine is hum on an open wire: its voltage has no stretches.
type sine struct{ bias_V, amplitude_V, frequency_Hz, drift float64 }

func (h sine) at(t float64) float64 {
	return h.bias_V + h.drift*t + h.amplitude_V*math.Sin(2*math.Pi*h.frequency_Hz*t)
}

func (h sine) area(t float64) float64 {
	w := 2 * math.Pi * h.frequency_Hz
	return h.bias_V*t + h.drift*t*t/2 + h.amplitude_V*(1-math.Cos(w*t))/w
}

// signals are the invented ones, with what each is.
var signals = []struct{ name, words string }{
	{"pwm", "PWM of 400 Hz, high for 30 %, with some jitter"},
	{"bad-contact", "the same with drop-outs and glitches"},
	{"fast-pwm", "PWM of 25 kHz, too fast for the input"},
	{"pull-up", "a pull-up alone, at 12.4 V"},
	{"stuck-low", "a wire at ground"},
	{"floating", "an open wire with hum of 50 Hz"},
	{"analogue", "a steady 3.3 V"},
	{"lin", "frames of 2.4 kbit/s on one wire, as LIN (ISO 17987) has them"},
	{"can", "one wire of a differential bus of 125 kbit/s, as CAN (ISO 11898) has it"},
	{"return", "a return signal of 75 Hz: runs, is blocked, stands by"},
}

// Signals are the names of the invented signals, with what each is.
func Signals() (names, words []string) {
	for _, s := range signals {
		names, words = append(names, s.name), append(words, s.words)
	}
	return names, words
}

// NewSignal makes an invented signal by its name.
func NewSignal(name string, seed uint64) (*Signal, error) {
	s := &Signal{rand: rand.New(rand.NewPCG(seed, 0x7369676e616c))}
	const high = 12.4
	switch name {
	case "pwm":
		s.more = pulses(400, 0.30, high, 0, 0)
	case "bad-contact":
		s.more = pulses(400, 0.30, high, 0.04, 0.04)
	case "fast-pwm":
		s.more = pulses(25e3, 0.30, high, 0, 0)
	case "pull-up":
		s.more = func(s *Signal) { s.add(high, 1) }
	case "stuck-low":
		s.more = func(s *Signal) { s.add(0.03, 1) }
	case "analogue":
		s.more = func(s *Signal) { s.add(3.3, 1) }
	case "floating":
		s.sine = &sine{bias_V: 2.1, amplitude_V: 1.4, frequency_Hz: 49.98, drift: 0.1}
	case "lin":
		s.more = func(s *Signal) { s.frame(1/2400., 0.9, high) }
	case "can":
		s.more = func(s *Signal) { s.stuffed(1/125e3, 2.5, 3.5) }
	case "return":
		s.more = returned(high)
	default:
		names, _ := Signals()
		return nil, fmt.Errorf("sim: there is no signal %q; there are %s", name, strings.Join(names, ", "))
	}
	return s, nil
}

// add puts a stretch on.
func (s *Signal) add(volt, length float64) {
	end, area := length, volt*length
	if n := len(s.ends); n > 0 {
		end, area = end+s.ends[n-1], area+s.area[n-1]
	}
	s.ends, s.volts, s.area = append(s.ends, end), append(s.volts, volt), append(s.area, area)
}

// stretch is the one that holds a time.
func (s *Signal) stretch(t float64) int {
	for len(s.ends) == 0 || s.ends[len(s.ends)-1] <= t {
		s.more(s)
	}
	return sort.Search(len(s.ends), func(i int) bool { return s.ends[i] > t })
}

// at is the voltage at a time.
func (s *Signal) at(t time.Duration) float64 {
	if s.sine != nil {
		return s.sine.at(t.Seconds())
	}
	return s.volts[s.stretch(t.Seconds())]
}

// integral is the voltage over time up to a time, in volt seconds.
func (s *Signal) integral(t time.Duration) float64 {
	if s.sine != nil {
		return s.sine.area(t.Seconds())
	}
	i := s.stretch(t.Seconds())
	return s.area[i] - s.volts[i]*(s.ends[i]-t.Seconds())
}

// edge is the first crossing of the comparator's threshold after a time, up to
// another.
func (s *Signal) edge(after, until time.Duration) (time.Duration, bool) {
	if s.sine != nil {
		const look = 50 * time.Microsecond // far below a period of hum
		was := s.at(after) > threshold_V
		for t := after + look; t <= until; t += look {
			if s.at(t) > threshold_V != was {
				return t, true
			}
		}
		return 0, false
	}
	for i := s.stretch(after.Seconds()); s.ends[i] <= until.Seconds(); i++ {
		s.stretch(s.ends[i]) // makes the one that follows
		if s.volts[i] > threshold_V != (s.volts[i+1] > threshold_V) {
			if at := time.Duration(math.Ceil(s.ends[i] * 1e9)); at > after {
				return at, at <= until
			}
		}
	}
	return 0, false
}

// pulses is PWM with a jitter of 0.2 % of a period, and chances of a period
// left out and of a spike in the low time.
func pulses(f_Hz, share, high float64, dropOut, glitch float64) func(*Signal) {
	const low = 0.2
	return func(s *Signal) {
		T := 1 / f_Hz
		up := T * share * (1 + 0.002*s.rand.NormFloat64())
		down := T*(1+0.002*s.rand.NormFloat64()) - up
		switch {
		case s.rand.Float64() < dropOut:
			s.add(low, up+down)
		case s.rand.Float64() < glitch:
			s.add(high, up)
			s.add(low, down/2)
			s.add(high, T/25)
			s.add(low, down/2-T/25)
		default:
			s.add(high, up)
			s.add(low, down)
		}
	}
}

// frame is a break, 0x55, random bytes and a pause, each byte with a start and
// a stop bit (ISO 17987-3, from memory).
func (s *Signal) frame(bit, low, high float64) {
	s.add(low, 13*bit)
	s.add(high, bit)
	n := 2 + s.rand.IntN(8)
	for k := range n + 1 {
		b := s.rand.Uint32()
		if k == 0 {
			b = 0x55
		}
		s.add(low, bit)
		for i := range 8 {
			v := low
			if b>>i&1 == 1 {
				v = high
			}
			s.add(v, bit)
		}
		s.add(high, 2*bit)
	}
	s.add(high, bit*float64(5+s.rand.IntN(50)))
}

// stuffed is random bits with one of the other level after five equal ones
// (ISO 11898-1, from memory), and a pause.
func (s *Signal) stuffed(bit, recessive, dominant float64) {
	s.add(dominant, bit)
	last, run := 1, 1
	for range 34 + 8*s.rand.IntN(9) {
		b := s.rand.IntN(2)
		if run == 5 {
			b = 1 - last
		}
		if b == last {
			run++
		} else {
			last, run = b, 1
		}
		v := recessive
		if b == 1 {
			v = dominant
		}
		s.add(v, bit)
	}
	s.add(recessive, bit*float64(11+s.rand.IntN(200)))
}

// returned is PWM of 75 Hz whose duty tells what the unit does: 42 % for a
// second, 90 % for half, 95 % from then on.
func returned(high float64) func(*Signal) {
	return func(s *Signal) {
		duty := 0.42
		if n := len(s.ends); n > 0 {
			switch t := s.ends[n-1]; {
			case t > 1.5:
				duty = 0.95
			case t > 1:
				duty = 0.90
			}
		}
		s.add(high, duty/75)
		s.add(0.2, (1-duty)/75)
	}
}
