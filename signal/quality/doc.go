// Package quality holds what tells whether a measuring bench is well: the
// individuals and moving-range chart, the exponentially weighted moving average
// (EWMA) with the run lengths that its setting costs, gauge studies (crossed
// and nested analysis of variance with components), and capability. It knows
// nothing of records or units.
//
// No run rules are taken: each adds false alarms of its own (e-Handbook
// 6.3.2: all four of them together signal once in 92 points of a process in
// control, against once in 371), and the EWMA sees the same drifts.
//
// e-Handbook stands for the NIST/SEMATECH e-Handbook of Statistical Methods,
// MSA for the AIAG's Measurement Systems Analysis, 4th edition.
package quality
