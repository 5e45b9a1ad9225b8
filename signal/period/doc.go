// Package period takes means of a current that the bench itself switches, over
// whole periods of its PWM.
//
// A mean over other than whole periods is biased by the part of a period left
// over, and one of samples in step with the switch by where in the period they
// lie. What is done depends on how many samples lie in a period:
//
//   - Four or more: the current between samples is a straight line; it is
//     averaged over one period and that over whole periods. Weights so have a
//     double zero at the PWM and its harmonics, so that a frequency off by its
//     tolerance leaves the tolerance's share of what a part period would.
//   - Fewer, out of step with the sampling: the samples walk through the period
//     (beats); they are weighted by a raised cosine over the window, which
//     leaves nothing of beats shorter than half of it.
//   - Fewer, and in step or too near to it: the samples may all lie at one place
//     in the period. Then the ripple is not in them. With the most that physics
//     allow (Ripple_A of PWM) the mean is that uncertain; without, it is refused.
//
// Where the current that recirculates is not seen, the shunt shows the unit's
// current while the switch is closed and nought else. The unit's own mean then
// follows from what it shows while closed, in continuous conduction alone: where
// the current does not come to nought while the switch is open.
//
// The uncertainty that sampling leaves at a jump (Sampled of Means) is that of
// two edges each of which lies anywhere between two samples, a rectangular
// distribution (JCGM 100:2008, 4.3.7).
package period
