package main

import (
	"time"

	"dutybench/bench/record"
	"dutybench/bench/result"
)

// entryObject is a record in a list, as scripts get it.
type entryObject struct {
	Record        string               `json:"record"`
	When          time.Time            `json:"when"`
	ClockDoubt    string               `json:"clock_doubt,omitempty"`
	Unit          string               `json:"unit"`
	Kind          string               `json:"kind"`
	Verdict       result.Verdict       `json:"verdict,omitempty"` // none: not judged
	Cause         *result.Cause        `json:"cause"`
	Interrupted   bool                 `json:"interrupted"`
	Cancelled     bool                 `json:"cancelled"`
	Purpose       string               `json:"purpose"`
	Profile       result.Profile       `json:"profile"`
	Rig           string               `json:"rig"`
	Simulated     bool                 `json:"simulated"`
	Calibration   string               `json:"calibration"`
	Program       string               `json:"program"`
	Circumstances record.Circumstances `json:"circumstances"`
	SHA256        string               `json:"sha256"` // of its record.json
}

func entryObjectOf(e *record.Entry) entryObject {
	o := entryObject{
		Record: e.ID.String(), When: e.When, ClockDoubt: e.ClockDoubt, Unit: e.At.Unit, Kind: e.At.Kind, Verdict: e.Verdict,
		Interrupted: e.Interrupted, Cancelled: e.Cancelled, Purpose: e.Purpose,
		Profile: result.Profile{Name: e.Profile.Name, Revision: e.Profile.Revision, SHA256: e.Profile.SHA256},
		Rig:     e.Rig.Name, Simulated: simulated(e.Rig), Calibration: e.Calibration, Program: e.Program, Circumstances: e.At, SHA256: e.Hash,
	}
	if e.Cause != "" {
		o.Cause = &e.Cause
	}
	return o
}
