// Package stat holds the numbers behind a verdict: a quantity with its
// uncertainty budget (JCGM 100), means of correlated samples, fits, tolerance
// intervals and rates with their intervals. It knows nothing of traces,
// profiles or units.
package stat
