// Package flow reads a flow meter that gives pulses: a turbine or oval wheel
// with a magnet, whose count in a litre its data sheet states.
//
// # From the times of edges
//
// Pulses are not counted over a gate: at 2 l/min and 450 pulses a litre a gate
// of one second holds 15 ± 1, which is 7 %. Between edges whose times are
// known the flow is pulses/(K·time), to the jitter of two times. So each
// reading is taken over the edges of the last second, or where they are rarer,
// over the last period.
//
// While the next edge is late, the flow can be no more than one pulse in the
// time since the last: the reading falls with it, and after four of the last
// periods (chosen) it is zero, with what could still flow unseen as its
// uncertainty.
//
// # What is no pulse, and what was one
//
// An edge sooner after the last than half the period of the highest flow is a
// bounce. One edge too many between two, or a gap of several periods between
// edges that keep their time before and after it, is noise or a lost pulse,
// for no wheel with water in it speeds up and slows down within one pulse: it
// is put right and counted. Periods may differ by a quarter, as vanes and
// magnets are not quite even (chosen); a wheel that is worse, with few
// magnets, would count as losing pulses.
//
// # Uncertainty
//
// Standard uncertainty (GUM 4.2, 4.3, 5.1.2): of the meter's constant, from the
// times' jitter, and from the scatter of the periods, taken as if they were
// independent: an uneven wheel comes out worse than it is. A meter below its
// range turns too slowly or stands; that is not known here.
package flow
