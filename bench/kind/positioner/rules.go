package positioner

import "dutybench/bench/kind/weigh"

// rules say how each measurement is held. Floors are what a bench cannot hold
// equal from one test to the next: for positions a step of a 12-bit converter
// behind the divider of 36 V (0.2 % of a span of 4 V, so 0.06 % standard, and
// twice that for two readings), for times the pitch of the position, 5 ms, and
// for currents a step of its converter; friction comes back to two per cent, as
// grease does not lie the same twice (common practice, no source).
//
// Some numbers have a few values only, and good units that agree by chance tell
// nothing of their spread. Their floors are one whole such step: of the dead band
// the small step of the command; of settling one nudge more, which a board that
// ended just beside its band makes and which takes about as long as an answer; of
// pushing the time over which motion is looked for, twice where it presses on a
// stop, as there a nudge may be on both sides of it.
var rules = []weigh.Rule{
	{Name: Quiet, Unit: "A", About: "supply current of the board alone, the unit standing", Log: true, Low: true, High: true, Share: 0.01, Core: true},
	{Name: Holding, Unit: "A", About: "standing away from the ends, above quiet: what holds a spring", Low: true, High: true, Floor: 0.001, Share: 0.02},
	{Name: MovingUp, Unit: "A", About: "moving upwards, above quiet", Log: true, Low: true, High: true, Share: 0.02, Core: true},
	{Name: MovingDown, Unit: "A", About: "moving downwards, above quiet", Log: true, Low: true, High: true, Share: 0.02, Core: true},
	{Name: StopCurrent, Unit: "A", About: "pushing without motion, above quiet: what the board gives at most", Log: true, Low: true, High: true, Share: 0.02},
	{Name: LowEnd, Unit: "%", About: "place at the lowest command", Low: true, High: true, Floor: 0.12},
	{Name: HighEnd, Unit: "%", About: "place at the highest command", Low: true, High: true, Floor: 0.12},
	{Name: Travel, Unit: "%", About: "from the one end to the other", Low: true, High: true, Floor: 0.17, Core: true},
	{Name: Gain, Unit: "%", About: "places reached over places asked for, slope", Low: true, High: true, Floor: 0.2, Core: true},
	{Name: Offset, Unit: "%", About: "place reached in the middle, less what was asked for", Low: true, High: true, Floor: 0.12},
	{Name: Linearity, Unit: "%", About: "farthest place from a straight line", High: true, Floor: 0.12},
	{Name: Hysteresis, Unit: "%", About: "place reached from above less that reached from below", Low: true, High: true, Floor: 0.12, Core: true},
	{Name: DeadBand, Unit: "%", About: "change of the command, turned round, that it does not answer", High: true, Floor: smallest},
	{Name: SpeedUp, Unit: "%/s", About: "speed upwards in the middle of a long way", Log: true, Low: true, High: true, Share: 0.01, Core: true},
	{Name: SpeedDown, Unit: "%/s", About: "speed downwards in the middle of a long way", Log: true, Low: true, High: true, Share: 0.01, Core: true},
	{Name: Response, Unit: "s", About: "from the command until it moves on", High: true, Floor: 0.003, Core: true},
	{Name: ReversalDelay, Unit: "s", About: "by how much later it moves when it turns round: play", High: true, Floor: 0.004},
	{Name: Overshoot, Unit: "%", About: "beyond where it ends", High: true, Floor: 0.15},
	{Name: Settling, Unit: "s", About: "from a command until it stays where it ends, beside the time for the way", High: true, Floor: nudge_s},
	{Name: StrokeBinding, Unit: "A", About: "current at one place above that along the way", High: true, Floor: 0.001},
	{Name: StepWork, Unit: "%", About: "charge of one slow step above that of the others: the worst of many, whose tail is a long one", Log: true, High: true, Share: 0.1},
	{Name: SlowPlace, Unit: "%", About: "speed at the slowest place of a long way, over that along it", Low: true, Floor: 3},
	{Name: IdlePush, Unit: "s", About: "longest current without motion, away from the ends", High: true, Floor: window_s},
	{Name: PressLow, Unit: "s", About: "longest current without motion at the lowest commands", Low: true, Floor: 2 * window_s},
	{Name: PressHigh, Unit: "s", About: "longest current without motion at the highest commands", Low: true, Floor: 2 * window_s},
	{Name: Noise, Unit: "%", About: "scatter of the position while it stands", High: true, Floor: 0.03, Core: true},
	{Name: TrackNoise, Unit: "%", About: "scatter of the position at its worst place", High: true, Floor: 0.05},
	{Name: Jumps, Unit: "", About: "readings of the position farther from the last than it can have gone", Count: true, High: true, Never: true},
	{Name: Creep, Unit: "%", About: "motion without a command and without current", High: true, Floor: 0.08},
	{Name: SupplyDrop, Unit: "ohm", About: "drop in the supply leads, per ampere", High: true, Floor: 0.02, Home: true},
	{Name: SupplyFold, Unit: "V", About: "voltage at the plug below what its leads explain", High: true, Floor: 0.03},
}

const (
	smallest = 0.5  // %: what the plan's small steps ask for
	nudge_s  = 0.05 // boards answer in some hundredths of a second (common practice, no source)
)
