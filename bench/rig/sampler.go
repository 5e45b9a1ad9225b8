package rig

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/chip/ntc"
	"dutybench/bench/clock"
)

var (
	// ErrStopped marks a sample asked of a sampler that was not started.
	ErrStopped = errors.New("the sampler is not started")
	// ErrStarted marks a second start.
	ErrStarted = errors.New("the sampler is started already")
)

// channel is what the voltage converter is busy with.
type channel int

const (
	supply channel = iota
	line
	thermistor
	reference
	position
	node
	channelCount = iota
)

// temperatureEvery is the rig time between two readings of the thermistor:
// water takes seconds to warm by a degree.
const temperatureEvery = 250 * time.Millisecond

// openSampler takes the buses and the chips on them; release gives them back,
// and rescued says how many transactions had to be repeated.
func openSampler(b Board, d *Description) (_ Sampler, release func() error, rescued func() int, err error) {
	aux, err := openAuxiliary(b, d)
	if err != nil {
		return nil, nil, nil, err
	}
	if isSPI(d.Current.Chip) {
		port, err := b.Port(d.SPI.Port)
		if err != nil {
			return nil, nil, nil, fmt.Errorf("port: %w", err)
		}
		s, err := newSPISampler(port, b.Clock(), d)
		if err != nil {
			return nil, nil, nil, errors.Join(err, port.Close())
		}
		s.aux = aux
		return s, port.Close, func() int { return 0 }, nil
	}
	bus, err := b.Bus(d.I2C.Bus)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("bus: %w", err)
	}
	steady := NewSteady(bus, b.Clock(), func() (i2c.BusCloser, error) { return b.Bus(d.I2C.Bus) })
	s, err := newSampler(steady, b.Clock(), d)
	if err != nil {
		return nil, nil, nil, errors.Join(err, steady.Close())
	}
	s.aux = aux
	return s, steady.Close, func() int { return steady.Rescued }, nil
}

// differs are the pairs of channels whose difference an ADS1115 can read
// (SBAS444E, table of the multiplexer).
var differs = map[[2]int]ads1115.Mux{{0, 1}: ads1115.Differ01, {0, 3}: ads1115.Differ03, {1, 3}: ads1115.Differ13, {2, 3}: ads1115.Differ23}

func newSampler(bus i2c.Bus, clk clock.Clock, d *Description) (*sampler, error) {
	s := &sampler{clk: clk, d: d}
	var err error
	if s.current, err = openConverter(bus, clk, d); err != nil {
		return nil, err
	}
	if s.adc, err = ads1115.New(bus, clk, d.Voltage.Address); err != nil {
		return nil, fmt.Errorf("voltage converter: %w", err)
	}
	single := [...]ads1115.Mux{ads1115.Single0, ads1115.Single1, ads1115.Single2, ads1115.Single3}
	s.inputs[supply] = single[d.Supply.Channel]
	if m := d.Supply.Minus; m != nil {
		s.inputs[supply] = differs[[2]int{d.Supply.Channel, *m}]
	}
	s.turns = append(s.turns, supply)
	turn := func(k channel, from *Sense) {
		if from != nil {
			s.inputs[k] = single[from.Channel]
			s.turns = append(s.turns, k)
		}
	}
	turn(line, d.LineLevel)
	if d.Position != nil {
		turn(position, d.Position.Sense)
	}
	if d.Load != nil {
		turn(node, d.Load.Level)
	}
	if t := d.Temperature; t != nil && t.Chip == "ntc" {
		if s.ntc, err = t.NTC.sensor(); err != nil {
			return nil, fmt.Errorf("temperature: %w", err)
		}
		s.warms = true
		s.inputs[thermistor], s.inputs[reference] = single[t.Channel], single[t.Reference]
	}
	return s, nil
}

// sampler takes the shunt converter's continuous conversions as its time
// base, and reads the voltage converter in between: supply, line, position and
// the wire to the load switch in turn, as far as the rig has them, now and then
// the thermistor or its reference instead. It puts a transaction
// of the voltage converter into every second sample at most, so that the bus
// is never so late that a conversion of the current is lost.
type sampler struct {
	clk     clock.Clock
	current converter
	adc     *ads1115.Dev
	ntc     *ntc.Sensor // nil: there is none
	d       *Description
	aux     auxiliary

	inputs [channelCount]ads1115.Mux
	turns  []channel // that are read in turn
	warms  bool      // there is a thermistor
	pace   pace      // of the node, when asked for

	running     bool
	resting     bool          // the last sample had a transaction of the voltage converter
	converting  channel       // the channel under way
	turn        int           // the last of turns
	warm        channel       // the last of thermistor and reference
	warmDue     time.Duration // when the next of these is
	reference_V float64       // NaN until read
	reading     reading
	voltage     ads1115.Reading
}

// Interval is the nominal time between two samples.
func (s *sampler) Interval() time.Duration { return s.current.Interval() }

// Start begins to convert. The first sample begins after it.
func (s *sampler) Start() error {
	if s.running {
		return fmt.Errorf("rig: start sampling: %w: stop it first", ErrStarted)
	}
	if err := s.aux.start(s.clk.Now()); err != nil {
		return fmt.Errorf("rig: start sampling: %w", err)
	}
	// What an earlier start left behind runs out first.
	if err := s.adc.Off(); err != nil {
		return fmt.Errorf("rig: start sampling: %w", err)
	}
	s.clk.Sleep(s.adc.Busy() - s.clk.Now())
	s.warm, s.turn = thermistor, -1 // the supply comes first
	s.warmDue = s.clk.Now()
	s.reference_V, s.resting = math.NaN(), false
	if err := s.convert(); err != nil {
		return fmt.Errorf("rig: start sampling: %w", err)
	}
	if err := s.current.Start(); err != nil {
		return fmt.Errorf("rig: start sampling: %w", err)
	}
	s.running = true
	return nil
}

// Stop puts the converters in power-down. A stopped sampler may be stopped
// again.
func (s *sampler) Stop() error {
	if !s.running {
		return nil
	}
	s.running = false
	if err := errors.Join(s.current.Off(), s.adc.Off(), s.aux.stop()); err != nil {
		return fmt.Errorf("rig: stop sampling: %w", err)
	}
	return nil
}

// Next waits for the next conversion of the current.
func (s *sampler) Next(out *Sample) error {
	if !s.running {
		return fmt.Errorf("rig: sample: %w: call Start", ErrStopped)
	}
	if err := s.current.Next(&s.reading); err != nil {
		return fmt.Errorf("rig: sample of the current: %w", err)
	}
	nan := math.NaN()
	*out = Sample{
		At:        s.reading.middle,
		Current_A: s.reading.current_A,
		Supply_V:  nan, Line_V: nan, Temperature_C: nan, Flow_l_per_min: nan, Position: nan, Node_V: nan,
		Clipped: s.reading.clipped,
		Lost:    s.reading.lost,
	}
	s.aux.fill(s.clk.Now(), out)
	if s.resting {
		s.resting = false
		return nil
	}
	due, running := s.adc.Due()
	if running && s.clk.Now() < due {
		return nil
	}
	s.resting = true
	var err error
	if running {
		err = s.fetch(out)
	} else {
		err = s.convert()
	}
	if err != nil {
		return fmt.Errorf("rig: sample of a voltage: %w", err)
	}
	return nil
}

// fetch reads the channel under way into the sample.
func (s *sampler) fetch(out *Sample) error {
	if err := s.adc.Fetch(&s.voltage); err != nil {
		return err
	}
	switch v := s.voltage.Volt; s.converting {
	case supply:
		out.Supply_V = v * s.d.Supply.Divider.Ratio()
	case line:
		out.Line_V = v * s.d.LineLevel.Divider.Ratio()
	case thermistor:
		out.Temperature_C = s.ntc.Celsius(v, s.reference_V)
	case position:
		out.Position = v * s.d.Position.Sense.Divider.Ratio()
	case node:
		out.Node_V = v * s.d.Load.Level.Divider.Ratio()
	case reference:
		s.reference_V = v
	}
	return nil
}

// PaceNode reads the wire to the load switch every so often, every second
// conversion of a voltage at most; see NodePacer.
func (s *sampler) PaceNode(every time.Duration) bool {
	return s.pace.set(every, s.clk.Now(), s.d)
}

// convert starts the next channel's conversion.
func (s *sampler) convert() error {
	if now := s.clk.Now(); s.converting != node && s.pace.due(now) {
		s.converting = node
	} else if s.warms && now >= s.warmDue {
		s.warmDue = now + temperatureEvery
		if s.warm == reference {
			s.warm = thermistor
		} else {
			s.warm = reference
			s.warmDue = now // the thermistor follows at once
		}
		s.converting = s.warm
	} else {
		if s.turn++; s.turn == len(s.turns) {
			s.turn = 0
		}
		if s.turns[s.turn] == node && s.pace.every > 0 { // it has its own time; the supply is next
			s.turn = 0
		}
		s.converting = s.turns[s.turn]
	}
	return s.adc.Start(s.inputs[s.converting], voltageRange, ads1115.Rate860)
}
