package rig

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ds18b20"
	"dutybench/bench/pwm"
	"dutybench/bench/sysfs"
)

// State is what a look came to.
type State string

// The states.
const (
	OK        State = "ok"
	Attention State = "attention" // it works, with something to know
	Missing   State = "missing"   // a test cannot be trusted, or not be made
)

// Look is one look at the bench.
type Look struct {
	What  string `json:"what"`
	State State  `json:"state"`
	Found string `json:"found"`
	Next  string `json:"next,omitempty"` // one step; empty when there is nothing to do
}

// LookAt makes a look of what was found, or of an error.
func LookAt(what, found string, err error) Look {
	if err == nil {
		return Look{what, OK, found, ""}
	}
	words := strings.Join(strings.Fields(err.Error()), " ")
	if i := strings.LastIndex(words, ": "); i > 0 && i+3 < len(words) {
		// Errors of this house end in the next step.
		return Look{what, Missing, words[:i], strings.ToUpper(words[i+2:i+3]) + words[i+3:] + "."}
	}
	return Look{what, Missing, words, "Put that right, then check again."}
}

// Looks are what can be said without opening anything: the description, and
// the kernel's files.
func (d *Description) Looks(tree sysfs.Tree) []Look {
	var list []Look
	if d.Heartbeat == nil { // else see LookRelay and Prove
		list = append(list, d.lookCutOff())
	}
	list = append(list, d.lookSafe()...)
	for _, c := range d.Switches {
		if c.ActiveLow {
			list = append(list, Look{"switch " + c.Pin, Attention, "it closes when its pin is low",
				"A kernel's line is low for a moment when it becomes an output: use a driver that closes when its pin is high."})
		}
	}
	if d.I2C != nil && !isSPI(d.Current.Chip) {
		list = append(list, d.lookBusSpeed(tree))
	}
	list = append(list, d.lookPWM(tree)...)
	list = append(list, d.lookLoad(tree)...)
	if t := d.Temperature; t != nil && t.Chip == "ds18b20" {
		found, err := ds18b20.Find(tree)
		if err == nil && len(found) == 0 {
			err = errors.New("the kernel has found no sensor")
		}
		list = append(list, LookAt("one-wire bus", strings.Join(found, ", "), err))
	}
	return list
}

// lookBusSpeed reads the speed that the bus was given at boot.
func (d *Description) lookBusSpeed(tree sysfs.Tree) Look {
	const what = "I2C bus speed"
	number := d.I2C.Bus[strings.LastIndexAny(d.I2C.Bus, "-C")+1:]
	b, err := tree.ReadFile("class/i2c-adapter/i2c-" + number + "/of_node/clock-frequency")
	if err != nil || len(b) != 4 {
		return Look{what, Attention, fmt.Sprintf("%g kHz stated; the kernel does not say", d.I2C.Speed_Hz/1e3), "Look at the measured rate below."}
	}
	hz := float64(binary.BigEndian.Uint32(b))
	if math.Abs(hz-d.I2C.Speed_Hz) < 0.02*hz {
		return Look{what, OK, fmt.Sprintf("%g kHz", hz/1e3), ""}
	}
	return Look{what, Missing, fmt.Sprintf("%g kHz, the rig file says %g kHz", hz/1e3, d.I2C.Speed_Hz/1e3),
		fmt.Sprintf("Set it in the boot configuration (on many boards dtparam=i2c_arm_baudrate=%.0f) and start the board anew, or correct the file.", d.I2C.Speed_Hz)}
}

// lookPWM lists the kernel's PWM.
func (d *Description) lookPWM(tree sysfs.Tree) []Look {
	chips := pwm.Survey(tree)
	if d.LinePin.PWMChip == "" {
		return []Look{{"kernel's PWM", OK, pwmWords(chips) + "; not used for the line", ""}}
	}
	return []Look{lookChannel("kernel's PWM", d.LinePin.PWMChip, d.LinePin.Channel, chips)}
}

// TryParts tries each part of a rig alone, so that everything that is missing is
// found at once: contacts open, line released, stop input, converters with
// their identities. It leaves nothing open but what it could not put so.
func TryParts(b Board, d *Description) []Look {
	var list []Look
	pins, err := Contacts(b, d)
	found := ""
	if err == nil {
		found = pins.String() + ", open"
	}
	list = append(list, LookAt("supply switch", found, err))
	line, err := openLine(b, d)
	if err == nil {
		found = "released"
		err = line.Release()
	}
	list = append(list, LookAt("line", found, err))
	if d.Stop != nil {
		_, err := OpenInput(b, d.Stop, 0)
		list = append(list, LookAt("stop input", d.Stop.Pin, err))
	}
	for _, x := range []struct {
		what string
		in   *Input
	}{{"return signal", d.Return}} {
		if x.in != nil {
			_, err := OpenInput(b, x.in, 0)
			list = append(list, LookAt(x.what, x.in.Pin, err))
		}
	}
	list = append(list, tryLoad(b, d)...)
	_, release, _, err := openSampler(b, d)
	if err == nil {
		err = release()
	}
	return append(list, LookAt("converters", d.converterWords(), err))
}

// converterWords are the chips that answered.
func (d *Description) converterWords() string {
	words := strings.ToUpper(d.Current.Chip)
	if !isSPI(d.Current.Chip) {
		words = d.chipName() + d.alsoVoltage()
	}
	if t := d.Temperature; t != nil && t.Chip == "ds18b20" {
		words += ", DS18B20"
	}
	return words + " answer as what they are"
}

// LookPeak holds the range of the current against a profile's peak.
func (d *Description) LookPeak(profile string, peak_A float64) Look {
	r := d.Range_A()
	if r >= peak_A {
		return Look{"range of the current", OK, fmt.Sprintf("%.4g A, the profile's peak is %g A", r, peak_A), ""}
	}
	return Look{"range of the current", Attention, fmt.Sprintf("readings end at %.4g A, below the peak of %g A that profile %s allows", r, peak_A, profile),
		fmt.Sprintf("Peaks above it are seen as \"at least\" only; take a shunt of at most %.3g mΩ where they matter.", 1e3*d.Current.Shunt_Ohm*r/peak_A)}
}

// Limit_Hz is the highest rate of samples that converter and bus allow: the
// typical conversion of the data sheet, or the bits that a sample takes on the
// bus at its speed. For the INA226 those are the ready flag and the shunt
// register, each with its pointer: 48 bits; for the INA219 the bus register
// with its flag, the shunt register, and the power register that clears the
// flag, 48 bits each; for an SPI converter 24.
func (d *Description) Limit_Hz() float64 {
	if isSPI(d.Current.Chip) {
		return min(float64(d.clockFor())/float64(physic.Hertz)/spiBits, d.Current.Rate_Hz)
	}
	bits := 2 * 48.0
	if d.Current.Chip == "ina219" {
		bits = 3 * 48
	}
	return min(1/d.Current.Conversion.Seconds(), d.I2C.Speed_Hz/bits)
}

// Floor is what the bench reads with the supply off.
type Floor struct {
	Rate_Hz            float64 // of samples that came
	Limit_Hz           float64 // that converter and bus allow
	Samples, Lost      int
	Jitter             time.Duration // standard deviation of the time between samples
	Longest            time.Duration // between two
	Zero_A, Noise_A    float64       // mean and standard deviation of the current
	Supply_V, Line_V   float64       // means; NaN: not sampled
	Temperature_C      float64
	ZeroMost_A         float64 // beyond which the zero is not what the data sheet promises
	Clipped            int
	supplies, lineLook int
	others             int // conversions that were not of the current
	told               told
}

// MeasureFloor samples for a while with the supply off.
func (r *Rig) MeasureFloor(d *Description, long time.Duration) (Floor, error) {
	f := Floor{Limit_Hz: d.Limit_Hz(), Temperature_C: math.NaN(), told: told{math.NaN(), math.NaN()}, ZeroMost_A: 3*r.Accuracy.CurrentOffset_A + 2*r.Accuracy.CurrentStep_A}
	if err := r.Sampler.Start(); err != nil {
		return f, err
	}
	var s Sample
	begun := r.Clock.Now()
	var last time.Duration
	var mean, square, steps, stepSquare float64
	for r.Clock.Now() < begun+long {
		if err := r.Sampler.Next(&s); err != nil {
			return f, errors.Join(err, r.Sampler.Stop())
		}
		if f.Samples > 0 {
			step := s.At - last
			f.Longest = max(f.Longest, step)
			each := step.Seconds() / float64(1+s.Lost+s.Other)
			steps += each
			stepSquare += each * each
		}
		last = s.At
		f.Samples++
		f.Lost += s.Lost
		f.others += s.Other
		if s.Clipped {
			f.Clipped++
		}
		f.told.add(&s)
		delta := s.Current_A - mean
		mean += delta / float64(f.Samples)
		square += delta * (s.Current_A - mean)
		if !math.IsNaN(s.Supply_V) {
			f.supplies++
			f.Supply_V += (s.Supply_V - f.Supply_V) / float64(f.supplies)
		}
		if !math.IsNaN(s.Line_V) {
			f.lineLook++
			f.Line_V += (s.Line_V - f.Line_V) / float64(f.lineLook)
		}
		if !math.IsNaN(s.Temperature_C) {
			f.Temperature_C = s.Temperature_C
		}
	}
	n := float64(f.Samples - 1)
	f.Rate_Hz = float64(f.Samples) / (r.Clock.Now() - begun).Seconds()
	f.Zero_A, f.Noise_A = mean, math.Sqrt(square/max(n, 1))
	f.Jitter = time.Duration(1e9 * math.Sqrt(max(stepSquare/n-steps/n*steps/n, 0)))
	if f.supplies == 0 {
		f.Supply_V = math.NaN()
	}
	if f.lineLook == 0 {
		f.Line_V = math.NaN()
	}
	return f, r.Sampler.Stop()
}

// Looks are what the floor says.
func (f *Floor) Looks(d *Description) []Look {
	rate := Look{"rate", OK, f.rateWords(), ""}
	if f.Rate_Hz < 0.9*f.Limit_Hz {
		rate.State, rate.Next = Attention, "The kernel's own time between transfers costs the rest: choose a longer conversion or a lower rate, and give the program priority."
	}
	share := float64(f.Lost) / float64(max(f.Samples+f.Lost, 1))
	lost := Look{"lost samples", OK, fmt.Sprintf("%d of %d", f.Lost, f.Samples+f.Lost), ""}
	if f.Lost > 0 {
		lost.Found += fmt.Sprintf(", %s %%", plain(100*share, 2))
	}
	if f.others > 0 {
		lost.Found += fmt.Sprintf("; %d more conversions were of the other channels", f.others)
	}
	if share > 0.01 {
		lost.State, lost.Next = Attention, "Choose a longer conversion time or a lower rate, end other programs, or give this one priority."
	}
	zero := Look{"zero", OK, fmt.Sprintf("%s; the data sheet allows %s", amps(f.Zero_A), amps(f.ZeroMost_A)), ""}
	if math.Abs(f.Zero_A) > f.ZeroMost_A {
		zero.State, zero.Next = Attention, "Look for current through the switch and for a ground that measures; then calibrate (rig calibrate)."
		if isSPI(d.Current.Chip) {
			zero.Next = "Set the amplifier's zero in the rig file to what it is, or calibrate (rig calibrate)."
		}
	}
	// Half the profile's smallest step cannot be known here: noise is told, and
	// only what drowns amperes is called out.
	noise := Look{"noise floor", OK, amps(f.Noise_A) + " (standard deviation of one sample)", ""}
	if f.Noise_A > 0.01*d.Bench.Current_A {
		noise.State, noise.Next = Attention, "Twist the shunt's sense wires, keep them from the motor's, and join the grounds at one point."
	}
	off := Look{"plug, switch open", OK, volts(f.Supply_V) + " V", ""}
	switch {
	case math.IsNaN(f.Supply_V):
		off.State, off.Found, off.Next = Missing, "the voltage at the plug is not sampled", "Check the sense wires and [supply] in the rig file."
	case f.Supply_V > dead_V:
		off.State, off.Next = Missing, "Switch the supply off by hand: a contact is welded or bridged, or something else feeds the plug."
	}
	list := append([]Look{rate, lost, zero, noise, off}, f.told.looks(d)...)
	if !math.IsNaN(f.Line_V) {
		list = append(list, Look{"line, released", OK, volts(f.Line_V) + " V with nothing in the socket", ""})
	}
	if d.Temperature != nil {
		t := Look{"temperature", OK, fmt.Sprintf("%.1f °C", f.Temperature_C), ""}
		if math.IsNaN(f.Temperature_C) {
			t = Look{"temperature", Missing, "no reading", "Check the sensor's wires and its table in the rig file."}
		} else if f.Temperature_C < -20 || f.Temperature_C > 120 {
			t.State, t.Next = Attention, "Check the sensor's wires: it reads what no water has."
		}
		list = append(list, t)
	}
	return list
}

// dead_V is the voltage at the plug below which there is no supply: chosen, far
// above what a divider's converter is off by, and far below any supply.
const dead_V = 0.5

func volts(x float64) string { return fmt.Sprintf("%.2f", x) }
