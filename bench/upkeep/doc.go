// Package upkeep says from the records whether the bench itself is well: a
// check unit's charts, and gauge studies of refilling, remounting and
// repeating. It measures nothing; what it needs is in the results that were
// kept.
package upkeep
