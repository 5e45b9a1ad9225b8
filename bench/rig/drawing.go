package rig

import (
	"fmt"
	"html"
	"io"
	"strings"
	"time"
)

// Measures of the drawing, in px.
const (
	sheetWidth = 1240
	chainY     = 130.0 // middle of the plus wire's parts
	minusY     = 60.0
	plugX      = 1080.0
	chipX      = 560.0
	chipW      = 170.0
	middleX    = 810.0 // dividers and the line's driver
	middleW    = 170.0
	boardX     = 30.0
	boardY     = 300.0
	boardW     = 400.0
	boardH     = 290.0
	tableY     = 730.0
	rowH       = 19.0
)

// sheet collects a drawing.
type sheet struct {
	b      strings.Builder
	height float64
}

func (s *sheet) line(r Role, points ...float64) {
	fmt.Fprintf(&s.b, `<polyline fill="none" stroke="%s" stroke-width="%g" points="`, roles[r].stroke, width(r))
	for i := 0; i+1 < len(points); i += 2 {
		fmt.Fprintf(&s.b, "%g,%g ", points[i], points[i+1])
	}
	s.b.WriteString("\"/>\n")
}

// width is thick for what carries the unit's current.
func width(r Role) float64 {
	if r <= Minus {
		return 3.5
	}
	return 1.6
}

func (s *sheet) dot(r Role, x, y float64) {
	fmt.Fprintf(&s.b, `<circle cx="%g" cy="%g" r="4.5" fill="%s"/>`+"\n", x, y, roles[r].stroke)
}

// text puts words at a place; anchor is start, middle or end.
func (s *sheet) text(x, y float64, anchor, class, words string) {
	fmt.Fprintf(&s.b, `<text x="%g" y="%g" text-anchor="%s" class="%s">%s</text>`+"\n", x, y, anchor, class, html.EscapeString(words))
}

// box draws a part: a title and lines below it.
func (s *sheet) box(x, y, w, h float64, title string, lines ...string) {
	fmt.Fprintf(&s.b, `<rect x="%g" y="%g" width="%g" height="%g" rx="5" class="part"/>`+"\n", x, y, w, h)
	top := y + h/2 + 5 - 8*float64(len(lines))
	s.text(x+w/2, top, "middle", "title", title)
	for i, l := range lines {
		s.text(x+w/2, top+16*float64(i+1), "middle", "small", l)
	}
}

// Drawing writes the bench's wiring as an SVG page: the parts, and below them
// the table of wires.
func (d *Description) Drawing(w io.Writer) error {
	s := &sheet{}
	title := d.Title
	if title == "" {
		title = d.Name
	}
	s.text(30, 30, "start", "head", title)
	s.text(sheetWidth-30, 30, "end", "small", "rig "+d.Name+"; everything is drawn with nothing switched on")
	at := d.drawPower(s)
	d.drawReadings(s, at)
	d.drawBoard(s, at)
	d.drawTable(s)
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%g" viewBox="0 0 %d %g">
<style>text{font-family:sans-serif;fill:#1c1c1c}.head{font-size:20px;font-weight:bold}.title{font-size:14px;font-weight:bold}.small{font-size:12.5px}.pin{font-size:12.5px;font-weight:bold}.part{fill:#f6f6f2;stroke:#3a3a3a;stroke-width:1.4}</style>
<rect width="100%%" height="100%%" fill="#ffffff"/>
%s</svg>
`, sheetWidth, s.height, sheetWidth, s.height, s.b.String())
	if err != nil {
		return fmt.Errorf("rig: drawing: %w", err)
	}
	return nil
}

// tag marks an end of a wire whose other end has the same tag.
func (s *sheet) tag(x, y float64, pin string) {
	w := 16 + 8*float64(len([]rune(pin)))
	fmt.Fprintf(&s.b, `<rect x="%g" y="%g" width="%g" height="20" rx="10" fill="#ffffff" stroke="%s"/>`+"\n", x-w/2, y, w, roles[Control].stroke)
	s.text(x, y+14.5, "middle", "pin", pin)
}

// control is a contact with the pin that closes it.
type control struct{ pin, name string }

// places is where things came to lie.
type places struct {
	controls  []control
	shunt     float64 // x of its middle
	shuntLeft float64 // x of its left edge
	shuntY    float64 // its lower edge
}

// drawPower draws supply, contacts, shunt and plug.
func (d *Description) drawPower(s *sheet) places {
	var at places
	section := Section(d.Bench.Fuse_A)
	s.box(30, minusY-15, 110, chainY-minusY+50, "supply", fmt.Sprintf("%g to %g V", d.Bench.SupplyLow_V, d.Bench.SupplyHigh_V))
	s.text(132, minusY+5, "end", "pin", "−")
	s.text(132, chainY+5, "end", "pin", "+")

	type part struct {
		name  string
		lines []string
		pin   string
	}
	parts := []part{
		{"fuse", []string{fmt.Sprintf("%g A", d.Bench.Fuse_A)}, ""},
		{"emergency", []string{"stop"}, ""},
	}
	for i, name := range d.chain() {
		switch {
		case name == "heartbeat relay":
			parts = append(parts, part{"heartbeat", []string{"relay, " + milliseconds(d.Heartbeat.Hold)}, d.Heartbeat.Pin})
		case name == "shunt":
			parts = append(parts, part{name, []string{ohms(d.Current.Shunt_Ohm)}, ""})
		default:
			c := d.Switches[i-len(d.chain())+len(d.Switches)+shuntParts(d)]
			kind := "transistor"
			if c.Relay {
				kind = "relay"
			}
			parts = append(parts, part{name, []string{kind}, c.Pin})
		}
	}
	from, to := 170.0, d.chainEnds()
	w := min(125, (to-from)/float64(len(parts))-26)
	step := (to - from) / float64(len(parts))
	role, x := Plus, 140.0
	for i, p := range parts {
		left := from + step*float64(i) + (step-w)/2
		s.line(role, x, chainY, left, chainY)
		s.box(left, chainY-28, w, 56, p.name, p.lines...)
		if i >= 2 || len(d.chain()) == 0 {
			role = Switched
		}
		x = left + w
		if p.name == "shunt" {
			at.shunt, at.shuntLeft, at.shuntY = left+w/2, left, chainY+28
		}
		if p.pin != "" {
			s.line(Control, left+w/2, chainY+28, left+w/2, chainY+38)
			s.tag(left+w/2, chainY+38, p.pin)
			at.controls = append(at.controls, control{p.pin, p.name})
		}
		last := strings.HasPrefix(p.name, "switch") && (i+1 == len(parts) || !strings.HasPrefix(parts[i+1].name, "switch"))
		if last && d.PreCharge != nil {
			// Around the last contact, below it.
			y := chainY + 90
			before := Switched
			if i == 2 {
				before = Plus
			}
			s.line(before, left-13, chainY, left-13, y, left, y)
			s.box(left, y-22, w, 44, "pre-charge", ohms(d.PreCharge.Resistor_Ohm))
			s.line(Switched, left+w, y, left+w+13, y, left+w+13, chainY)
			s.dot(before, left-13, chainY)
			s.dot(Switched, left+w+13, chainY)
			s.line(Control, left+w/2, y+22, left+w/2, y+32)
			s.tag(left+w/2, y+32, d.PreCharge.Pin)
			at.controls = append(at.controls, control{d.PreCharge.Pin, "pre-charge contact"})
		}
	}
	s.line(role, x, chainY, plugX, chainY)

	// The minus wire runs above, from the plug's upper edge.
	d.drawMinus(s, &at)
	d.drawLoad(s, &at)
	middle := 620.0
	if d.Load != nil {
		middle = 520 // clear of the free-wheel path
	}
	s.text(middle, minusY-8, "middle", "small", fmt.Sprintf("thick wires: at least %g mm², for %g A behind %g A", section, d.Bench.Current_A, d.Bench.Fuse_A))
	height := 555.0
	if d.extended() {
		height = nodeY + 30 - minusY + 20
	}
	s.box(plugX, minusY-20, 130, height, "")
	s.text(plugX+65, minusY+125, "middle", "title", "unit's plug")
	for _, t := range []struct {
		y    float64
		name string
		have bool
	}{{minusY, "minus", true}, {chainY, "plus", true}, {senseY, "plus, sense", d.Supply != nil}, {signalY, "signal", true},
		{returnY, "return", d.Return != nil}, {groundY, "minus, sense", d.Supply != nil && d.Supply.Minus != nil}} {
		if t.have {
			s.text(plugX+8, t.y+5, "start", "pin", t.name)
		}
	}
	return at
}

// shuntParts is how many parts of the chain lie behind the switches.
func shuntParts(d *Description) int {
	if d.Current.LowSide {
		return 0
	}
	return 1
}

// Terminals of the plug, and what is beside them.
const (
	senseY  = 330.0
	signalY = 400.0
	driverY = 465.0
	returnY = 520.0
	groundY = 572.0
)

// drawReadings draws what is read: shunt, dividers, thermistor.
func (d *Description) drawReadings(s *sheet, at places) {
	c := &d.Current
	chip, spi := strings.ToUpper(c.Chip), isSPI(c.Chip)
	// The current.
	top := 290.0
	if at.shunt > 0 {
		s.line(SenseWire, at.shunt-10, at.shuntY, at.shunt-10, top, chipX+chipW, top)
		s.line(SenseWire, at.shunt+10, at.shuntY, at.shunt+10, top+12, chipX+chipW, top+12)
	}
	if spi {
		words := fmt.Sprintf("gain %g", c.Gain)
		if c.AntiAlias_Hz > 0 {
			words += fmt.Sprintf(", filter %g kHz", c.AntiAlias_Hz/1e3)
		}
		s.box(chipX, top-18, chipW, 44, "amplifier", words)
		s.line(SenseWire, chipX+40, top+26, chipX+40, top+50)
		s.text(chipX+46, top+43, "start", "small", fmt.Sprintf("CH%d", c.Channel))
	} else {
		s.box(chipX, top-18, chipW, 44, chip, fmt.Sprintf("at %#x", c.Address))
	}
	// The voltages.
	reader, label := chip, "CH%d"
	words := ""
	if spi {
		words = fmt.Sprintf("reference %g V", d.SPI.Reference_V)
	}
	if d.Voltage != nil {
		reader, label, words = strings.ToUpper(d.Voltage.Chip), "AIN%d", fmt.Sprintf("at %#x", d.Voltage.Address)
	}
	chipTop := top + 50
	s.box(chipX, chipTop, chipW, 140, "")
	s.text(chipX+62, chipTop+66, "middle", "title", reader)
	s.text(chipX+62, chipTop+84, "middle", "small", words)
	divider := func(y float64, sense *Sense) {
		s.box(middleX, y-20, middleW, 40, "divider", sense.Divider.words())
		s.line(SenseWire, middleX, y, 770, y)
	}
	inputs := 0.0
	channel := func(y float64, n int) {
		// Down or up to the chip's right edge, each on a lane of its own.
		to := chipTop + 35 + 35*inputs
		if d.extended() {
			to = chipTop + 20 + 25*inputs
		}
		s.line(SenseWire, 770, y, 770-10*inputs, y, 770-10*inputs, to, chipX+chipW, to)
		s.text(chipX+chipW-6, to+4, "end", "small", fmt.Sprintf(label, n))
		inputs++
	}
	if d.Supply != nil {
		s.line(SenseWire, plugX, senseY, middleX+middleW, senseY)
		divider(senseY, d.Supply)
		channel(senseY, d.Supply.Channel)
		if m := d.Supply.Minus; m != nil {
			s.box(middleX, groundY-18, middleW, 36, "divider", d.Supply.Divider.words())
			s.line(SenseWire, plugX, groundY, middleX+middleW, groundY)
			s.line(SenseWire, middleX, groundY, 770, groundY)
			channel(groundY, *m)
		}
	}
	s.line(SignalWire, plugX, signalY, 1030, signalY)
	if d.LineLevel != nil {
		s.line(SignalWire, 1030, signalY, middleX+middleW, signalY)
		divider(signalY, d.LineLevel)
		channel(signalY, d.LineLevel.Channel)
		s.dot(SignalWire, 1030, signalY)
	}
	drive := "open drain"
	if !d.LinePin.OpenDrain {
		drive = fmt.Sprintf("push-pull %g V", d.LinePin.High_V)
	}
	d.drawTold(s, divider, channel)
	s.line(SignalWire, 1030, signalY, 1030, driverY, middleX+middleW, driverY)
	s.box(middleX, driverY-20, middleW, 40, "line driver", fmt.Sprintf("%s, %s", drive, ohms(d.LinePin.Series_Ohm)))
	if d.LinePin.PullUp_Ohm > 0 {
		s.line(SignalWire, 1030, signalY, 1030, chainY)
		s.dot(Switched, 1030, chainY)
		s.dot(SignalWire, 1030, signalY)
		s.box(1005, (senseY+chainY)/2-13, 50, 26, "")
		s.text(1030, (senseY+chainY)/2+4, "middle", "small", ohms(d.LinePin.PullUp_Ohm))
	}
	if t := d.Temperature; t != nil && t.Chip == "ntc" {
		words := fmt.Sprintf(label, t.Channel)
		if t.Reference >= 0 {
			words += ", reference " + fmt.Sprintf(label, t.Reference)
		}
		s.box(chipX, chipTop+162, chipW, 40, "thermistor", words)
		s.line(SenseWire, chipX+100, chipTop+140, chipX+100, chipTop+162)
	}
}

// drawBoard draws the computer with what goes to its pins.
func (d *Description) drawBoard(s *sheet, at places) {
	const left, w = boardX, boardW
	s.box(left, boardY, w, boardH, "")
	s.text(left+16, boardY+26, "start", "title", "computer")
	for i, c := range at.controls {
		x, y := left+70, boardY+40+26*float64(i)
		s.tag(x, y, c.pin)
		s.text(x+65, y+14.5, "start", "small", c.name)
	}
	// The bus, up the left edge of the chips.
	bus, words := "", ""
	if d.I2C != nil && !isSPI(d.Current.Chip) {
		bus, words = d.I2C.Bus, fmt.Sprintf("SDA, SCL: %s, %g kHz", d.I2C.Bus, d.I2C.Speed_Hz/1e3)
	} else if d.SPI != nil {
		bus, words = d.SPI.Port, fmt.Sprintf("SPI: %s, %.4g MHz", d.SPI.Port, d.SPI.Speed_Hz/1e6)
	}
	if bus != "" {
		y := boardY + boardH - 70
		s.line(Data, left+w, y, chipX-40, y, chipX-40, 410, chipX, 410)
		if !isSPI(d.Current.Chip) {
			s.line(Data, chipX-40, 410, chipX-40, 294, chipX, 294)
			s.dot(Data, chipX-40, 410)
		}
		s.text(left+w-8, y+4, "end", "small", words)
	}
	y := boardY + boardH - 30
	s.text(left+w-8, y+4, "end", "pin", d.lineSource())
	s.line(Control, left+w, y, middleX-30, y, middleX-30, driverY, middleX, driverY)
	if d.Position.by() == PositionByPWM {
		s.text(left+w-8, boardY+boardH-positionUp+4, "end", "pin", d.Position.Edges.Pin)
	}
	if d.Return != nil {
		y = boardY + boardH - 10
		s.text(left+w-8, y+4, "end", "pin", d.Return.Pin)
		s.box(middleX, returnY-18, middleW, 36, "return", "divider or optocoupler")
		s.line(SignalWire, plugX, returnY, middleX+middleW, returnY)
		s.line(SignalWire, middleX, returnY, middleX-15, returnY, middleX-15, y, left+w, y)
	}
	// What hangs below.
	type below struct {
		name, words, pin string
		role             Role
	}
	var list []below
	if d.Stop != nil {
		list = append(list, below{"stop button", d.Stop.buttonWords(), d.Stop.Pin, Control})
	}
	if t := d.Temperature; t != nil && t.Chip == "ds18b20" {
		list = append(list, below{"DS18B20", "4.7 kΩ to 3.3 V", "one-wire", Data})
	}
	if d.Flow != nil {
		list = append(list, below{"flow meter", fmt.Sprintf("%g pulses a litre", d.Flow.Pulses_per_l), d.Flow.Pin, Control})
	}
	if d.Listen != nil && d.Listen.Pin != "" {
		list = append(list, below{"listening lead", "fused, isolated", d.Listen.Pin, SignalWire})
	}
	for i, b := range list {
		x := left + float64(i)*150
		px := left + 65 + float64(i)*(w-210)/max(float64(len(list)-1), 1)
		lane := boardY + boardH + 14
		s.text(px, boardY+boardH-8, "middle", "pin", b.pin)
		s.line(b.role, px, boardY+boardH, px, lane, x+65, lane, x+65, lane+18)
		s.box(x, lane+18, 135, 44, b.name, b.words)
	}
	x, low, aside := left+720, 0.0, 0.0
	if d.extended() { // left of the lanes to the converter
		x, low, aside = left+520, 60, 75
	}
	s.line(Ground, left+w-12, boardY+boardH, left+w-12, boardY+boardH+9, x+aside, boardY+boardH+9, x+aside, boardY+boardH+32+low)
	s.box(x-120, boardY+boardH+32+low, 300, 44, "ground of the electronics", "one wire and 250 mA to the supply's minus")
}

// milliseconds is a short time for people.
func milliseconds(t time.Duration) string { return fmt.Sprintf("%g ms", t.Seconds()*1e3) }
