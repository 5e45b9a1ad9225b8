package main

import (
	"fmt"
	"strconv"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// aboutRecord is what a record holds beside its result, in lines.
func aboutRecord(rec *record.Record, head ledger.Head, proof error, width int) string {
	if width == 0 {
		width = textWidth
	}
	var b strings.Builder
	add := func(key, words string) {
		if words != "" {
			fill(&b, key, plot.Plain(words), recordColumn, width)
		}
	}
	b.WriteString("\n")
	for _, x := range said(&rec.At) {
		add(x.Key, x.Value)
	}
	add("When", rec.When.Local().Format("2006-01-02 15:04:05 MST"))
	if rec.ClockDoubt != "" {
		add("", "Take care: "+rec.ClockDoubt+".")
	}
	add("Calibration", rec.Calibration)
	add("Workshop", strings.Join(notEmpty(rec.Workshop.Name, rec.Workshop.Address, rec.Workshop.Contact), ", "))
	var files []string
	for _, f := range rec.Files {
		files = append(files, fmt.Sprintf("%s (%d kB)", f.Name, (len(f.Data)+999)/1000))
	}
	if len(files) > 0 {
		add("Files", strings.Join(files, ", ")+"; --files DIR writes them")
	}
	add("SHA-256", rec.Hash)
	if proof != nil {
		add("In the log", "not proved: "+proof.Error())
	} else {
		add("In the log", fmt.Sprintf("proved: record %d of %d", rec.ID.Seq, head.Size))
		add("Signed head", head.String())
	}
	return b.String()
}

// recordColumn is where words begin beside their key.
const recordColumn = 16

// said is what the label, the job card and the person said, in words.
func said(at *record.Circumstances) []record.Fact {
	number := func(x *float64, unit string) string {
		if x == nil {
			return ""
		}
		return strconv.FormatFloat(*x, 'f', -1, 64) + " " + unit
	}
	attempt := ""
	if at.Attempt > 0 {
		attempt = strconv.Itoa(at.Attempt)
	}
	var out []record.Fact
	for _, x := range []record.Fact{
		{Key: "Serial", Value: at.Unit}, {Key: "Attempt", Value: attempt}, {Key: "Part number", Value: at.PartNumber},
		{Key: "Revision", Value: at.Revision}, {Key: "Date code", Value: at.DateCode},
		{Key: "Ran", Value: strings.Join(notEmpty(number(at.Hours_h, "h"), number(at.Distance_km, "km")), ", ")},
		{Key: "Complaint", Value: at.Complaint}, {Key: "Claim", Value: at.Claim}, {Key: "Order", Value: at.Order},
		{Key: "Customer", Value: at.Customer}, {Key: "Reached by", Value: at.CustomerContact}, {Key: "Seal", Value: at.Seal}, {Key: "Opened before", Value: at.PriorOpening},
		{Key: "Received", Value: strings.Join(notEmpty(at.Received, by(at.ReceivedBy)), " ")}, {Key: "Opened by", Value: at.OpenedBy},
		{Key: "Returned by", Value: at.ReturnedBy}, {Key: "Tested by", Value: at.Operator}, {Key: "Authorised by", Value: at.AuthorisedBy},
		{Key: "Lot", Value: at.Lot}, {Key: "Fixture", Value: at.Fixture}, {Key: "Fluid", Value: at.Fluid}, {Key: "Filling", Value: at.Filling},
		{Key: "Notes", Value: at.Notes},
	} {
		if x.Value != "" {
			out = append(out, x)
		}
	}
	return out
}

func by(name string) string {
	if name == "" {
		return ""
	}
	return "by " + name
}

func notEmpty(words ...string) (out []string) {
	for _, w := range words {
		if w != "" {
			out = append(out, w)
		}
	}
	return out
}

// writeLines writes text to standard output.
func (a *app) writeLines(text string) error {
	if _, err := fmt.Fprint(a.stdout, text); err != nil {
		return fmt.Errorf("writing the record: %w", err)
	}
	return nil
}
