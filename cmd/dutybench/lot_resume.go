package main

import (
	"fmt"
	"strconv"

	"dutybench/bench/lot"
	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/rig"
)

// Facts that hold a lot's settings in each of its records, so that it goes on
// without another file.
const (
	factProfile   = record.LotFact + "profile"
	factRig       = record.LotFact + "rig file"
	factSimulate  = record.LotFact + "simulated board"
	factTries     = record.LotFact + "undecided until doubtful"
	factFaults    = record.LotFact + "simulated faults in turn"
	factSeed      = record.LotFact + "first simulated unit"
	factComplaint = record.LotFact + "complaint of all"
	factRevision  = record.LotFact + "revision of all"
	factCode      = record.LotFact + "date code of all"
	factPrimed    = record.LotFact + "primed for all"
	factFull      = record.LotFact + "whole plan"
)

// facts are the settings as a record keeps them.
func (f *lotFlags) facts() []record.Fact {
	var out []record.Fact
	add := func(key, value string) {
		if value != "" {
			out = append(out, record.Fact{Key: key, Value: value})
		}
	}
	yes := func(key string, b bool) {
		if b {
			add(key, "yes")
		}
	}
	add(factProfile, f.profile)
	add(factRig, f.rig)
	yes(factSimulate, f.simulate)
	add(factTries, strconv.Itoa(f.tries))
	add(factFaults, f.faults)
	if f.rig == rig.Sim || f.simulate {
		add(factSeed, strconv.FormatUint(f.seed, 10))
	}
	add(factComplaint, f.complaint)
	add(factRevision, f.revision)
	add(factCode, f.code)
	yes(factPrimed, f.primed)
	yes(factFull, f.full)
	return out
}

// resume takes what the person did not give from the lot's last record. The
// inspection is not among it: what was seen on one unit is not seen on others.
func (f *lotFlags) resume(last *lot.Test) error {
	text := func(flag, value string, to *string) {
		if !f.explicit(flag) && value != "" {
			*to = value
		}
	}
	was := map[string]string{}
	for _, x := range last.Rig.Facts {
		was[x.Key] = x.Value
	}
	text("profile", last.Profile.Name, &f.profile)
	text("profile", was[factProfile], &f.profile)
	text("rig", was[factRig], &f.rig)
	text("fault", was[factFaults], &f.faults)
	text("complaint", was[factComplaint], &f.complaint)
	text("revision", was[factRevision], &f.revision)
	text("date-code", was[factCode], &f.code)
	text("part-number", last.At.PartNumber, &f.number)
	text("customer", last.At.Customer, &f.customer)
	text("customer-contact", last.At.CustomerContact, &f.contact)
	text("order", last.At.Order, &f.order)
	text("operator", last.At.Operator, &f.operator)
	text("fixture", last.At.Fixture, &f.fixture)
	text("fluid", last.At.Fluid, &f.fluid)
	text("filling", last.At.Filling, &f.filling)
	if _, err := purposeOf(last.Purpose); err == nil {
		text("purpose", last.Purpose, &f.purpose)
	}
	for _, x := range []struct {
		flag, key string
		to        *bool
	}{{"simulate", factSimulate, &f.simulate}, {"primed", factPrimed, &f.primed}, {"full", factFull, &f.full}} {
		if !f.explicit(x.flag) && was[x.key] == "yes" {
			*x.to = true
		}
	}
	if n, err := strconv.Atoi(was[factTries]); err == nil && !f.explicit("tries") {
		f.tries = min(max(n, 1), lot.MaxTries)
	}
	if n, err := strconv.ParseUint(was[factSeed], 10, 64); err == nil && !f.explicit("seed") {
		f.seed = n
	}
	p, _, err := loadProfile(f.profile)
	switch {
	case err != nil && !f.explicit("profile"):
		return fmt.Errorf("the lot was tested with profile %s, which is not there now: give it with --profile: %w", plot.Plain(f.profile), err)
	case err != nil:
		return err
	case last.Profile.Name != "" && p.Name != last.Profile.Name:
		return usage("the lot was tested with profile %s, and a lot has one: give %s a lot of its own", plot.Plain(last.Profile.Name), plot.Plain(p.Name))
	case last.Profile.SHA256 != "" && p.SHA256 != last.Profile.SHA256 && !f.explicit("profile"):
		return fmt.Errorf("profile %s is now revision %d, and no longer the one that the lot was tested with; give --profile %s to go on with it all the same, and the summary will say so", plot.Plain(p.Name), p.Revision, plot.Plain(f.profile))
	}
	return nil
}

// triesOf is a lot's rule by its last record.
func triesOf(last *lot.Test) int {
	for _, x := range last.Rig.Facts {
		if n, err := strconv.Atoi(x.Value); x.Key == factTries && err == nil {
			return min(max(n, 1), lot.MaxTries)
		}
	}
	return lot.DefaultTries
}
