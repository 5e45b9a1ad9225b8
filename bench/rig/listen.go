package rig

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/chip/mcp320x"
	"dutybench/bench/clock"
)

// ErrDeaf marks a rig that has nothing to listen with.
var ErrDeaf = errors.New("the rig has no input to listen with")

// Ear listens on a signal wire. It drives nothing: the pin is an input, and
// the bench's own supply is off and its line released since it was opened.
// One goroutine owns it.
type Ear struct {
	clk   clock.Clock
	pin   gpio.PinIO // nil: no edges
	level func() (at time.Duration, volt float64, err error)
	kind  LevelRecord
	every time.Duration // a sample takes
	rand  *rand.Rand
	close func() error
}

// EdgeRecord is what the edge input heard. Times are the rig's.
type EdgeRecord struct {
	Start, End time.Duration
	StartHigh  bool
	At         []time.Duration
	High       []bool // after each edge; the same twice where an edge was lost
	Resolution time.Duration
}

// LevelRecord is samples of the voltage, spaced unevenly on purpose: with even
// ones, a PWM near a multiple of their rate looks slow.
type LevelRecord struct {
	At []time.Duration
	V  []float64
	// Filter is the time constant of the low-pass before the converter, and
	// Aperture the time over which one sample is the mean.
	Filter, Aperture time.Duration
	Step_V           float64
	Gain             float64 // relative standard uncertainty
	Offset_V         float64 // standard uncertainty
}

const (
	// MeanFilter is the low-pass before the converter where the rig reads the
	// line's mean level: 20 ms, as the rig's drawing has it (chosen).
	MeanFilter = 20 * time.Millisecond
	// edgeResolution is the step of an edge's time. How late this program
	// wakes up scatters by more, and shows as jitter. Chosen.
	edgeResolution = 10 * time.Microsecond
	// A wait of at least this long means that no edge was waiting. Chosen: well
	// above what it takes to fetch one that waits.
	blocked   = 100 * time.Microsecond
	slice     = 5 * time.Millisecond // between two looks at the context
	mostHeard = 1 << 20              // edges or samples; more would fill a small board's memory
)

// OpenEar opens the rig's input for listening. A rig without one of its own
// listens to the mean level of its line at the plug. OpenEar opens the contacts
// of the supply and releases the line first, and touches nothing else.
func OpenEar(b Board, d *Description) (_ *Ear, err error) {
	if len(d.Switches) > 0 {
		if _, err := Contacts(b, d); err != nil {
			return nil, err
		}
	}
	if d.LinePin.Pin != "" || d.LinePin.PWMChip != "" {
		if _, err := openLine(b, d); err != nil {
			return nil, err
		}
	}
	e := &Ear{clk: b.Clock(), rand: rand.New(rand.NewPCG(1, 0x756e6576656e)), close: func() error { return nil }}
	sense, filter := d.LineLevel, MeanFilter
	if l := d.Listen; l != nil {
		sense, filter = l.Sense, 0 // the line's level is that of another wire
		if l.Pin != "" {
			if e.pin, err = OpenInput(b, &Input{Pin: l.Pin, Pull: "none"}, gpio.BothEdges); err != nil {
				return nil, fmt.Errorf("rig %s: listening input: %w", d.Name, err)
			}
			if l.ActiveLow {
				e.pin = inverted{e.pin}
			}
		}
	}
	if sense != nil {
		if err := e.openLevels(b, d, sense); err != nil {
			return nil, fmt.Errorf("rig %s: listening input: %w", d.Name, err)
		}
		e.kind.Filter = filter
	}
	if e.pin == nil && e.level == nil {
		return nil, fmt.Errorf("rig %s: %w: describe it in the rig file's [listen], with a pin for edges, a level, or both", d.Name, ErrDeaf)
	}
	return e, nil
}

// openLevels takes the channel that reads the voltage.
func (e *Ear) openLevels(b Board, d *Description, s *Sense) error {
	ratio := s.Divider.Ratio()
	resistor := s.Divider.Tolerance * float64(s.Divider.Top) / float64(s.Divider.Top+s.Divider.Bottom)
	if d.Voltage == nil || isSPI(d.Voltage.Chip) {
		if d.SPI == nil {
			return errors.New("no converter reads its level: name one in the rig file")
		}
		return e.openSPILevels(b, d, s.Channel, ratio, resistor)
	}
	bus, err := b.Bus(d.I2C.Bus)
	if err != nil {
		return err
	}
	adc, err := ads1115.New(bus, e.clk, d.Voltage.Address)
	if err != nil {
		return errors.Join(err, bus.Close())
	}
	input := [...]ads1115.Mux{ads1115.Single0, ads1115.Single1, ads1115.Single2, ads1115.Single3}[s.Channel&3]
	var r ads1115.Reading
	e.level = func() (time.Duration, float64, error) {
		err := adc.Measure(input, voltageRange, ads1115.Rate860, &r)
		return r.Middle, r.Volt * ratio, err
	}
	e.every = ads1115.Rate860.Typical()
	step := voltageRange.Step_V() * ratio
	// SBAS444: gain 0.15 %, offset 3 steps at most, as in Accuracy.
	e.kind = LevelRecord{Aperture: e.every, Step_V: step, Gain: uniform(0.0015, resistor, resistor), Offset_V: uniform(3 * step)}
	e.close = func() error { return errors.Join(adc.Off(), bus.Close()) }
	return nil
}

func (e *Ear) openSPILevels(b Board, d *Description, channel int, ratio, resistor float64) error {
	port, err := b.Port(d.SPI.Port)
	if err != nil {
		return err
	}
	chip := mcp320x.MCP3204
	if name := d.Current.Chip; name == "mcp3208" || d.Voltage != nil && d.Voltage.Chip == "mcp3208" {
		chip = mcp320x.MCP3208
	}
	adc, err := mcp320x.Connect(port, e.clk, mcp320x.Opts{Chip: chip, Reference_V: d.SPI.Reference_V, Speed: physic.Frequency(d.SPI.Speed_Hz * float64(physic.Hertz))})
	if err != nil {
		return errors.Join(err, port.Close())
	}
	batch, err := adc.NewBatch(mcp320x.Single(channel))
	if err != nil {
		return errors.Join(err, port.Close())
	}
	e.level = func() (time.Duration, float64, error) {
		err := adc.Read(batch)
		v := math.NaN()
		if err == nil && batch.Codes[0] != mcp320x.Bad {
			v = adc.Volt(batch.Codes[0]) * ratio
		}
		return batch.At(0), v, err
	}
	e.every = adc.Spacing()
	step := adc.Step_V() * ratio
	// DS21298E: 5 codes of gain, 3 of offset and 2 of nonlinearity, as in
	// Accuracy.
	e.kind = LevelRecord{Step_V: step, Gain: uniform(5.0/spiSteps, d.SPI.ReferenceTolerance, resistor, resistor), Offset_V: uniform(3*step, 2*step)}
	e.close = port.Close
	return nil
}

// Hears says which of the two this ear has.
func (e *Ear) Hears() (edges, levels bool) { return e.pin != nil, e.level != nil }

// Edges listens for so long, or until ctx ends.
func (e *Ear) Edges(ctx context.Context, d time.Duration) (EdgeRecord, error) {
	if e.pin == nil {
		return EdgeRecord{}, fmt.Errorf("rig: edges: %w for edges", ErrDeaf)
	}
	if err := e.pin.In(gpio.Float, gpio.BothEdges); err != nil {
		return EdgeRecord{}, fmt.Errorf("rig: edges: %w: check that no other program holds the pin", err)
	}
	for range 64 { // what waited from before
		if !e.pin.WaitForEdge(time.Microsecond) {
			break
		}
	}
	r := EdgeRecord{Start: e.clk.Now(), StartHigh: bool(e.pin.Read()), Resolution: edgeResolution}
	seen := r.StartHigh
	end := r.Start + d
	now := r.Start
	for now < end && ctx.Err() == nil && len(r.At) < mostHeard {
		before := now
		heard := e.pin.WaitForEdge(min(end-now, slice))
		now = e.clk.Now()
		// Edges come one by one, so the level changes with each. But where the
		// queue ran over, some are gone. Nothing waited, so the level seen after
		// the last edge was its own.
		if n := len(r.High); n > 0 && now-before >= blocked {
			r.High[n-1] = seen
		}
		if !heard {
			if now == before {
				e.clk.Sleep(time.Millisecond) // a pin that does not wait
				now = e.clk.Now()
			}
			continue
		}
		if now > end {
			break
		}
		last := r.StartHigh
		if n := len(r.High); n > 0 {
			last = r.High[n-1]
		}
		r.At, r.High = append(r.At, now), append(r.High, !last)
		seen = bool(e.pin.Read())
	}
	r.End = min(max(now, r.Start), end)
	if n := len(r.At); n > 0 {
		r.End = max(r.End, r.At[n-1])
	}
	return r, nil
}

// Levels samples for so long, or until ctx ends.
func (e *Ear) Levels(ctx context.Context, d time.Duration) (LevelRecord, error) {
	r := e.kind
	if e.level == nil {
		return r, fmt.Errorf("rig: levels: %w for levels", ErrDeaf)
	}
	for end := e.clk.Now() + d; e.clk.Now() < end && ctx.Err() == nil && len(r.V) < mostHeard; {
		at, v, err := e.level()
		if err != nil {
			return r, fmt.Errorf("rig: levels: %w", err)
		}
		if !math.IsNaN(v) {
			r.At, r.V = append(r.At, at), append(r.V, v)
		}
		e.clk.Sleep(time.Duration(e.rand.Float64() * float64(e.every)))
	}
	return r, nil
}

// Close lets the converter go.
func (e *Ear) Close() error { return e.close() }
