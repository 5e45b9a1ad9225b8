// Package commutator reads the speed of a brushed motor from the ripple that
// its commutator makes on the supply current, and what one turn looks like.
//
// Between two brushes the winding changes each time a brush passes from one
// segment to the next, PerTurn times a turn. The line of the ripple is looked for
// in blocks that may speed up or slow down (track.go), told from the lines of
// weak segments, which lie at whole multiples of the turn (choose.go, coarse.go), and
// held against what sampling may have folded (fold.go). A turn is then averaged with
// the ripple itself as the encoder (turn.go).
//
// A frequency above 0.4 of the sampling rate gives no speed, and one that could
// be the fold of another gives none either: folding turns a whole spectrum, with
// its harmonics and side bands, so nothing within one steady block can tell. What
// can is a bound on the speed, or how the line moves when the speed does.
package commutator
