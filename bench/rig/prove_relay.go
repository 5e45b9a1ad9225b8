package rig

import (
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
)

// How the heartbeat's relay is proved. Chosen: within both the guard process's
// guard.LongestStill for the longest hold that a rig file may state.
const (
	relayLate  = 150 * time.Millisecond // past its stated time, and it does not open at all
	relayStill = 200 * time.Millisecond // past it the guard opens the contacts again
)

// relay closes the main contacts, stops the heartbeat and times how long the
// supply takes to go from the plug. It adds nothing where there is no relay, or
// nobody whose pulses could be stopped.
func (p *proof) relay(main guard.Path) error {
	s, ok := p.r.Switch.(guard.Stiller)
	if !ok || p.d.Heartbeat == nil {
		return nil
	}
	if ok, err := p.close(main); !ok {
		return err
	}
	if !(p.volt_V > dead_V) {
		return p.g.Open()
	}
	hold := p.d.Heartbeat.Hold
	begun := p.r.Clock.Now()
	if err := s.Still(hold + relayStill); err != nil {
		return errors.Join(err, p.g.Open())
	}
	fell, above := time.Duration(0), begun
	for fell == 0 && p.r.Clock.Now()-begun < hold+relayLate {
		if err := p.r.Sampler.Next(&p.sample); err != nil {
			return errors.Join(err, p.g.Open())
		}
		v := &p.sample
		if trip := p.g.Hold(guard.Sample{At: v.At, Current_A: v.Current_A - p.zero_A, Supply_V: v.Supply_V, Clipped: v.Clipped,
			Stop: p.r.Stop != nil && p.r.Stop.Read() == gpio.Low}); trip != nil {
			return nil
		}
		switch {
		case math.IsNaN(v.Supply_V) || v.At < begun:
		case v.Supply_V <= dead_V:
			fell = v.At
		default:
			above = v.At
		}
	}
	if err := p.g.Open(); err != nil {
		return err
	}
	p.list = append(p.list, p.d.timed(fell-begun, fell-above))
	return nil
}

// timed is what a fall that took so long says about the relay, seen to within
// so much; negative: none came. The last pulse may have been half a period
// before.
func (d *Description) timed(took, within time.Duration) Look {
	h := d.Heartbeat
	if took < 0 {
		return Look{cutOff, Missing, fmt.Sprintf("the heartbeat relay does not open: the plug has supply yet %s after the pulses stopped, %s is stated", milliseconds(h.Hold+relayLate), milliseconds(h.Hold)),
			"Replace the relay, or look for a bridge across it and for pulses that come from elsewhere; until then a hung computer leaves the supply on."}
	}
	within += time.Duration(float64(time.Second) / (2 * h.Frequency_Hz))
	l := Look{cutOff, OK, fmt.Sprintf("a heartbeat relay, open %s after the last pulse, measured to within %s; %s is stated",
		milliseconds(took.Round(time.Millisecond)), milliseconds(within.Round(time.Millisecond)), milliseconds(h.Hold)), ""}
	switch {
	case took > h.Hold+h.Hold/10+within: // a tenth, chosen: warm coils and capacitors differ by as much
		l.State, l.Next = Attention, "State the measured time as hold in the rig file's [heartbeat], or take a smaller capacitor."
	case took.Seconds()*h.Frequency_Hz < 2:
		l.State, l.Next = Attention, "It lets go in less than two periods, so that a late pulse ends a test under load: take a larger capacitor or a higher frequency."
	}
	return l
}
