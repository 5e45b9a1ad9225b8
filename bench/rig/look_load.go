package rig

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/pwm"
	"dutybench/bench/sysfs"
)

// lookLoad is what the description says of the load switch.
func (d *Description) lookLoad(tree sysfs.Tree) (list []Look) {
	l := d.Load
	if l == nil || d.Name == Sim {
		return nil
	}
	list = append(list, Look{"load switch", OK, fmt.Sprintf("%s side, %s", l.side(), l.frequencyWords()), ""})
	path := Look{"free-wheel path", OK, l.freeWheelWords() + ", as stated; " + l.seenWords(), ""}
	if l.FreeWheel == FreeWheelNone {
		path.State, path.Next = Attention, "Fit a diode across the unit's plug, cathode to plus: never switch a coil without one for longer than you must."
	}
	list = append(list, path)
	if l.Level == nil {
		list = append(list, Look{"load switch's wire", Attention, "not read: a run cannot look whether the switch opens and the free-wheel path is whole before it switches a coil",
			"Bring the wire between unit and load switch through a divider to a free channel, and state it as [load.level]."})
	}
	if l.PWMChip != "" {
		list = append(list, lookChannel("load switch's PWM", l.PWMChip, l.Channel, pwm.Survey(tree)))
	}
	return list
}

// lookChannel looks for a channel of the kernel's PWM.
func lookChannel(what, chip string, channel int, chips []pwm.Chip) Look {
	have := pwmWords(chips)
	for _, c := range chips {
		if c.Name != chip && !strings.HasSuffix(c.Device, "/"+chip) {
			continue
		}
		switch {
		case c.Err != nil:
			return LookAt(what, "", c.Err)
		case channel >= c.Channels:
			return Look{what, Missing, fmt.Sprintf("%s has channels 0 to %d, the rig file asks for %d", c.Name, c.Channels-1, channel), "Correct the rig file."}
		case !c.Writable:
			return Look{what, Missing, c.Name + " is there, but this user may not use it",
				"Install the udev rule that comes with dutybench, be in the group that it names, and start the board anew."}
		}
		return Look{what, OK, have, ""}
	}
	return Look{what, Missing, fmt.Sprintf("no %s; there is %s", chip, have),
		"Load the overlay of the board's PWM in the boot configuration (on many boards dtoverlay=pwm), or name one that there is."}
}

// pwmWords list the kernel's PWM.
func pwmWords(chips []pwm.Chip) string {
	var names []string
	for _, c := range chips {
		names = append(names, fmt.Sprintf("%s (%d channels)", c.Name, c.Channels))
	}
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// tryLoad tries load switch and position input alone.
func tryLoad(b Board, d *Description) (list []Look) {
	if d.Load != nil {
		_, err := openLoad(b, d)
		list = append(list, LookAt("load switch", d.Load.source()+", open", err))
	}
	if p := d.Position; p.by() == PositionByPWM {
		_, err := OpenInput(b, p.Edges, 0)
		list = append(list, LookAt("position input", p.Edges.Pin, err))
	}
	return list
}

// told is what position and load switch read with the supply off.
type told struct {
	Position, Node_V float64 // the last; NaN: none came
}

func (t *told) add(s *Sample) {
	if !math.IsNaN(s.Position) {
		t.Position = s.Position
	}
	if !math.IsNaN(s.Node_V) {
		t.Node_V = s.Node_V
	}
}

func (t *told) looks(d *Description) (list []Look) {
	if by := d.Position.by(); by != "" {
		l := Look{"position input", OK, volts(t.Position) + " V with nothing in the socket", ""}
		if by == PositionByPWM {
			l.Found = fmt.Sprintf("%.1f %% high with nothing in the socket", t.Position)
		}
		if math.IsNaN(t.Position) {
			l.State, l.Found, l.Next = Missing, "no reading", "Check its wire and [position] in the rig file."
		}
		list = append(list, l)
	}
	if d.Load != nil && d.Load.Level != nil {
		l := Look{"load switch's wire", OK, volts(t.Node_V) + " V", ""}
		switch {
		case math.IsNaN(t.Node_V):
			l.State, l.Found, l.Next = Missing, "no reading", "Check its wire and [load.level] in the rig file."
		case math.Abs(t.Node_V) > dead_V:
			l.State, l.Next = Missing, "Switch the supply off by hand: something feeds the wire between unit and load switch."
		}
		list = append(list, l)
	}
	return list
}
