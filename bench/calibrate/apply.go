package calibrate

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"strings"
	"time"

	"dutybench/bench/rig"
	"dutybench/signal/stat"
)

// Identity is what a calibration of a quantity holds for: chip, address or
// channel, shunt, gain, dividers; in words and as a hash of them. A rig file
// that states another wiring needs another calibration. Changes that do not
// move a reading, such as the bus speed, leave it.
func Identity(d *rig.Description, quantity string) (words, hash string) {
	c := &d.Current
	switch quantity {
	case Current:
		words = fmt.Sprintf("%s, address %#x, channel %d, shunt %g ohm, gain %g, zero %g V, low side %t, reversed %t", c.Chip, c.Address, c.Channel, c.Shunt_Ohm, c.Gain, c.Zero_V, c.LowSide, c.Reversed)
	default:
		chip := c.Chip
		if d.Voltage != nil {
			chip = fmt.Sprintf("%s, address %#x", d.Voltage.Chip, d.Voltage.Address)
		}
		words = chip
		if s := d.Supply; s != nil {
			words = fmt.Sprintf("%s, channel %d, divider %v over %v", chip, s.Channel, s.Divider.Top, s.Divider.Bottom)
		}
	}
	if strings.HasPrefix(c.Chip, "mcp") && d.SPI != nil {
		words += fmt.Sprintf(", converter reference %g V", d.SPI.Reference_V)
	}
	sum := sha256.Sum256([]byte(d.Name + "\n" + quantity + "\n" + words))
	return words, hex.EncodeToString(sum[:8])
}

// Latest is the last calibration of a quantity for this wiring; nil when there
// is none. stale says that there is one, but of another wiring.
func (f *File) Latest(d *rig.Description, quantity string) (c *Calibration, stale bool) {
	_, id := Identity(d, quantity)
	for i := len(f.List) - 1; i >= 0; i-- {
		switch c := &f.List[i]; {
		case c.Quantity != quantity:
		case c.Identity == id:
			return c, stale
		default:
			stale = true
		}
	}
	return nil, stale
}

// Applied are the calibrations that correct a rig's readings.
type Applied struct {
	Current, Voltage *Calibration // nil: not calibrated
	stale            []string
	drift_A          float64 // standard uncertainty of what the zero may move
}

// Apply makes the rig's sampler correct its readings by the latest
// calibrations of its wiring, and states their uncertainties in its accuracy.
func Apply(r *rig.Rig, d *rig.Description, f *File) *Applied {
	a := &Applied{drift_A: r.Accuracy.CurrentOffset_A * driftShare}
	s := &sampler{Sampler: r.Sampler, currentGain: 1, voltageGain: 1}
	take := func(quantity string) *Calibration {
		c, stale := f.Latest(d, quantity)
		if c == nil && stale {
			a.stale = append(a.stale, fmt.Sprintf("The %s is not calibrated: the last calibration is of another wiring than the rig file states. Calibrate again with dutybench rig calibrate.", quantity))
		}
		return c
	}
	var documents []string
	document := func(c *Calibration) {
		documents = append(documents, fmt.Sprintf("%s calibrated on %s at %g °C against %s, certificate %s", c.Quantity, c.Date, float64(c.Temperature), c.Reference.Name, c.Reference.Certificate))
	}
	if c := take(Current); c != nil {
		l := c.line
		s.currentGain, s.currentOffset_A = l.Gain.Value, l.Offset.Value
		r.Accuracy.CurrentGain = l.Gain.standard() / math.Abs(l.Gain.Value)
		r.Accuracy.CurrentOffset_A = l.Offset.standard() / math.Abs(l.Gain.Value)
		a.Current = c
		document(c)
	}
	if c := take(Voltage); c != nil {
		l := c.line
		s.voltageGain, s.voltageOffset_V = l.Gain.Value, l.Offset.Value
		r.Accuracy.VoltageGain = l.Gain.standard() / math.Abs(l.Gain.Value)
		r.Accuracy.VoltageOffset_V = l.Offset.standard() / math.Abs(l.Gain.Value)
		a.Voltage = c
		document(c)
	}
	if len(documents) == 0 {
		return a
	}
	if a.Current == nil || a.Voltage == nil {
		documents = append(documents, "else "+r.Accuracy.ReferenceDocument)
	}
	r.Accuracy.ReferenceDocument = strings.Join(documents, "; ")
	for i := range r.Facts {
		if r.Facts[i].Key == "accuracy" {
			r.Facts[i].Value = r.Accuracy.ReferenceDocument
		}
	}
	r.Sampler = s
	return a
}

// standard is the standard uncertainty that gives the same 95 % interval when
// it is taken as known without limit: few points make it wider than u.
func (e Estimate) standard() float64 { return e.Half / stat.Normal((1+Level)/2) }

// Raw is the sampler below a correction.
func Raw(s rig.Sampler) rig.Sampler {
	if c, ok := s.(*sampler); ok {
		return c.Sampler
	}
	return s
}

// sampler corrects readings.
type sampler struct {
	rig.Sampler
	currentGain, currentOffset_A float64
	voltageGain, voltageOffset_V float64
}

// Next corrects the next sample.
func (s *sampler) Next(out *rig.Sample) error {
	if err := s.Sampler.Next(out); err != nil {
		return err
	}
	out.Current_A = (out.Current_A - s.currentOffset_A) / s.currentGain
	out.Supply_V = (out.Supply_V - s.voltageOffset_V) / s.voltageGain
	return nil
}

// zeroFactor is how many standard uncertainties a zero may lie off before it
// counts as drifted: a good one does so in 1 of 370 tests. Chosen.
const zeroFactor = 3

// driftShare of the offset that the data sheet allows is what a zero may move
// with temperature since the calibration. The INA226's moves by 0.1 µV/°C at
// most, 1 µV in 10 °C, and may be 10 µV off (SBOS547B); the same share is taken
// for other chips (chosen).
const driftShare = 0.1

// Check says what speaks against the calibrations at a time, for the record:
// due dates, a certificate that had run out, a zero that moved. zero is the
// current that the corrected bench reads with the supply off, step its step.
func (a *Applied) Check(now time.Time, zero stat.Quantity, step_A float64) []string {
	out := append([]string(nil), a.stale...)
	if now.Year() < 2025 {
		out = append(out, "The computer's clock is not set, so whether the calibration is due cannot be told. Set the clock.")
	}
	for _, c := range []*Calibration{a.Current, a.Voltage} {
		if c == nil {
			continue
		}
		if c.Due.over(now) {
			out = append(out, fmt.Sprintf("The calibration of the %s was due on %s. Calibrate again with dutybench rig calibrate.", c.Quantity, c.Due))
		}
		if c.Reference.Due.over(c.Date.Time) {
			out = append(out, fmt.Sprintf("The %s was calibrated on %s against %s, whose certificate %s had run out on %s. Calibrate against one whose certificate holds.", c.Quantity, c.Date, c.Reference.Name, c.Reference.Certificate, c.Reference.Due))
		}
		if c.Date.After(now) && now.Year() >= 2025 {
			out = append(out, fmt.Sprintf("The calibration of the %s is of %s, which lies ahead. Set the clock, or calibrate again.", c.Quantity, c.Date))
		}
	}
	if c := a.Current; c != nil && finite(zero.Value) {
		l := c.line
		u := math.Hypot(math.Hypot(l.Offset.standard()/math.Abs(l.Gain.Value), zero.U()), math.Hypot(step_A/math.Sqrt(12), a.drift_A))
		if math.Abs(zero.Value) > zeroFactor*u {
			out = append(out, fmt.Sprintf("With the supply off the calibrated current reads %+.2g A, more than %d times the %.2g A to which its zero is known: it has drifted since %s. Look for warm or loose shunt wires, or calibrate again.", zero.Value, zeroFactor, u, c.Date))
		}
	}
	return out
}
