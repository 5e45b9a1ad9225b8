package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dutybench/bench/plot"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

const timeForm = "2006-01-02 15:04:05 UTC"

func at(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(timeForm)
}

// about is who reports what was done where and when, and who answers for it.
func (c *content) about() []Fact {
	rec := c.Record
	where := fmt.Sprintf("%s; rig %s of bench %s", orNot(rec.Workshop.Address, "place not stated"), orNot(rec.Rig.Name, "not stated"), rec.ID.Bench)
	if c.in.Simulated {
		where += "; simulated, no real unit was there"
	}
	return []Fact{
		{"Report number", c.number()}, {"Issued", at(c.Issued)},
		fact("Workshop", rec.Workshop.Name), fact("Address", rec.Workshop.Address),
		fact("Contact", rec.Workshop.Contact), {"Tested at", where},
		fact("Tested on", at(rec.When)), fact("Tested by", rec.At.Operator),
		fact("Authorised by", rec.At.AuthorisedBy), fact("Received on", rec.At.Received),
		fact("Made with", c.Program), {"History", c.history()},
	}
}

// history is how often this serial was tested in the store.
func (c *content) history() string {
	n := c.Record.At.Attempt
	switch {
	case n == 1:
		return "first test of this serial in this store"
	case n > 1:
		return fmt.Sprintf("test number %d of this serial in this store; %d came before", n, n-1)
	}
	return "tests of this serial were not counted"
}

// item is the description, identity and condition of what was tested.
func (c *content) item() []Fact {
	at := c.Record.At
	out := []Fact{fact("Serial", at.Unit), fact("Kind", c.r.Kind), fact("Part number", at.PartNumber), fact("Revision", at.Revision),
		fact("Date code", at.DateCode), fact("Seal number", at.Seal), fact("Received by", at.ReceivedBy),
		fact("Opened by", at.OpenedBy), fact("Returned by", at.ReturnedBy)}
	out = append(out, told(Fact{"Lot", at.Lot})...)
	if c.r.Inspection == nil {
		out = append(out, Fact{"Condition", "nobody was asked to inspect it"})
	}
	return append(out, told(Fact{"Notes", at.Notes})...)
}

// customer is what was told by who sent the item in.
func (c *content) customer() []Fact {
	at := c.Record.At
	num := func(p *float64, unit string) string {
		if p == nil || math.IsNaN(*p) || math.IsInf(*p, 0) {
			return ""
		}
		return plot.Short(*p, 9) + " " + unit
	}
	return []Fact{fact("Customer", at.Customer), fact("How to reach the customer", at.CustomerContact), fact("Claim number", at.Claim), fact("Order number", at.Order),
		fact("Complaint", at.Complaint), fact("Hours run", num(at.Hours_h, "h")), fact("Distance run", num(at.Distance_km, "km")),
		fact("Opened before", at.PriorOpening)}
}

// method is how it was tested and against what.
func (c *content) method() []Fact {
	rec := c.Record
	profile := "none"
	if rec.Profile.Name != "" {
		profile = fmt.Sprintf("%s, revision %d", plot.Plain(rec.Profile.Name), rec.Profile.Revision)
	}
	purpose := purposeWord(rec.Purpose)
	if c.r.Risk != nil && c.r.Risk.Purpose != "" {
		purpose = purposeWord(c.r.Risk.Purpose)
	}
	steps := "not determined, as the test was not judged"
	if c.judged {
		steps = stepWords(c.r.Curve)
	}
	out := []Fact{
		{"Method", "supply current at the unit's terminals against the commanded duty, step by step after the plan of the profile, and over time at start-up"},
		{"Steps taken", steps},
		{"Profile", profile}, fact("SHA-256 of the profile", rec.Profile.SHA256),
	}
	if p := c.Profile; p != nil && p.Learned.Units > 0 {
		s := fmt.Sprintf("learned from %d good units", p.Learned.Units)
		if p.Learned.On != "" {
			s += " on " + plot.Plain(p.Learned.On)
		}
		out = append(out, Fact{"Limits", s})
	}
	return append(out, fact("Purpose", purpose), fact("Program of the test", rec.Program), Fact{"Sampling of items", "none: the one item named was tested"})
}

// stepWords is which duties were held, from the plateaus found.
func stepWords(curve []result.Point) string {
	var out []string
	for _, direction := range []string{"up", "down"} {
		s := sweep(curve, direction)
		if len(s) == 0 {
			continue
		}
		low, high := plot.Short(s[0].Duty, 4), plot.Short(s[len(s)-1].Duty, 4)
		if direction == "down" {
			low, high = high, low
		}
		if low == high {
			out = append(out, fmt.Sprintf("%s to %s %%", direction, high))
			continue
		}
		out = append(out, fmt.Sprintf("%s from %s to %s %% in %d", direction, low, high, len(s)))
	}
	return orNot(strings.Join(out, "; "), "no settled step was found")
}

// conditions are those that bear on the results.
func (c *content) conditions() []Fact {
	at := c.Record.At
	temperature := ""
	if at.Temperature_C != nil {
		temperature = plot.Fixed(*at.Temperature_C, 1) + " °C, by the bench's sensor"
	}
	primed := "not stated"
	if at.Primed {
		primed = "operator says primed, bled and open"
	}
	out := []Fact{fact("Fixture", at.Fixture)}
	if c.Wet || at.Primed || at.Fluid != "" {
		out = append(out, fact("Fluid", at.Fluid))
	}
	out = append(out, fact("Filling", at.Filling), fact("Temperature", temperature))
	if c.Wet || at.Primed {
		out = append(out, Fact{"Loop", primed})
	}
	return append(out, fact("Supply at the unit", supplyWords(c.in.Trace)))
}

// supplyWords is the range of the supply while it was on, but for the
// hundredths at both ends: switching is no condition.
func supplyWords(t *trace.Trace) string {
	if t == nil {
		return ""
	}
	v, on := t.Values(trace.ColSupply), t.Values(trace.ColSupplyOn)
	var held []float64
	for i, x := range v {
		if (i >= len(on) || on[i] > 0) && !math.IsNaN(x) && !math.IsInf(x, 0) {
			held = append(held, x)
		}
	}
	if len(held) == 0 {
		return ""
	}
	slices.Sort(held)
	low, high := plot.Short(held[len(held)/100], 3), plot.Short(held[len(held)-1-len(held)/100], 3)
	if low == high {
		return low + " V"
	}
	return low + " to " + high + " V"
}
