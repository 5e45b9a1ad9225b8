package rig

import (
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"dutybench/bench/chip/mcp320x"
	"dutybench/bench/chip/ntc"
	"dutybench/bench/clock"
)

// How an SPI converter is read. All of it is chosen.
const (
	// spiFrames conversions of the current go out in a message. More would
	// save kernel and driver some work, but a trip would be seen that much
	// later, and the longer step from message to message would stand out.
	spiFrames = 2
	// spiGap is what lies between two conversions of a message beside their
	// bits (see package mcp320x).
	spiGap = 10 * time.Microsecond
	// railed is how long the current's channel may read nought: an amplifier
	// that a reverse current drives to its rail comes back from it in
	// milliseconds, a converter that does not answer never does. Chosen: a
	// fifth of the lease.
	railed = 20 * time.Millisecond
	// spiShort is by how many codes the converter may end short of its range:
	// gain 5, offset 3 and nonlinearity 2 (see Accuracy). An amplifier at its rail
	// reads no higher then, so the range ends there.
	spiShort = 10
	// How often the other channels are read. Each takes the time of one conversion
	// of the current, 50 µs at 20 kHz.
	supplyEvery = 10 * time.Millisecond
	lineEvery   = 20 * time.Millisecond
	// A positioner crosses its travel in half a second and more, and a hundredth
	// of that is told apart; the level of a load switch is looked at as often.
	positionEvery = 5 * time.Millisecond
	nodeEvery     = 5 * time.Millisecond
)

// spiSampler reads an SPI converter as fast as it answers: two conversions of
// the current a message, and now and then one of another channel after them.
type spiSampler struct {
	clk      clock.Clock
	dev      *mcp320x.Dev
	d        *Description
	ntc      *ntc.Sensor // nil: there is none
	aux      auxiliary
	interval time.Duration
	scale    float64 // amperes a code
	zero     float64 // codes

	plain  *mcp320x.Batch
	with   [channelCount]*mcp320x.Batch // with another channel at the end; nil: there is none
	every  [channelCount]time.Duration
	due    [channelCount]time.Duration
	now    *mcp320x.Batch // what samples are given out from
	next   int            // the next of it
	last   time.Duration  // of the last sample
	bad    int            // frames since the last sample that were none
	other  int            // frames since the last sample that another channel had
	volt_V float64        // of the thermistor's reference

	pace pace // of the node, when asked for

	running, any bool
}

// clockFor is the clock at which the samples come at the rate asked for, or
// the port's where that is slower.
func (d *Description) clockFor() physic.Frequency {
	frame := 1/d.Current.Rate_Hz - spiGap.Seconds()*(spiFrames-1)/spiFrames
	hz := d.SPI.Speed_Hz
	if frame > 0 {
		hz = min(hz, spiBits/frame)
	}
	slowest := float64(mcp320x.SlowestClock()) / float64(physic.Hertz)
	return physic.Frequency(math.Round(max(hz, slowest*1.01)) * float64(physic.Hertz))
}

func newSPISampler(p spi.Port, clk clock.Clock, d *Description) (*spiSampler, error) {
	c := &d.Current
	chip := mcp320x.MCP3208
	if c.Chip == "mcp3204" {
		chip = mcp320x.MCP3204
	}
	o := mcp320x.Opts{Chip: chip, Reference_V: d.SPI.Reference_V, Speed: d.clockFor(), Grace: railed}
	current := mcp320x.Single(c.Channel)
	if c.Zero_V > 0.05*d.SPI.Reference_V {
		o.Live = append(o.Live, current)
	}
	t := d.Temperature
	if t != nil && t.Chip == "ntc" && t.Reference != OwnReference {
		o.Live = append(o.Live, mcp320x.Single(t.Reference))
	}
	dev, err := mcp320x.Connect(p, clk, o)
	if err != nil {
		return nil, fmt.Errorf("current converter: %w", err)
	}
	s := &spiSampler{clk: clk, dev: dev, d: d, volt_V: math.NaN(),
		scale: dev.Step_V() / (c.Gain * c.Shunt_Ohm), zero: c.Zero_V / dev.Step_V()}
	if c.Reversed {
		s.scale = -s.scale
	}
	row := make([]mcp320x.Input, spiFrames, spiFrames+1)
	for i := range row {
		row[i] = current
	}
	s.plain, err = dev.NewBatch(row...)
	for k, o := range d.spiOthers() {
		if s.every[k] = o.every; o.every > 0 && err == nil {
			s.with[k], err = dev.NewBatch(append(row, o.input)...)
		}
	}
	if t != nil && t.Chip == "ntc" && err == nil {
		s.ntc, err = t.NTC.sensor()
	}
	if err != nil {
		return nil, fmt.Errorf("current converter: %w", err)
	}
	return s, s.measure()
}

// measure learns how fast messages follow each other: the shortest of some, as
// delays only ever lengthen them.
func (s *spiSampler) measure() error {
	least := time.Duration(math.MaxInt64)
	for range 16 {
		begun := s.clk.Now()
		for range 4 {
			if err := s.dev.Read(s.plain); err != nil {
				return fmt.Errorf("current converter: %w", err)
			}
		}
		least = min(least, s.clk.Now()-begun)
	}
	s.interval = least / (4 * spiFrames)
	return nil
}

// Interval is the measured time between two samples, at its best.
func (s *spiSampler) Interval() time.Duration { return s.interval }

// Start begins to read. The first sample begins after it.
func (s *spiSampler) Start() error {
	if s.running {
		return fmt.Errorf("rig: start sampling: %w: stop it first", ErrStarted)
	}
	if err := s.aux.start(s.clk.Now()); err != nil {
		return fmt.Errorf("rig: start sampling: %w", err)
	}
	now := s.clk.Now()
	for k := range s.due {
		// Spread out, so that no two fall due together for long.
		s.due[k] = now + time.Duration(k)*supplyEvery/4
	}
	s.running, s.any, s.bad, s.other = true, false, 0, 0
	s.now, s.next = s.plain, spiFrames
	s.volt_V = math.NaN()
	return nil
}

// Stop ends it. The chip is idle between messages anyway; one more shows that
// it still answers.
func (s *spiSampler) Stop() error {
	if !s.running {
		return nil
	}
	s.running = false
	err := s.dev.Read(s.plain)
	if aerr := s.aux.stop(); err == nil {
		err = aerr
	}
	if err != nil {
		return fmt.Errorf("rig: stop sampling: %w", err)
	}
	return nil
}

// Next gives the next conversion of the current.
func (s *spiSampler) Next(out *Sample) error {
	if !s.running {
		return fmt.Errorf("rig: sample: %w: call Start", ErrStopped)
	}
	nan := math.NaN()
	*out = Sample{Supply_V: nan, Line_V: nan, Temperature_C: nan, Flow_l_per_min: nan, Position: nan, Node_V: nan}
	for {
		if s.next >= spiFrames {
			if err := s.read(out); err != nil {
				return fmt.Errorf("rig: sample of the current: %w", err)
			}
		}
		code, at := s.now.Codes[s.next], s.now.At(s.next)
		s.next++
		if code == mcp320x.Bad {
			s.bad++
			continue
		}
		if s.any && at <= s.last {
			at = s.last + 1 // estimates of two messages may cross by less than a step
		}
		out.At = at
		out.Current_A = (float64(code) - s.zero) * s.scale
		out.Clipped = float64(code) >= mcp320x.MaxCode-spiShort || code == 0 && s.zero > 0 || code <= spiShort && s.zero > 2*spiShort
		if s.any {
			out.Other = s.other
			out.Lost = max(s.bad, int(math.Round(float64(at-s.last)/float64(s.interval)))-1-s.other)
		}
		s.last, s.any, s.bad, s.other = at, true, 0, 0
		s.aux.fill(s.clk.Now(), out)
		return nil
	}
}

// PaceNode reads the wire to the load switch every so often, with every second
// message at most, as the others have their turn too; see NodePacer.
func (s *spiSampler) PaceNode(every time.Duration) bool {
	return s.pace.set(every, s.clk.Now(), s.d)
}

// read gets the next message, with another channel where one is due, whose
// value goes into the sample.
func (s *spiSampler) read(out *Sample) error {
	now := s.clk.Now()
	var b *mcp320x.Batch
	var k channel
	if s.now != s.with[node] && s.pace.due(now) {
		b, k = s.with[node], node
	} else {
		b, k = s.pick(now)
	}
	if err := s.dev.Read(b); err != nil {
		return err
	}
	if s.now != s.plain {
		s.other++ // the last frame of the message before
	}
	s.now, s.next = b, 0
	if k < 0 || b.Codes[spiFrames] == mcp320x.Bad {
		return nil
	}
	s.put(out, k, s.dev.Volt(b.Codes[spiFrames]))
	return nil
}

// pick is the message with the other channel that is due.
func (s *spiSampler) pick(now time.Duration) (*mcp320x.Batch, channel) {
	for i, due := range s.due {
		if s.with[i] != nil && now >= due && !(channel(i) == node && s.pace.every > 0) {
			s.due[i] = max(due+s.every[i], now)
			return s.with[i], channel(i)
		}
	}
	return s.plain, -1
}

// put takes the voltage of another channel into the sample.
func (s *spiSampler) put(out *Sample, k channel, v float64) {
	switch k {
	case supply:
		out.Supply_V = v * s.d.Supply.Divider.Ratio()
	case line:
		out.Line_V = v * s.d.LineLevel.Divider.Ratio()
	case position:
		out.Position = v * s.d.Position.Sense.Divider.Ratio()
	case node:
		out.Node_V = v * s.d.Load.Level.Divider.Ratio()
	case reference:
		s.volt_V = v
	case thermistor:
		if s.with[reference] == nil {
			s.volt_V = s.d.SPI.Reference_V
		}
		out.Temperature_C = s.ntc.Celsius(v, s.volt_V)
	}
}
