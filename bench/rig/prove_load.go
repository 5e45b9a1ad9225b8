package rig

import (
	"fmt"
	"math"
	"time"
)

const (
	loadClosed = "load switch, closed"
	loadOpen   = "load switch, open"
	// loadLook is for how long the load switch is held and its wire looked at:
	// chosen, many readings at any pace.
	loadLook = 200 * time.Millisecond
	// lift is what makes a switch on the low side visible with an empty socket.
	lift = "Put 10 kohm between the plug's plus and its switched minus and check again: then it shows whether the load switch opens and closes."
)

// loadOff closes and opens the load switch before the supply is on. Nothing of
// that can be seen but that its pin takes it and that its wire stays dead.
func (p *proof) loadOff() error {
	if p.r.Load == nil {
		return nil
	}
	if err := p.r.Load.Drive(100, 0); err != nil {
		return err
	}
	node, err := p.node(func() bool { return true })
	if oerr := p.r.Load.Open(); err == nil {
		err = oerr
	}
	if err != nil {
		return err
	}
	found := "its pin takes it; whether it does shows with the supply on"
	if node > dead_V {
		p.add("load switch, supply off", Missing, fmt.Sprintf("%s V at its wire", volts(node)), "Switch the supply off by hand: something feeds the wire between unit and load switch.")
		return nil
	}
	p.add("load switch, supply off", OK, "closed and opened: "+found, "")
	return nil
}

// node samples for a while and gives the last level of the wire to the load
// switch; NaN: none came. It ends early when hold says so.
func (p *proof) node(hold func() bool) (float64, error) {
	volt := math.NaN()
	begun := p.r.Clock.Now()
	for p.r.Clock.Now() < begun+loadLook {
		if err := p.r.Sampler.Next(&p.sample); err != nil {
			return volt, err
		}
		if !hold() {
			return volt, nil
		}
		// What was converted while it switched is left out.
		if s := &p.sample; !math.IsNaN(s.Node_V) && s.At > begun+loadLook/4 {
			volt = s.Node_V
		}
	}
	return volt, nil
}

// load looks, with the supply on, whether the load switch closes and opens; ok
// is false after a trip or an error. It is open when it returns.
func (p *proof) load() (ok bool, err error) {
	l := p.r.Load
	if l == nil {
		return true, nil
	}
	if l.Level == nil {
		p.add(loadClosed, Attention, "not looked at: nothing reads its wire", "State that wire as [load.level] in the rig file.")
		return true, nil
	}
	plug := p.volt_V
	level := func(drive func() error) (float64, bool, error) {
		if err := drive(); err != nil {
			return 0, false, err
		}
		v, err := p.node(p.hold)
		return v, err == nil && p.g.Tripped() == nil, err
	}
	before, ok, err := level(l.Open)
	if !ok {
		return false, err
	}
	closed, ok, err := level(func() error { return l.Drive(100, 0) })
	if oerr := l.Open(); err == nil {
		err = oerr
	}
	if !ok || err != nil {
		return false, err
	}
	after, ok, err := level(l.Open)
	if !ok {
		return false, err
	}
	p.judgeLoad(plug, before, closed, after)
	return true, nil
}

// judgeLoad says what the levels of the wire mean: with the switch open before,
// closed, and open again.
func (p *proof) judgeLoad(plug, before, closed, after float64) {
	high := p.r.Load.HighSide
	up := func(v float64) bool { return v > plug/2 }
	const weld = "Switch the supply off by hand and replace the load switch, or its driver: it conducts while open."
	switch {
	case math.IsNaN(before) || math.IsNaN(closed) || math.IsNaN(after):
		p.add(loadClosed, Missing, "its wire is not read", "Check the wire and [load.level] in the rig file.")
	case high && (up(before) || up(after)):
		p.add(loadOpen, Missing, fmt.Sprintf("%s V at its wire while it is open", volts(max(before, after))), weld)
	case high && !up(closed):
		p.add(loadClosed, Missing, fmt.Sprintf("%s V at its wire", volts(closed)), "Check the load switch, its driver and its pin in the rig file.")
	case !high && !up(before) && !up(closed):
		p.add(loadClosed, Attention, "not to be seen: nothing lifts its wire, or it conducts while open", lift)
	case !high && !up(after):
		p.add(loadOpen, Missing, fmt.Sprintf("%s V at its wire after it was opened", volts(after)), weld)
	case !high && up(closed):
		p.add(loadClosed, Missing, fmt.Sprintf("%s V at its wire while it is closed", volts(closed)), "Check the load switch, its driver and its pin in the rig file.")
	default:
		p.add(loadClosed, OK, volts(closed)+" V at its wire", "")
		p.add(loadOpen, OK, volts(after)+" V at its wire", "")
	}
}
