package positioner

import (
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
)

// lame are those of a unit that does not move as told at all.
func (d *detail) lame(f facts) []weigh.Mode {
	against := func(x bool) func(*weigh.Table) float64 {
		return func(*weigh.Table) float64 {
			if x {
				return weigh.Most
			}
			return 0
		}
	}
	dead := weigh.Mode{Name: "board dead", Cause: result.ControlBoard, States: []string{silent}, Prior: weigh.Often,
		Seen: "it takes no current, with supply and command at the plug", Disproof: "a current that comes with the supply",
		Next: "measure the supply at the unit's own pins: there means the board, missing means the wiring", Reuse: []string{drivePart + ", not shown to turn here"}}
	if !f.charged {
		dead.Like, dead.Apart = []result.Cause{result.Wiring}, dead.Next
		dead.Seen = "it takes no current, not even to charge its input"
	}
	deaf := weigh.Mode{Name: "board deaf", Cause: result.ControlBoard, States: []string{still}, Prior: weigh.Often,
		Seen: "it takes its quiet current and answers no command: no current, no motion", Disproof: "any answer to a command",
		Like: []result.Cause{result.Mechanical}, Reuse: nil,
		Next: "measure the resistance of the motor at its own terminals: open means the motor, whole means the board"}
	if !f.line {
		deaf.Like = []result.Cause{result.Wiring, result.Mechanical}
		deaf.Next = "measure the signal at the unit's own pin while the bench commands: low level, high level, frequency and duty; where it is there, the motor's resistance at its terminals tells motor from board"
	}
	deaf.Apart = deaf.Next
	noVoice := weigh.Mode{Name: "no position", Cause: result.ControlBoard, States: []string{blind}, Prior: weigh.Often,
		Seen: "no position comes out of it, wherever it is sent", Disproof: "a position at its own pins",
		Like: []result.Cause{result.Wiring}, Next: "measure the position's voltage at the unit's own pins: there means the wire, none means track or board"}
	noVoice.Apart = noVoice.Next
	if f.drives {
		noVoice.Reuse = []string{drivePart}
	}
	return []weigh.Mode{
		dead,
		{Name: "no supply at the unit", Cause: result.Wiring, States: []string{silent}, Prior: weigh.Seldom, Looks: against(f.charged),
			Like: []result.Cause{result.ControlBoard}, Apart: atThePins, Seen: "it takes no current", Disproof: "supply at the unit's own pins", Next: atThePins},
		{Name: "no supply", Cause: result.Wiring, States: []string{unpowered}, Prior: weigh.Often,
			Seen: "no supply came to the plug", Disproof: "supply at the plug", Next: "check fuse, switch and leads up to the plug", Like: []result.Cause{result.Bench}, Apart: "check fuse, switch and leads up to the plug"},
		{Name: "supply off", Cause: result.Bench, States: []string{unpowered}, Prior: weigh.Often, Like: []result.Cause{result.Wiring}, Apart: "check that the bench supply is on and set",
			Seen: "no supply came to the plug", Disproof: "supply at the plug", Next: "check that the bench supply is on and set"},
		{Name: "short", Cause: result.ControlBoard, States: []string{shorted}, Prior: weigh.Often,
			Seen: "it takes far more current than it may", Disproof: "the same current with the unit's plug off", Like: []result.Cause{result.Wiring},
			Next: "take the plug off and switch on again: still too much means the wiring", Apart: "take the plug off and switch on again: still too much means the wiring", Reuse: []string{drivePart}},
		{Name: "short in the wires", Cause: result.Wiring, States: []string{shorted}, Prior: weigh.Seldom,
			Like: []result.Cause{result.ControlBoard}, Apart: "take the plug off and switch on again: still too much means the wiring", Seen: "far too much current flows", Disproof: "none with the unit's plug off", Next: "take the plug off and switch on again: still too much means the wiring"},
		{Name: "leads at their worst", Cause: result.Wiring, States: []string{sagged}, Prior: weigh.Often, Looks: d.clamp(false),
			Seen: "the voltage at the plug falls too low under load", Disproof: "a steady voltage at the bench end of the leads with the same fall at the unit", Next: "measure the voltage at the supply and at the unit's pins while it moves: a fall between them means the leads, one at the supply its current limit"},
		{Name: "supply at its limit", Cause: result.Bench, States: []string{sagged}, Prior: weigh.Often, Looks: d.clamp(true),
			Seen: "the voltage at the plug falls too low under load", Disproof: "the bench supply's limit well above what the unit takes", Next: "set the supply's current limit to the profile's peak or more, and repeat"},
		{Name: "takes too much", Cause: result.ControlBoard, States: []string{sagged}, Prior: weigh.Rarely, Looks: d.modest,
			Seen: "it takes so much that the supply gives way", Disproof: "good units' current at the same supply", Next: "repeat with a stronger supply"},
		deaf,
		{Name: "motor open", Cause: result.Mechanical, States: []string{still}, Prior: weigh.Seldom,
			Like: []result.Cause{result.ControlBoard}, Apart: deaf.Next, Seen: "it takes its quiet current and none for the motor", Disproof: "a whole motor at its terminals", Next: deaf.Next, Reuse: []string{boardPart}},
		{Name: "signal wire", Cause: result.Wiring, States: []string{still}, Prior: weigh.Seldom, Looks: against(f.line),
			Like: []result.Cause{result.ControlBoard}, Apart: deaf.Next, Seen: "no command gets to it", Disproof: "the signal at its own pin", Next: deaf.Next},
		noVoice,
		{Name: "position wire", Cause: result.Wiring, States: []string{blind}, Prior: weigh.Seldom,
			Like: []result.Cause{result.ControlBoard}, Apart: noVoice.Next, Seen: "no position gets to the bench", Disproof: "none at its own pins either", Next: noVoice.Next},
		{Name: "jammed", Cause: result.Mechanical, States: []string{pushing}, Prior: weigh.Often, Looks: d.pushesHard(true),
			Seen: "the motor pushes with all that the board gives it, and nothing moves", Disproof: "a lever that is seen to move", Next: "with the supply off, turn the lever by hand: tight means the mechanics; free, look into the gear", Reuse: []string{boardPart}},
		{Name: "gear stripped", Cause: result.Mechanical, States: []string{pushing}, Prior: weigh.Seldom, Looks: d.pushesHard(false),
			Seen: "the motor turns and carries nothing", Disproof: "a lever that is seen to move", Next: "with the supply off, turn the lever by hand: free, with nothing turning behind it, means the gear", Reuse: []string{boardPart}},
		{Name: "track frozen", Cause: result.ControlBoard, States: []string{pushing}, Prior: weigh.Rarely,
			Seen: "the motor works and the position does not change", Disproof: "a lever that stands still", Next: "watch the lever while it is commanded: if it moves, the track has lost its way; if it stands, the mechanics", Reuse: []string{drivePart}},
	}
}
