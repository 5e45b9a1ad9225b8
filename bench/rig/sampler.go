package rig

import (
	"errors"
	"fmt"
	"math"
	"time"

	"dutybench/bench/chip/ads1115"
	"dutybench/bench/chip/ina226"
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
)

// temperatureEvery is the rig time between two readings of the thermistor:
// water takes seconds to warm by a degree.
const temperatureEvery = 250 * time.Millisecond

// sampler takes the shunt converter's continuous conversions as its time
// base, and reads the voltage converter in between: supply and line in turn,
// now and then the thermistor or its reference instead. It puts a transaction
// of the voltage converter into every second sample at most, so that the bus
// is never so late that a conversion of the current is lost.
type sampler struct {
	clk      clock.Clock
	ina      *ina226.Dev
	adc      *ads1115.Dev
	wiring   Wiring
	interval time.Duration

	running     bool
	resting     bool          // the last sample had a transaction of the voltage converter
	converting  channel       // the channel under way
	last        channel       // the last of supply and line
	warm        channel       // the last of thermistor and reference
	warmDue     time.Duration // when the next of these is
	reference_V float64       // NaN until read
	reading     ina226.Reading
	voltage     ads1115.Reading
}

// Interval is the nominal time between two samples.
func (s *sampler) Interval() time.Duration { return s.interval }

// Start begins to convert. The first sample begins after it.
func (s *sampler) Start() error {
	if s.running {
		return fmt.Errorf("rig: start sampling: %w: stop it first", ErrStarted)
	}
	// What an earlier start left behind runs out first.
	if err := s.adc.Off(); err != nil {
		return fmt.Errorf("rig: start sampling: %w", err)
	}
	s.clk.Sleep(s.adc.Busy() - s.clk.Now())
	s.last, s.warm = line, thermistor
	s.warmDue = s.clk.Now()
	s.reference_V, s.resting = math.NaN(), false
	if err := s.convert(); err != nil {
		return fmt.Errorf("rig: start sampling: %w", err)
	}
	c := s.ina.Config()
	c.Mode = ina226.ShuntContinuous
	if err := s.ina.Configure(c); err != nil {
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
	if err := errors.Join(s.ina.Off(), s.adc.Off()); err != nil {
		return fmt.Errorf("rig: stop sampling: %w", err)
	}
	return nil
}

// Next waits for the next conversion of the current.
func (s *sampler) Next(out *Sample) error {
	if !s.running {
		return fmt.Errorf("rig: sample: %w: call Start", ErrStopped)
	}
	if err := s.ina.Next(&s.reading); err != nil {
		return fmt.Errorf("rig: sample of the current: %w", err)
	}
	nan := math.NaN()
	*out = Sample{
		At:        s.reading.Middle,
		Current_A: s.ina.ShuntCurrent_A(s.reading.Shunt),
		Supply_V:  nan, Line_V: nan, Temperature_C: nan, Flow_l_per_min: nan,
		Clipped: s.reading.Saturated,
		Lost:    s.reading.Lost,
	}
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
		out.Supply_V = v * s.wiring.Divider.Ratio()
	case line:
		out.Line_V = v * s.wiring.Divider.Ratio()
	case thermistor:
		out.Temperature_C = s.wiring.Thermistor.Celsius(v, s.reference_V)
	case reference:
		s.reference_V = v
	}
	return nil
}

// convert starts the next channel's conversion.
func (s *sampler) convert() error {
	w := &s.wiring
	if now := s.clk.Now(); now >= s.warmDue {
		s.warmDue = now + temperatureEvery
		if s.warm == reference {
			s.warm = thermistor
		} else {
			s.warm = reference
			s.warmDue = now // the thermistor follows at once
		}
		s.converting = s.warm
	} else {
		s.last = supply + line - s.last
		s.converting = s.last
	}
	input := [...]ads1115.Mux{supply: w.SupplyInput, line: w.LineInput, thermistor: w.ThermistorInput, reference: w.ReferenceInput}[s.converting]
	return s.adc.Start(input, voltageRange, ads1115.Rate860)
}
