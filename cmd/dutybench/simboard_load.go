package main

import (
	"slices"

	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// driver is the simulated load switch of a rig file; the simulated one closes
// with a high pin.
func driver(d *rig.Description, o *sim.Options, lineChip string) {
	l := d.Load
	if l == nil {
		return
	}
	if o.Unit == nil && o.TwoWire == nil { // an empty socket with what makes the switch visible
		o.TwoWire = &sim.Coil{Ohm: 10e3, Henry: 1e-3, Temp_C: 20}
	}
	drive := sim.DefaultDriver()
	drive.HighSide, drive.Seen = l.HighSide, l.Seen
	drive.Diode = l.FreeWheel == rig.FreeWheelDiode
	if !drive.Diode {
		drive.Clamp_V = l.Clamp.Volt
	}
	o.Driver = drive
	out := *l
	out.ActiveLow = false
	if l.PWMChip != "" && (lineChip == "" || lineChip == l.PWMChip) {
		out.Channel = sim.PWMLoad // of the simulated board's only PWM chip
	} else {
		out.Pin, out.PWMChip, out.Channel = "LOAD", "", 0
	}
	d.Load = &out
}

// positions are the inputs for position and load switch, at those of the simulated
// converter that nothing else has. A PWM is on the pin of the return signal.
func positions(d *rig.Description, o *sim.Options) {
	inputs := 4
	if o.Current == sim.CurrentMCP3208 {
		inputs = 8
	}
	taken := []int{d.Supply.Channel}
	if o.Current == sim.CurrentMCP3204 || o.Current == sim.CurrentMCP3208 {
		taken = append(taken, d.Current.Channel)
	}
	if s := d.LineLevel; s != nil {
		taken = append(taken, s.Channel)
	}
	if l := d.Listen; l != nil && l.Sense != nil {
		taken = append(taken, l.Sense.Channel)
	}
	if t := d.Temperature; t != nil && t.Chip == "ntc" {
		taken = append(taken, t.Channel, t.Reference)
	}
	free := func(s *rig.Sense) (*rig.Sense, int) {
		out := *s
		for out.Channel = 0; slices.Contains(taken, out.Channel) && out.Channel < inputs; {
			out.Channel++
		}
		taken = append(taken, out.Channel)
		return &out, out.Channel
	}
	if p := d.Position; p != nil && p.Sense != nil {
		s, at := free(p.Sense)
		o.PositionInput, o.PositionRatio = at, s.Divider.Ratio()
		o.PositionLoad_Ohm = float64(s.Divider.Top+s.Divider.Bottom) / 1e9
		d.Position = &rig.PositionInput{Sense: s}
	} else if p != nil {
		d.Position = &rig.PositionInput{Edges: &rig.Input{Pin: "RETURN", Pull: "up"}}
	}
	if l := d.Load; l != nil && l.Level != nil {
		out := *l
		out.Level, o.NodeInput = free(l.Level)
		o.NodeRatio = out.Level.Divider.Ratio()
		d.Load = &out
	}
}
