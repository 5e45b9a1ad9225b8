// Package record says what a test was: its trace, findings and verdict with
// their circumstances, so that another party can check them later; and what a
// store of such records does. How they are kept is package store's.
//
// A record is its record.json and what that vouches for by hash: the trace as
// CSV, the result's JSON, the profile's text, and files such as photos.
// record.json has one form only, so that its bytes are its content: changing a
// blank in it is a change. Each holds the hash of the one before, and all of a
// bench are the leaves of its log (package ledger), whose head the bench signs.
package record

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"dutybench/bench/result"
)

// Format is the version of the form in which records are written. Format 1,
// of the store of folders, is read too: it lacks what came later.
const Format = 2

// ID names a record for good: the bench that made it and its number there.
type ID struct {
	Bench string // the bench's key
	Seq   int    // from 1, without gaps
}

// String is the form for people and files, such as "k3v7q2m9xw-000012".
func (id ID) String() string { return fmt.Sprintf("%s-%06d", id.Bench, id.Seq) }

// ParseID reads what String writes; a number alone is the record of that
// number on the bench at hand.
func ParseID(s string) (ID, error) {
	bench, number, ok := strings.Cut(s, "-")
	if !ok {
		bench, number = "", s
	}
	seq, err := strconv.Atoi(number)
	if err != nil || seq < 1 || seq > maxSeq || ok && !IsKey(bench) || strings.HasPrefix(number, "+") {
		return ID{}, fmt.Errorf("record: %q is no record's name; write it as listed, such as k3v7q2m9xw-000012, or its number alone", s)
	}
	return ID{Bench: bench, Seq: seq}, nil
}

// Record is one test, kept.
type Record struct {
	// ID, Hash and Previous are given by the store.
	ID       ID
	Hash     string // of the content: sha256 over record.json, hex
	Previous string // hash of the record before; empty for the first

	When time.Time // by this machine's wall clock
	// ClockDoubt says why the wall clock may have been wrong; empty when
	// nothing speaks against it. The store adds what it sees.
	ClockDoubt  string
	Purpose     string // such as "incoming", "learning", "repeat"
	Program     string // name and version
	Rig         Rig
	Calibration string // which calibration the readings stand on; empty: none
	Profile     Profile
	At          Circumstances
	Workshop    Workshop
	// Interrupted says that the test was under way when the program or its
	// machine stopped: the trace is what was on the disk by then.
	Interrupted bool
	// Cancelled says that a person, or the system, ended the test.
	Cancelled bool
	// Files are what belongs to the test beside its trace, such as rig file,
	// calibration and photos, as they were.
	Files []File

	Trace []byte // CSV
	// Result is the result's JSON object; nil when the test was not judged.
	// It does not hold the record's own name, which is not known before.
	Result []byte
}

// Rig is what the test ran on.
type Rig struct {
	Name string `json:"name"`
	// Simulated says that no real unit was on the bench. Records from before
	// it was kept do not hold it: there the name alone says so.
	Simulated bool   `json:"simulated,omitempty"`
	Facts     []Fact `json:"facts"`
}

// Fact is one line of a rig's description.
type Fact struct {
	Key   string `json:"key"`
	Value string `json:"value"`
}

// Profile is what the unit was judged against, as it was on that day.
type Profile struct {
	Name     string
	Revision int
	SHA256   string // of Text
	Text     []byte // the file's bytes; nil when there was no profile
}

// Circumstances are what the person at the bench said.
type Circumstances struct {
	Unit          string   `json:"unit"` // serial
	Kind          string   `json:"kind"`
	Operator      string   `json:"operator"`
	Fixture       string   `json:"fixture"`
	Fluid         string   `json:"fluid"`
	Temperature_C *float64 `json:"temperature_C"` // nil: not known
	Primed        bool     `json:"primed"`        // the operator's word
	Notes         string   `json:"notes"`
	// What the label and the job card say; empty or nil: not told.
	PartNumber  string   `json:"part_number,omitempty"`
	Revision    string   `json:"revision,omitempty"`
	DateCode    string   `json:"date_code,omitempty"`
	Hours_h     *float64 `json:"hours_h,omitempty"`
	Distance_km *float64 `json:"distance_km,omitempty"`
	Complaint   string   `json:"complaint,omitempty"`
	Claim       string   `json:"claim,omitempty"` // claim number
	Order       string   `json:"order,omitempty"` // job or order number
	Customer    string   `json:"customer,omitempty"`
	// CustomerContact is how to reach the customer.
	CustomerContact string `json:"customer_contact,omitempty"`
	Seal            string `json:"seal,omitempty"` // seal number
	// PriorOpening says who had the unit open before, or that nobody had.
	PriorOpening string `json:"prior_opening,omitempty"`
	ReceivedBy   string `json:"received_by,omitempty"`
	Received     string `json:"received,omitempty"` // date, as 2026-11-26
	OpenedBy     string `json:"opened_by,omitempty"`
	ReturnedBy   string `json:"returned_by,omitempty"`
	AuthorisedBy string `json:"authorised_by,omitempty"` // who answers for the report
	// Attempt counts the tests of this serial in this store, from 1; 0 in
	// records from before it was kept.
	Attempt int    `json:"attempt,omitempty"`
	Lot     string `json:"lot,omitempty"`     // the lot of cores it came with
	Filling string `json:"filling,omitempty"` // which filling of the loop
	// Inspection is what the person saw and felt, point by point; nil when
	// nobody was asked.
	Inspection []result.Answer `json:"inspection,omitempty"`
}

// Workshop is who answers for the test; every report names it.
type Workshop struct {
	Name    string `json:"name,omitempty"`
	Address string `json:"address,omitempty"`
	Contact string `json:"contact,omitempty"`
}

// File is something kept with a test.
type File struct {
	Name string // a plain file name, such as "rig.toml" or "photo-1.jpg"
	Data []byte
}

// Names of the files that the program itself keeps. Photos are PhotoPrefix, a
// number from 1, and .jpg or .png.
const (
	RigFile         = "rig.toml"
	CalibrationFile = "calibration.toml"
	PhotoPrefix     = "photo-"
)

// NoCalibration is what a record says when there is none.
const NoCalibration = "none: readings stand on the data sheets' figures"

// body is record.json. Its order is part of the format.
type body struct {
	Format      int           `json:"format"`
	Bench       string        `json:"bench"`
	Seq         int           `json:"seq"`
	Previous    string        `json:"previous"`
	When        time.Time     `json:"when"`
	ClockDoubt  string        `json:"clock_doubt"`
	Purpose     string        `json:"purpose"`
	Program     string        `json:"program"`
	Rig         Rig           `json:"rig"`
	Calibration string        `json:"calibration"`
	Profile     bodyProfile   `json:"profile"`
	At          Circumstances `json:"circumstances"`
	Workshop    *Workshop     `json:"workshop,omitempty"` // nil: none was told
	Interrupted bool          `json:"interrupted,omitempty"`
	Cancelled   bool          `json:"cancelled,omitempty"`
	Verdict     string        `json:"verdict"`
	Cause       string        `json:"cause"`
	Trace       string        `json:"trace_sha256"`
	Result      string        `json:"result_sha256"`
	Files       []bodyFiles   `json:"files,omitempty"`
}

// bodyFiles is one of a record's files, in record.json.
type bodyFiles struct {
	Name   string `json:"name"`
	Bytes  int    `json:"bytes"`
	SHA256 string `json:"sha256"`
}

type bodyProfile struct {
	Name     string `json:"name"`
	Revision int    `json:"revision"`
	SHA256   string `json:"sha256"`
}

// Damage is one thing that is wrong with a store.
type Damage struct {
	// Record names the record, or the file where it is about none.
	Record  string
	Problem string // a clause: what is wrong with it
}

func (d Damage) String() string { return d.Record + ": " + d.Problem }

// verdictOf reads what a list needs from a result's JSON.
func verdictOf(data []byte) (verdict, cause string, err error) {
	if data == nil {
		return "", "", nil
	}
	var r result.Result
	if err := json.Unmarshal(data, &r); err != nil {
		return "", "", fmt.Errorf("record: the result is no result's JSON object: %w", err)
	}
	if r.Cause != nil {
		cause = string(*r.Cause)
	}
	return string(r.Verdict), cause, nil
}
