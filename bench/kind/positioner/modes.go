package positioner

import (
	"dutybench/bench/kind/weigh"
	"dutybench/bench/result"
)

// Parts that may be used again.
const (
	boardPart = "control board"
	drivePart = "motor and gear"
)

// What many modes may move beside their own.
var (
	late   = []string{Response, Settling, Overshoot, ReversalDelay, IdlePush, PressLow, PressHigh, DeadBand, Hysteresis}
	slower = append([]string{"-" + SpeedUp, "-" + SpeedDown}, late...)
	placed = []string{LowEnd, HighEnd, Travel, Gain, Offset, Linearity, Hysteresis, DeadBand, Overshoot, Settling}
	uneven = []string{SlowPlace, StepWork}
	track  = []string{Noise, TrackNoise, Jumps, Creep}
)

func join(lists ...[]string) (out []string) {
	for _, l := range lists {
		out = append(out, l...)
	}
	return out
}

const atThePins = "measure supply, ground and signal at the unit's own pins while it is commanded: missing there means the wiring"

// modes is what can be wrong with a positioner, for the facts of this test.
func (d *detail) modes(f facts) []weigh.Mode {
	return append(d.lame(f), d.lively(f)...)
}

// lively are those of a unit that moves.
func (d *detail) lively(f facts) []weigh.Mode {
	in := []string{ran, untold}
	whole := []string{boardPart}
	byHand := "with the supply off, turn the lever by hand over its whole way: tight or uneven means the mechanics"
	return []weigh.Mode{
		{Name: "bridge weak", Cause: result.ControlBoard, States: in, Prior: weigh.Often,
			Moves: map[string]float64{SpeedUp: -1, SpeedDown: -1}, Needs: []string{"-" + SpeedUp, "-" + SpeedDown, "-" + StopCurrent},
			Explains: join(slower, placed, []string{"-" + StopCurrent, "-" + MovingUp, "-" + MovingDown}),
			Seen:     "it is slow both ways, and takes no more current for it", Disproof: "the whole supply at the motor's terminals while it moves",
			Next: "measure the voltage at the motor's terminals while it moves: less than the supply means the board, all of it the motor", Reuse: []string{"gear"}},
		{Name: "motor worn", Cause: result.Mechanical, States: in, Prior: weigh.Seldom,
			Moves: map[string]float64{SpeedUp: -1, SpeedDown: -1}, Needs: []string{"-" + SpeedUp, "-" + SpeedDown, "-" + StopCurrent},
			Explains: join(slower, placed, []string{"-" + StopCurrent, "-" + MovingUp, "-" + MovingDown}),
			Seen:     "it is slow both ways, and takes no more current for it", Disproof: "less than the supply at the motor's terminals while it moves",
			Next: "measure the voltage at the motor's terminals while it moves: less than the supply means the board, all of it the motor", Reuse: whole},
		{Name: "current limit", Cause: result.ControlBoard, States: in, Prior: weigh.Rarely, Needs: []string{StopCurrent},
			Explains: join([]string{StopCurrent, PressLow, PressHigh, LowEnd, HighEnd, Travel, IdlePush}),
			Seen:     "the board gives the motor another current at most than it should", Disproof: "good units' current against a stop", Next: "test it again; where it stays, change the board", Reuse: []string{drivePart}},
		{Name: "binds all over", Cause: result.Mechanical, States: in, Prior: weigh.Often,
			Moves: map[string]float64{MovingUp: 1, MovingDown: 1}, Needs: []string{"+" + MovingUp, "+" + MovingDown},
			Explains: join(slower, placed, uneven, []string{StrokeBinding, StopCurrent, Creep, Holding, TrackNoise}), // it sticks and slips
			Seen:     "it takes more current along the whole way", Disproof: "a lever that turns as easily as a good unit's", Next: byHand, Reuse: whole},
		{Name: "free", Cause: result.Mechanical, States: in, Prior: weigh.Rarely,
			Moves: map[string]float64{MovingUp: -1, MovingDown: -1}, Needs: []string{"-" + MovingUp, "-" + MovingDown},
			Explains: join([]string{"+" + SpeedUp, "+" + SpeedDown, Overshoot, Settling, Holding, StepWork}),
			Seen:     "it takes less current along the whole way: something that it should move is not there", Disproof: "flap and spring in their place", Next: "look whether flap, lever and spring are in their place", Reuse: whole},
		{Name: "binds at a place", Cause: result.Mechanical, States: in, Prior: weigh.Often, Needs: []string{"+" + StrokeBinding, "+" + StepWork},
			Explains: join(slower, placed, uneven, []string{"+" + StrokeBinding, "+" + MovingUp, "+" + MovingDown, Creep, StopCurrent}),
			Looks:    func(t *weigh.Table) float64 { return d.broad(t) + d.holdsUp(t, true) },
			Seen:     "it takes more current at one place of its way", Disproof: "the same current there as elsewhere", Next: byHand, Reuse: whole},
		{Name: "way obstructed", Cause: result.Mechanical, States: in, Prior: weigh.Often, Needs: []string{"-" + HighEnd, "+" + LowEnd, "-" + Travel},
			// In the middle of what way is left it is as quick as ever.
			Explains: join(late, placed, uneven, []string{StrokeBinding, StopCurrent, MovingUp, MovingDown, Creep, Holding}),
			Looks:    func(t *weigh.Table) float64 { return shifted(t, false) },
			Seen:     "it stops before it has gone the whole way", Disproof: "the whole way by hand", Next: "look for what stands in its way, and " + byHand, Reuse: whole},
		{Name: "stop gone", Cause: result.Mechanical, States: in, Prior: weigh.Often, Needs: []string{"-" + LowEnd, "+" + HighEnd, "+" + Travel},
			Explains: join(placed, []string{PressLow, PressHigh, StopCurrent, Response, ReversalDelay, StepWork, Creep}),
			Looks:    func(t *weigh.Table) float64 { return shifted(t, false) },
			Seen:     "it goes farther than good units, which a stop ends", Disproof: "both stops whole", Next: "look at the stop at that end", Reuse: whole},
		{Name: "lever or track out of place", Cause: result.Mechanical, States: in, Prior: weigh.Seldom,
			Moves: map[string]float64{LowEnd: 1, HighEnd: 1}, Needs: []string{LowEnd, HighEnd},
			Explains: []string{PressLow, PressHigh, Offset, Linearity}, Looks: func(t *weigh.Table) float64 { return shifted(t, true) },
			Seen: "both ends lie off by the same", Disproof: "good units' marks on shaft and housing in line", Next: "compare the lever's place on its shaft with a good unit's: off means the lever, right means the track", Reuse: whole},
		{Name: "play", Cause: result.Mechanical, States: in, Prior: weigh.Often, Needs: []string{"+" + ReversalDelay},
			Explains: join(placed, []string{Response, IdlePush, StepWork, PressLow, PressHigh, Noise, Creep, StrokeBinding}),
			Seen:     "it turns round late: the motor takes up play first", Disproof: "a lever without play by hand", Next: "with the supply off, turn the lever by hand a little both ways: play means the gear", Reuse: whole},
		{Name: "gear skips", Cause: result.Mechanical, States: in, Prior: weigh.Often, Needs: []string{"-" + SlowPlace, "+" + Jumps},
			Explains: join(slower, placed, uneven, []string{Jumps, TrackNoise, Noise, Creep, Holding, StopCurrent, "-" + MovingUp, "-" + MovingDown, StrokeBinding, SpeedUp, SpeedDown}),
			Looks:    func(t *weigh.Table) float64 { return d.holdsUp(t, false) + d.comesBack() },
			Seen:     "at places the motor turns and the lever stands", Disproof: "whole teeth", Next: "open the gear and look at its teeth", Reuse: whole},
		{Name: "track worn", Cause: result.ControlBoard, States: in, Prior: weigh.Often, Needs: []string{"+" + TrackNoise, "+" + Jumps, "+" + Noise},
			Looks:    func(*weigh.Table) float64 { return d.staysAway() },
			Explains: join(slower, placed, track, uneven, []string{"-" + MovingUp, "-" + MovingDown, StrokeBinding, StopCurrent, Holding}),
			Seen:     "its position is unsteady or lost at a place", Disproof: "a steady reading of the track all along, turned by hand", Next: "with a meter across the track's wiper, turn the lever by hand: leaps at a place mean the track", Reuse: []string{drivePart}},
		{Name: "position wire loose", Cause: result.Wiring, States: in, Prior: weigh.Rarely, Needs: []string{"+" + Jumps},
			Explains: join(track, []string{Linearity, Settling, Overshoot}), Looks: func(*weigh.Table) float64 { return d.hunts() },
			Seen: "its position is lost now and then, and it does not mind", Disproof: "the same with the plug held still", Next: "move the plug and its wires while it stands: leaps mean the wiring"},
		{Name: "control loop", Cause: result.ControlBoard, States: in, Prior: weigh.Seldom, Needs: []string{DeadBand, Hysteresis, Offset, Gain, "+" + Linearity, "+" + Overshoot, "+" + Settling, "+" + Response},
			Explains: join(placed, []string{Response, ReversalDelay, Creep, PressLow, PressHigh, StepWork}),
			Seen:     "it does not end where it is told to, with drive and track good", Disproof: "places as good units reach them", Next: "test it again; where it stays, change the board", Reuse: []string{drivePart}},
		{Name: "board's own current", Cause: result.ControlBoard, States: in, Prior: weigh.Seldom, Needs: []string{Quiet},
			Seen: "its board takes another current than good ones", Disproof: "good units' quiet current", Next: "test it again; where it stays, change the board", Reuse: []string{drivePart}},
		{Name: "spring", Cause: result.Mechanical, States: in, Prior: weigh.Seldom, Needs: []string{Holding},
			Explains: join([]string{MovingUp, MovingDown, SpeedUp, SpeedDown, Creep, Settling, Overshoot, StepWork, StrokeBinding, Response, ReversalDelay, Hysteresis}),
			Seen:     "it holds against another spring than good units", Disproof: "a whole spring", Next: "look at the return spring", Reuse: whole},
		{Name: "answer to a lost command", Cause: result.ControlBoard, States: in, Prior: weigh.Seldom,
			Needs: []string{weigh.MissingCommand + "open", weigh.MissingCommand + "low", weigh.MissingCommand + "high"},
			Seen:  "without a command it does not do what it should", Disproof: "the same unit on another bench doing it", Next: "test it again; where it stays, change the board", Reuse: []string{drivePart}},
		{Name: "leads", Cause: result.Wiring, States: in, Prior: weigh.Often, Needs: []string{"+" + SupplyDrop, "+" + SupplyFold}, Looks: d.clamp(false),
			Explains: join(slower, placed, uneven, []string{SupplyFold, "-" + StopCurrent, MovingUp, MovingDown, StrokeBinding, Quiet, Holding}),
			Seen:     "the voltage at the plug falls with the current", Disproof: "a steady voltage at the unit's own pins", Next: "measure the drop over each lead and contact while it pushes"},
		{Name: "supply limit", Cause: result.Bench, States: in, Prior: weigh.Often, Needs: []string{"+" + SupplyFold, "+" + SupplyDrop}, Looks: d.clamp(true),
			Explains: join(slower, placed, uneven, []string{SupplyDrop, "-" + StopCurrent, MovingUp, MovingDown, StrokeBinding, Quiet, Holding}),
			Seen:     "the supply gives way at its current limit", Disproof: "the bench supply's limit well above what the unit takes", Next: "raise the supply's current limit to the profile's peak and repeat"},
	}
}
