package main

import (
	"fmt"

	"periph.io/x/conn/v3/physic"

	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// simulatedBoard is a simulated bench built to a rig's description, and that
// description with the names that the simulated bench gives its pins, chips
// and channels. Shunt, amplifier, dividers, conversion, rate, line and contacts
// are those of the file. lines are where another process holds the contacts;
// without, they are pins of this process, and no relay waits for a heartbeat.
func simulatedBoard(d rig.Description, o sim.Options, lines *sim.Lines) (*sim.Bench, rig.Description, error) {
	if err := d.Check(); err != nil {
		return nil, d, err
	}
	o.Lines = lines
	o.StopOpens = d.Stop != nil && !d.Stop.ActiveLow
	device := d.LinePin.PWMChip
	if l := d.Load; device == "" && l != nil {
		device = l.PWMChip
	}
	rename(&d)
	driver(&d, &o, d.LinePin.PWMChip)
	wireUp(&d, &o)
	readings(&d, &o)
	positions(&d, &o)
	if lines != nil && d.Heartbeat != nil {
		o.Heartbeat = d.Heartbeat.Hold // else what the options ask for
	}
	b := sim.NewBench(o)
	if device != "" {
		b.Kernel.PWM.Call(device)
	}
	if t := d.Temperature; t != nil && t.Chip == "ds18b20" && t.ID != "" {
		for _, s := range b.Kernel.Sensors {
			b.Kernel.RemoveSensor(s.ID)
		}
		b.Kernel.AddSensor(t.ID)
	}
	return b, d, nil
}

// rename gives the contacts and inputs their simulated pins, which close and
// read high for high; the stop button opens or closes as the file's.
func rename(d *rig.Description) {
	names := []string{sim.SwitchName, sim.SecondName}
	switches := make([]rig.Contact, len(d.Switches))
	for i, c := range d.Switches {
		c.Pin, c.ActiveLow = names[i], false
		switches[i] = c
	}
	d.Switches = switches
	if p := d.PreCharge; p != nil {
		c := *p
		c.Pin, c.ActiveLow = sim.PreChargeName, false
		d.PreCharge = &c
	}
	if h := d.Heartbeat; h != nil {
		c := *h
		c.Pin = sim.HeartbeatName
		d.Heartbeat = &c
	}
	if d.Stop != nil {
		d.Stop = &rig.Input{Pin: "STOP", ActiveLow: d.Stop.ActiveLow, Pull: "up"}
	}
	if d.Return != nil {
		d.Return = &rig.Input{Pin: "RETURN", Pull: "up"}
	}
	if f := d.Flow; f != nil {
		c := *f
		c.Pin = "FLOW"
		d.Flow = &c
	}
	if l := d.Listen; l != nil && l.Pin != "" {
		c := *l
		c.Pin = "LISTEN"
		d.Listen = &c
	}
}

// wireUp is the line. A buffer that can be switched off is on the line's own
// pin, as the simulated kernel's PWM cannot let go.
func wireUp(d *rig.Description, o *sim.Options) {
	l := &d.LinePin
	o.Wire = sim.Wire{OpenDrain: l.OpenDrain, Inverted: l.Inverted, High_V: l.High_V, PullUp_Ohm: l.PullUp_Ohm}
	if s := d.LineLevel; s != nil {
		o.Wire.Sense_Ohm = float64(s.Divider.Top+s.Divider.Bottom) / 1e9
	}
	if l.PWMChip != "" && l.Enable == "" {
		l.Channel = 0 // the one that drives the simulated line
	} else {
		l.Pin, l.PWMChip, l.Channel, l.Enable = "LINE", "", 0, ""
	}
	o.Second = len(d.Switches) > 1
	if d.PreCharge != nil {
		o.PreCharge_Ohm = d.PreCharge.Resistor_Ohm
	}
}

// readings are the converters. The simulated bench has one place for each
// quantity, so channels and addresses are moved there.
func readings(d *rig.Description, o *sim.Options) {
	c := &d.Current
	o.Shunt_Ohm = c.Shunt_Ohm
	c.Reversed = false // the simulated shunt is wired right
	chips := map[string]sim.CurrentChip{"ina226": sim.CurrentINA226, "ina219": sim.CurrentINA219, "mcp3204": sim.CurrentMCP3204, "mcp3208": sim.CurrentMCP3208}
	o.Current = chips[c.Chip]
	spi := o.Current == sim.CurrentMCP3204 || o.Current == sim.CurrentMCP3208
	first := 0 // channel of the supply
	if spi {
		o.Front = sim.Front{Gain: c.Gain, GainTolerance: c.GainTolerance, Zero_V: c.Zero_V, ZeroTolerance: 0.002, /* chosen */
			Bandwidth_Hz: c.Bandwidth_Hz, AntiAlias_Hz: c.AntiAlias_Hz}
		c.Channel, first = sim.MCPCurrent, sim.MCPSupply
		// 1.26 MHz is the fastest at the simulated reference (DS21298E).
		d.SPI = &rig.SPI{Port: d.SPI.Port, Speed_Hz: min(d.SPI.Speed_Hz, 1.26e6), Reference_V: sim.Reference_V, ReferenceTolerance: d.SPI.ReferenceTolerance}
	} else {
		c.Address = sim.INA226Address
		o.BusSpeed_Hz = d.I2C.Speed_Hz
		v := *d.Voltage
		v.Address = sim.ADS1115Address
		d.Voltage = &v
	}
	place := func(s *rig.Sense, channel int, ratio *float64) *rig.Sense {
		if s == nil {
			return nil
		}
		out := *s
		out.Channel, out.Minus, *ratio = channel, nil, s.Divider.Ratio()
		return &out
	}
	d.Supply = place(d.Supply, first, &o.SupplyRatio)
	d.LineLevel = place(d.LineLevel, first+1, &o.LineRatio)
	if l := d.Listen; l != nil {
		out := *l
		out.Sense = nil
		if d.LineLevel == nil && l.Sense != nil {
			out.Sense = place(l.Sense, first+1, &o.LineRatio)
		}
		d.Listen = &out
	}
	if t := d.Temperature; t != nil && t.Chip == "ntc" {
		out := *t
		out.Channel = first + 2
		if t.Reference != rig.OwnReference {
			out.Reference = first + 3
		}
		if o.Current == sim.CurrentMCP3204 {
			out.Reference = rig.OwnReference
		}
		out.NTC = rig.Thermistor{R25: sim.NTC_Ohm * physic.Ohm, Fixed: sim.NTC_Ohm * physic.Ohm, Beta_K: sim.NTC_Beta_K}
		d.Temperature = &out
	}
}

// suits says when a rig file's line cannot drive what a profile asks for: the
// built-in rig is built to each profile, a bench is not.
func suits(d *rig.Description, drive string) error {
	l := &d.LinePin
	switch {
	case drive == "push-pull" && l.OpenDrain && l.PullUp_Ohm == 0:
		return fmt.Errorf("rig %s drives its line by an open drain without a pull-up, but the profile asks for push-pull: nothing would lift the line; fit a pull-up and state it as pull_up in the rig file's [line], or a push-pull driver", d.Name)
	case drive == "open-drain" && !l.OpenDrain:
		return fmt.Errorf("rig %s drives its line push-pull, but the profile asks for open drain: the unit's own pull-up would feed the driver; fit a transistor and state drive = \"open-drain\"", d.Name)
	}
	return nil
}
