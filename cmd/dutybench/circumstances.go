package main

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"dutybench/bench/record"
)

// circumstanceFlags are what the label, the job card and the person at the
// bench say about a unit.
type circumstanceFlags struct {
	number, revision, part, code, complaint, claim, order, customer, seal string
	contact                                                               string // of the customer
	prior, receivedBy, received, openedBy, returnedBy, authorisedBy, lot  string
	hours, distance                                                       optional
	photos                                                                []string // paths
}

// add defines the flags.
func (f *circumstanceFlags) add(c *cobra.Command) {
	fl := c.Flags()
	fl.StringVar(&f.number, "part-number", "", "`NUMBER` of the part, as on its label")
	fl.StringVar(&f.revision, "revision", "", "`REVISION` of the part, as on its label")
	fl.StringVar(&f.part, "part-revision", "", "`REVISION` too, by its older name")
	fl.StringVar(&f.code, "date-code", "", "`CODE` of the date when it was made, as on its label")
	fl.Var(&f.hours, "hours", "`HOURS` that it ran")
	fl.Var(&f.distance, "distance-km", "`KM` that its vehicle ran")
	fl.StringVar(&f.complaint, "complaint", "", "`WORDS` of who sent it: what it is said to do")
	fl.StringVar(&f.claim, "claim", "", "`NUMBER` of the claim")
	fl.StringVar(&f.order, "order", "", "`NUMBER` of the job or order")
	fl.StringVar(&f.customer, "customer", "", "`NAME` of the customer")
	fl.StringVar(&f.contact, "customer-contact", "", "`WORDS` on how to reach the customer: address, telephone or the like")
	fl.StringVar(&f.seal, "seal", "", "`NUMBER` of the seal on it")
	fl.StringVar(&f.prior, "prior-opening", "", "`WORDS` on who had it open before, or that nobody had")
	fl.StringVar(&f.receivedBy, "received-by", "", "`NAME` of who received it")
	fl.StringVar(&f.received, "received", "", "`DATE` when it came in, such as 2026-11-26")
	fl.StringVar(&f.openedBy, "opened-by", "", "`NAME` of who opened it here")
	fl.StringVar(&f.returnedBy, "returned-by", "", "`NAME` of who sent or brought it back")
	fl.StringVar(&f.authorisedBy, "authorised-by", "", "`NAME` of who answers for the report")
	fl.StringVar(&f.lot, "lot", "", "`NAME` of the lot of cores that it came with")
	fl.StringArrayVar(&f.photos, "photo", nil, fmt.Sprintf("`FILE` of a photo, JPEG or PNG, kept with the record; up to %d times", mostPhotos))
}

// How long one of these texts may be, in characters: a paragraph, and a note
// of some pages.
const (
	longestText = 2000
	longestNote = 20_000
)

// check trims what scanners put behind a text, and refuses what is none.
func (f *circumstanceFlags) check() error {
	for flag, text := range map[string]*string{"part-number": &f.number, "revision": &f.revision, "part-revision": &f.part, "date-code": &f.code,
		"complaint": &f.complaint, "claim": &f.claim, "order": &f.order, "customer": &f.customer, "customer-contact": &f.contact, "seal": &f.seal, "prior-opening": &f.prior,
		"received-by": &f.receivedBy, "received": &f.received, "opened-by": &f.openedBy, "returned-by": &f.returnedBy,
		"authorised-by": &f.authorisedBy, "lot": &f.lot} {
		if err := trimText(flag, text); err != nil {
			return err
		}
	}
	if f.revision != "" && f.part != "" && f.revision != f.part {
		return usage("--revision %q and --part-revision %q are two names for one thing: give it once", f.revision, f.part)
	}
	f.revision = cmp.Or(f.revision, f.part)
	if f.received != "" {
		if _, err := time.Parse(time.DateOnly, f.received); err != nil {
			return usage("--received %q is no date: write year, month and day, such as 2026-11-26", f.received)
		}
	}
	return nil
}

// trimText cuts blanks at both ends of what a person or a scanner gave.
func trimText(flag string, text *string) error {
	*text = strings.TrimSpace(*text)
	most := longestText
	if flag == "note" {
		most = longestNote
	}
	switch {
	case !utf8.ValidString(*text):
		return usage("--%s holds bytes that are no text in UTF-8: type it again", flag)
	case utf8.RuneCountInString(*text) > most:
		return usage("--%s is %d characters long: %d are the most; shorten it", flag, utf8.RuneCountInString(*text), most)
	}
	return nil
}

// on puts the flags into a record's circumstances.
func (f *circumstanceFlags) on(at *record.Circumstances) {
	at.PartNumber, at.Revision, at.DateCode = f.number, f.revision, f.code
	at.Hours_h, at.Distance_km = f.hours.value, f.distance.value
	at.Complaint, at.Claim, at.Order, at.Customer, at.Seal = f.complaint, f.claim, f.order, f.customer, f.seal
	at.CustomerContact = f.contact
	at.PriorOpening, at.ReceivedBy, at.Received, at.OpenedBy = f.prior, f.receivedBy, f.received, f.openedBy
	at.ReturnedBy, at.AuthorisedBy, at.Lot = f.returnedBy, f.authorisedBy, f.lot
}

// optional is a flag for a number that may be left out: finite, not negative.
type optional struct{ value *float64 }

// mostNumber bounds it: a million hours or kilometres are more than any unit has.
const mostNumber = 1e7

// String is the number, empty for none.
func (o *optional) String() string {
	if o.value == nil {
		return ""
	}
	return strconv.FormatFloat(*o.value, 'f', -1, 64)
}

// Set reads it.
func (o *optional) Set(s string) error {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(v) || v < 0 || v > mostNumber {
		return fmt.Errorf("%q is no number from 0 to %.0f", s, mostNumber)
	}
	o.value = &v
	return nil
}

// Type is for the help.
func (o *optional) Type() string { return "number" }
