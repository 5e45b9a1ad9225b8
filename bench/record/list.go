package record

import (
	"time"

	"dutybench/bench/result"
)

// Entry is a record in a list: all but its files.
type Entry struct {
	ID          ID
	Hash        string
	When        time.Time
	ClockDoubt  string
	Purpose     string
	Program     string
	Rig         Rig
	Calibration string
	Profile     Profile // without Text
	At          Circumstances
	Interrupted bool
	Cancelled   bool
	Verdict     result.Verdict // empty when not judged
	Cause       result.Cause   // empty when there is none
}

// Filter picks entries; its zero value picks all. Texts must be equal, but
// for the case of letters; an empty one takes all.
type Filter struct {
	Bench   string // key word of the bench
	Unit    string // serial
	Kind    string
	Profile string // name
	Verdict result.Verdict
	Cause   result.Cause
	Purpose string

	PartNumber, Revision, DateCode    string
	Complaint, Claim, Order, Customer string
	Seal, Lot, Operator, Rig          string
	// Person is who received, opened or returned the unit, or tested it.
	Person string
	// Words must stand somewhere in notes, complaint or prior opening.
	Words string
	// Interrupted takes only records of tests that broke off.
	Interrupted bool

	// Since and Before bound the time, where they are not zero.
	Since, Before time.Time
	// Newest turns the order: the newest first. Limit, when above 0, ends
	// after so many, and Skip passes over so many before.
	Newest      bool
	Limit, Skip int
}

// Count is how many records share something.
type Count struct {
	Verdict result.Verdict
	Cause   result.Cause
	N       int
}
