package rig

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
)

// How the contacts are proved, with nothing in the socket. All of it is
// chosen: what the plug's dividers draw is far below, and what a forgotten
// unit draws ends the proof within milliseconds.
const (
	proofCurrent_A = 1.0
	proofPeak_A    = 5.0
	proofTime      = 20 * time.Millisecond
	proofHold      = 400 * time.Millisecond // a contact is held closed, after it has settled
	proofFall      = 3 * time.Second        // until the plug must be without supply
)

// proof is one proof of the contacts under way.
type proof struct {
	r      *Rig
	d      *Description
	g      *guard.Guard
	zero_A float64
	sample Sample
	volt_V float64 // the newest at the plug
	list   []Look
}

// Prove closes each contact once, for less than a second, and measures at the
// plug that it does what it should and that off is off. Nothing may be in the
// socket. zero_A is what the current reads with the supply off. The supply is
// off when it returns.
func (r *Rig) Prove(d *Description, zero_A float64) (list []Look, err error) {
	interval := r.Sampler.Interval()
	limits := guard.Limits{
		Current_A: min(proofCurrent_A, d.Bench.Current_A), Time: proofTime, Peak_A: min(proofPeak_A, max(d.Bench.Current_A, proofCurrent_A)),
		SupplyLow_V: 1e-3, SupplyHigh_V: d.Bench.SupplyHigh_V * 1.05, SupplyTime: proofTime, Grace: time.Minute,
		Silence: max(250*time.Millisecond, 10*interval), Interval: interval,
	}
	p := &proof{r: r, d: d, zero_A: zero_A}
	if p.g, err = guard.New(r.Switch, r.Clock, r.Line.Release, limits); err != nil {
		return nil, err
	}
	if err := r.Sampler.Start(); err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, p.g.Open(), r.Sampler.Stop()) }()
	if err = p.loadOff(); err == nil {
		err = p.contacts()
	}
	if p.r.Load != nil {
		err = errors.Join(err, p.r.Load.Open())
	}
	if t := p.g.Tripped(); t != nil {
		if i := p.sample.Current_A - zero_A; math.Abs(i) > proofCurrent_A/2 {
			p.add("supply switch, closed", Missing, fmt.Sprintf("%.3g A flow, so that it was opened at once: the socket is not empty", i),
				"Take out what is in the socket, look for a short at the plug, then check again.")
		} else {
			p.add("supply switch, closed", Missing, t.Reason, t.Next)
		}
		err = nil
	}
	return p.list, err
}

func (p *proof) add(what string, s State, found, next string) {
	p.list = append(p.list, Look{what, s, found, next})
}

// contacts proves one after the other; it ends early at a trip.
func (p *proof) contacts() error {
	all := p.g.Paths()
	main := all &^ guard.PreCharge
	if main&guard.Second != 0 {
		for _, one := range []guard.Path{guard.First, guard.Second} {
			other := main &^ one
			if ok, err := p.close(one); !ok {
				return err
			}
			what := fmt.Sprintf("%s contact alone", one)
			if p.volt_V > dead_V {
				p.add(what, Missing, fmt.Sprintf("%s V at the plug: the %s contact conducts while open", volts(p.volt_V), other), "Switch the supply off by hand and replace that contact.")
			} else {
				p.add(what, OK, "the other one holds the supply back", "")
			}
			if err := p.open(what); err != nil {
				return err
			}
		}
	}
	if ok, err := p.close(main); !ok {
		return err
	}
	switch v := p.volt_V; {
	case math.IsNaN(v) || v <= dead_V:
		p.add("supply switch, closed", Missing, "no supply at the plug", "Look at the supply itself, then at "+strings.Join(p.d.inSeries(), ", ")+" and the sense wires.")
	case v < 0.95*p.d.Bench.SupplyLow_V || v > 1.05*p.d.Bench.SupplyHigh_V:
		p.add("supply switch, closed", Attention, fmt.Sprintf("%s V at the plug, outside %g to %g V", volts(v), p.d.Bench.SupplyLow_V, p.d.Bench.SupplyHigh_V), "Set the supply to what the profile asks for.")
	default:
		p.add("supply switch, closed", OK, volts(v)+" V at the plug", "")
	}
	if ok, err := p.load(); !ok {
		return err
	}
	if err := p.open("supply switch, open again"); err != nil {
		return err
	}
	if all&guard.PreCharge != 0 {
		if ok, err := p.preCharge(main); !ok {
			return err
		}
	}
	return p.relay(main)
}

// preCharge proves that contact; ok is false after a trip or an error.
func (p *proof) preCharge(main guard.Path) (ok bool, err error) {
	path := guard.PreCharge
	if main&guard.Second != 0 {
		path |= guard.First
	}
	if ok, err := p.close(path); !ok {
		return false, err
	}
	if p.volt_V > dead_V {
		p.add("pre-charge contact, closed", OK, fmt.Sprintf("%s V at the plug through %g Ω", volts(p.volt_V), p.d.PreCharge.Resistor_Ohm), "")
	} else {
		p.add("pre-charge contact, closed", Missing, "no supply at the plug", "Check the contact, its resistor and its driver.")
	}
	err = p.open("pre-charge contact, open again")
	return err == nil, err
}

// close holds contacts closed until what they do is known; ok is false after
// a trip or an error.
func (p *proof) close(path guard.Path) (ok bool, err error) {
	if err := p.g.CloseOnly(path); err != nil {
		return false, err
	}
	p.volt_V = math.NaN()
	settled := p.r.Clock.Now() + p.r.Settle + proofHold/2
	for end := p.r.Clock.Now() + p.r.Settle + proofHold; p.r.Clock.Now() < end; {
		if err := p.r.Sampler.Next(&p.sample); err != nil {
			return false, errors.Join(err, p.g.Open())
		}
		s := &p.sample
		if !p.hold() {
			return false, nil
		}
		if !math.IsNaN(s.Supply_V) && s.At > settled {
			p.volt_V = s.Supply_V
		}
	}
	return true, nil
}

// hold shows a sample to the guard; false: it cut the supply.
func (p *proof) hold() bool {
	s := &p.sample
	return p.g.Hold(guard.Sample{At: s.At, Current_A: s.Current_A - p.zero_A, Supply_V: s.Supply_V, Clipped: s.Clipped,
		Stop: p.r.Stop != nil && p.r.Stop.Read() == gpio.Low}) == nil
}

// open opens everything and watches the voltage at the plug go.
func (p *proof) open(what string) error {
	if err := p.g.Open(); err != nil {
		return err
	}
	begun := p.r.Clock.Now()
	for {
		if err := p.r.Sampler.Next(&p.sample); err != nil {
			return err
		}
		s := &p.sample
		switch late := s.At - begun; {
		case !math.IsNaN(s.Supply_V) && late > 0 && s.Supply_V <= dead_V && math.Abs(s.Current_A-p.zero_A) < proofCurrent_A/2:
			p.add(what, OK, fmt.Sprintf("off is off: %s V after %d ms", volts(s.Supply_V), late.Milliseconds()), "")
			return nil
		case late > proofFall:
			p.add(what, Missing, fmt.Sprintf("still %s V and %.2g A after %v", volts(s.Supply_V), s.Current_A-p.zero_A, proofFall),
				"Switch the supply off by hand: a contact is welded or bridged. Replace it before anything else.")
			return nil
		}
	}
}
