package rig

import "fmt"

// Measures of what a load switch and a position input add to the drawing.
const (
	switchedY = 95.0 // terminal of the switched wire, between plus and minus
	loadX     = 950.0
	loadW     = 90.0
	branchX   = 938.0 // where the load switch leaves plus or minus
	nodeX     = 1060.0
	loopY     = 69.0 // the diode's wire, where it goes round the shunt
	positionY = 690.0
	nodeY     = 735.0
	moreRows  = 80.0 // by which the table comes lower
	// positionUp is how far above the computer's lower edge the pin of a position
	// by PWM is.
	positionUp = 44.0
)

// extended says that the drawing has the rows for position and load switch.
func (d *Description) extended() bool { return d.Load != nil || d.Position != nil }

// tagWords name the load switch's pin in few letters.
func (l *LoadSwitch) tagWords() string {
	if l.PWMChip != "" {
		return fmt.Sprintf("PWM %d", l.Channel)
	}
	return l.Pin
}

// controlWords are its line in the computer.
func (l *LoadSwitch) controlWords() string {
	if l.PWMChip != "" {
		return "load switch, " + l.PWMChip
	}
	return "load switch"
}

// chainEnds is where the parts in the plus wire have to end: before a shunt in
// the minus wire, whose sense wires come down, and before a load switch.
func (d *Description) chainEnds() float64 {
	switch {
	case d.Load != nil && d.Current.LowSide:
		return 770
	case d.Load != nil:
		return branchX - 6
	case d.Current.LowSide:
		return plugX - 160
	}
	return plugX - 50
}

// drawMinus draws the minus wire from the plug to the supply, with a shunt in it.
func (d *Description) drawMinus(s *sheet, at *places) {
	if !d.Current.LowSide {
		s.line(Minus, plugX, minusY, 140, minusY)
		return
	}
	x, w := 940.0, 110.0
	if d.Load != nil {
		x = 790
	}
	s.line(Minus, plugX, minusY, x+w, minusY)
	s.box(x, minusY-20, w, 40, "shunt", ohms(d.Current.Shunt_Ohm))
	s.line(Minus, x, minusY, 140, minusY)
	at.shunt, at.shuntLeft, at.shuntY = x+w/2, x, minusY+20
}

// drawLoad draws the load switch from minus or plus to the plug's third terminal.
func (d *Description) drawLoad(s *sheet, at *places) {
	l := d.Load
	if l == nil {
		return
	}
	role, from := Minus, minusY
	if l.HighSide {
		role, from = Switched, chainY
	}
	s.line(role, loadX, switchedY, branchX, switchedY, branchX, from)
	s.dot(role, branchX, from)
	s.line(role, loadX+loadW, switchedY, plugX, switchedY)
	d.drawFreeWheel(s, *at, role)
	s.line(Control, loadX+loadW/2, switchedY+17, loadX+loadW/2, chainY+12)
	s.tag(loadX+loadW/2, chainY+12, l.tagWords())
	s.box(loadX, switchedY-17, loadW, 34, "load switch")
	at.controls = append(at.controls, control{l.tagWords(), l.controlWords()})
}

// drawFreeWheel draws the diode across the unit: round the shunt, which is then
// in its loop, or straight, as the file states.
func (d *Description) drawFreeWheel(s *sheet, at places, role Role) {
	l := d.Load
	if l.FreeWheel != FreeWheelDiode {
		s.text(plugX-8, minusY-8, "end", "small", l.freeWheelWords())
		return
	}
	other, to := Switched, chainY // of the wire at its other end
	if l.HighSide {
		other, to = Minus, minusY
	}
	s.dot(role, nodeX, switchedY)
	if !l.Seen {
		s.line(role, nodeX, switchedY, nodeX, to)
		s.dot(other, nodeX, to)
		s.diode(nodeX, (switchedY+to)/2, 0, 1) // the cathode is the lower end either way
		s.text(plugX-8, minusY-8, "end", "small", "free-wheel diode")
		return
	}
	joint := at.shuntLeft - 12
	if l.HighSide { // below the shunt's box
		s.line(role, nodeX, switchedY, nodeX, loopY, branchX-10, loopY, branchX-10, minusY+30, joint, minusY+30, joint, to)
		s.diode(loadX+loadW/2, loopY, 1, 0)
	} else {
		s.line(role, nodeX, switchedY, nodeX, loopY, joint, loopY, joint, to)
		s.diode(loadX+loadW/2, loopY, -1, 0)
	}
	s.dot(other, joint, to)
	s.text(joint-8, minusY+34, "end", "small", "free-wheel diode")
}

// diode draws one whose cathode looks in a direction, right or down being 1.
func (s *sheet) diode(x, y, right, down float64) {
	at := func(along, across float64) string {
		return fmt.Sprintf("%g %g", x+along*right-across*down, y+along*down+across*right)
	}
	fmt.Fprintf(&s.b, `<path d="M%s L%s L%s Z M%s L%s" fill="#ffffff" stroke="#202020" stroke-width="1.8"/>`+"\n",
		at(-6, -6), at(-6, 6), at(6, 0), at(6, -7), at(6, 7))
}

// drawTold draws the wires of position and load switch into the converter.
func (d *Description) drawTold(s *sheet, divider func(y float64, sense *Sense), channel func(y float64, n int)) {
	if d.Load != nil {
		s.text(plugX+8, switchedY+5, "start", "pin", d.Load.terminal()[len("plug "):])
	}
	if p := d.Position; p != nil {
		s.text(plugX+8, positionY+5, "start", "pin", "position")
		s.line(SenseWire, plugX, positionY, middleX+middleW, positionY)
		if p.Sense != nil {
			divider(positionY, p.Sense)
			channel(positionY, p.Sense.Channel)
		} else {
			s.box(middleX, positionY-20, middleW, 40, "position", "divider or optocoupler")
			y := boardY + boardH - positionUp
			s.line(SignalWire, middleX, positionY, middleX-75, positionY, middleX-75, y, boardX+boardW, y)
		}
	}
	if l := d.Load; l != nil && l.Level != nil {
		s.text(plugX+8, nodeY+5, "start", "pin", "switched, level")
		s.line(SenseWire, plugX, nodeY, middleX+middleW, nodeY)
		divider(nodeY, l.Level)
		channel(nodeY, l.Level.Channel)
	}
}
