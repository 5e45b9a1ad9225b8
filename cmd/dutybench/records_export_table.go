package main

import (
	"bytes"
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// cell guards a text that a person typed: a spreadsheet takes what begins with
// one of these signs, blanks aside, for a formula, and runs it. The list is
// from memory of advice on CSV injection; the wide forms are taken for the same
// in some languages. A plain number is none.
func cell(s string) string {
	s = plot.Plain(s)
	bare := strings.TrimSpace(s)
	if bare == "" || !strings.ContainsRune("=+-@＝＋－＠", []rune(bare)[0]) {
		return s
	}
	if v, err := strconv.ParseFloat(bare, 64); err == nil && !math.IsInf(v, 0) && !math.IsNaN(v) {
		return s
	}
	return "'" + s
}

func texts(list []string) string { return cell(strings.Join(list, "; ")) }

// decimal is a number, empty where there is none.
func decimal(v *float64) string {
	if v == nil || !isFinite(*v) {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func whole(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// tableColumns are what the table says of every record.
var tableColumns = []struct {
	name string
	of   func(*record.Record, *result.Result) string
}{
	{"record", func(r *record.Record, _ *result.Result) string { return r.ID.String() }},
	{"time_utc", func(r *record.Record, _ *result.Result) string { return r.When.UTC().Format(time.DateTime) }},
	{"clock_doubt", func(r *record.Record, _ *result.Result) string { return cell(r.ClockDoubt) }},
	{"verdict", func(_ *record.Record, o *result.Result) string { return cell(string(o.Verdict)) }},
	{"cause", func(_ *record.Record, o *result.Result) string {
		if o.Cause == nil {
			return ""
		}
		return cell(string(*o.Cause))
	}},
	{"cause_probability", func(_ *record.Record, o *result.Result) string {
		for i := range o.Causes {
			if c := &o.Causes[i]; o.Cause != nil && c.Cause == *o.Cause {
				return decimal(&c.Probability)
			}
		}
		return ""
	}},
	{"sentence", func(_ *record.Record, o *result.Result) string { return cell(o.Sentence) }},
	{"broke_off", func(r *record.Record, _ *result.Result) string { return yes(r.Interrupted) }},
	{"cancelled", func(r *record.Record, _ *result.Result) string { return yes(r.Cancelled) }},
	{"ended", func(_ *record.Record, o *result.Result) string { return cell(o.Ended) }},
	{"test_s", func(r *record.Record, _ *result.Result) string { return length(r.Trace) }},
	{"warnings", func(_ *record.Record, o *result.Result) string { return texts(o.Warnings) }},
	{"not_tested", func(_ *record.Record, o *result.Result) string { return texts(o.NotTested) }},
	{"unit", func(r *record.Record, _ *result.Result) string { return cell(r.At.Unit) }},
	{"kind", func(r *record.Record, _ *result.Result) string { return cell(r.At.Kind) }},
	{"part_number", func(r *record.Record, _ *result.Result) string { return cell(r.At.PartNumber) }},
	{"revision", func(r *record.Record, _ *result.Result) string { return cell(r.At.Revision) }},
	{"date_code", func(r *record.Record, _ *result.Result) string { return cell(r.At.DateCode) }},
	{"hours_h", func(r *record.Record, _ *result.Result) string { return decimal(r.At.Hours_h) }},
	{"distance_km", func(r *record.Record, _ *result.Result) string { return decimal(r.At.Distance_km) }},
	{"attempt", func(r *record.Record, _ *result.Result) string { return whole(r.At.Attempt) }},
	{"complaint", func(r *record.Record, _ *result.Result) string { return cell(r.At.Complaint) }},
	{"claim", func(r *record.Record, _ *result.Result) string { return cell(r.At.Claim) }},
	{"order", func(r *record.Record, _ *result.Result) string { return cell(r.At.Order) }},
	{"customer", func(r *record.Record, _ *result.Result) string { return cell(r.At.Customer) }},
	{"customer_contact", func(r *record.Record, _ *result.Result) string { return cell(r.At.CustomerContact) }},
	{"lot", func(r *record.Record, _ *result.Result) string { return cell(r.At.Lot) }},
	{"seal", func(r *record.Record, _ *result.Result) string { return cell(r.At.Seal) }},
	{"prior_opening", func(r *record.Record, _ *result.Result) string { return cell(r.At.PriorOpening) }},
	{"received", func(r *record.Record, _ *result.Result) string { return cell(r.At.Received) }},
	{"received_by", func(r *record.Record, _ *result.Result) string { return cell(r.At.ReceivedBy) }},
	{"opened_by", func(r *record.Record, _ *result.Result) string { return cell(r.At.OpenedBy) }},
	{"returned_by", func(r *record.Record, _ *result.Result) string { return cell(r.At.ReturnedBy) }},
	{"authorised_by", func(r *record.Record, _ *result.Result) string { return cell(r.At.AuthorisedBy) }},
	{"operator", func(r *record.Record, _ *result.Result) string { return cell(r.At.Operator) }},
	{"purpose", func(r *record.Record, _ *result.Result) string { return cell(r.Purpose) }},
	{"notes", func(r *record.Record, _ *result.Result) string { return cell(r.At.Notes) }},
	{"inspection", func(r *record.Record, _ *result.Result) string {
		var out []string
		for _, answer := range r.At.Inspection {
			found := answer.Found
			if found == "" {
				found = "not inspected"
			}
			out = append(out, answer.Point+": "+found)
		}
		return texts(out)
	}},
	{"fixture", func(r *record.Record, _ *result.Result) string { return cell(r.At.Fixture) }},
	{"fluid", func(r *record.Record, _ *result.Result) string { return cell(r.At.Fluid) }},
	{"filling", func(r *record.Record, _ *result.Result) string { return cell(r.At.Filling) }},
	{"temperature_C", func(r *record.Record, _ *result.Result) string { return decimal(r.At.Temperature_C) }},
	{"primed", func(r *record.Record, _ *result.Result) string { return yes(r.At.Primed) }},
	{"workshop", func(r *record.Record, _ *result.Result) string { return cell(r.Workshop.Name) }},
	{"rig", func(r *record.Record, _ *result.Result) string { return cell(r.Rig.Name) }},
	{"simulated", func(r *record.Record, _ *result.Result) string { return yes(simulated(r.Rig)) }},
	{"calibration", func(r *record.Record, _ *result.Result) string { return cell(r.Calibration) }},
	{"program", func(r *record.Record, _ *result.Result) string { return cell(r.Program) }},
	{"profile", func(r *record.Record, _ *result.Result) string { return cell(r.Profile.Name) }},
	{"profile_revision", func(r *record.Record, _ *result.Result) string { return whole(r.Profile.Revision) }},
	{"profile_sha256", func(r *record.Record, _ *result.Result) string { return r.Profile.SHA256 }},
	{"files", func(r *record.Record, _ *result.Result) string {
		var out []string
		for _, f := range r.Files {
			out = append(out, f.Name)
		}
		return texts(out)
	}},
	{"sha256", func(r *record.Record, _ *result.Result) string { return r.Hash }},
}

// length is how long a trace is in seconds.
func length(data []byte) string {
	t, err := (&trace.Reader{Unhashed: true}).Read(bytes.NewReader(data), "trace.csv", nil)
	if err != nil || t.Len() == 0 {
		return ""
	}
	s := math.Round((t.Time()[t.Len()-1]-t.Time()[0])*1e3) / 1e3
	return decimal(&s)
}

// table is a line for each record. Which findings there are is known at its
// end only, so that it is held until then.
type table struct {
	rows  []tableRow
	names []findingName
	at    map[findingName]int
}

// findingName tells findings apart; again is above 0 where one record holds
// several of a name.
type findingName struct {
	name, unit string
	again      int
}

type tableRow struct {
	cells []string
	found []tableFinding
}

type tableFinding struct {
	at                         int // among the names
	value, uncertainty, result string
}

func (t *table) add(rec *record.Record, r *result.Result) {
	row := tableRow{cells: make([]string, len(tableColumns))}
	for i, c := range tableColumns {
		row.cells[i] = c.of(rec, r)
	}
	seen := map[findingName]int{}
	for i := range r.Findings {
		f := &r.Findings[i]
		name := findingName{name: f.Name, unit: f.Unit}
		seen[name]++
		name.again = seen[name] - 1
		at, known := t.at[name]
		if !known {
			if t.at == nil {
				t.at = map[findingName]int{}
			}
			at = len(t.names)
			t.at[name] = at
			t.names = append(t.names, name)
		}
		row.found = append(row.found, tableFinding{at, decimal(f.Value), decimal(f.Uncertainty), cell(string(f.Result))})
	}
	t.rows = append(t.rows, row)
}

func (t *table) write(w io.Writer) error {
	c := csv.NewWriter(w)
	var line []string
	for _, col := range tableColumns {
		line = append(line, col.name)
	}
	for _, n := range t.names {
		name, unit := n.name, ""
		if n.again > 0 {
			name += " " + strconv.Itoa(n.again+1)
		}
		if n.unit != "" {
			unit = " [" + n.unit + "]"
		}
		line = append(line, cell(name+unit), cell(name+" uncertainty"+unit), cell(name+" result"))
	}
	if err := c.Write(line); err != nil {
		return err
	}
	width := len(line)
	for _, row := range t.rows {
		line = append(line[:0], row.cells...)
		line = append(line, make([]string, width-len(line))...)
		for _, f := range row.found {
			copy(line[len(row.cells)+3*f.at:], []string{f.value, f.uncertainty, f.result})
		}
		if err := c.Write(line); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// findingsTable is a line for each finding.
type findingsTable struct{ w *csv.Writer }

func (t *findingsTable) begin(w io.Writer) {
	t.w = csv.NewWriter(w)
	// An error comes back with the next line, or the end.
	_ = t.w.Write([]string{"record", "time_utc", "unit", "kind", "profile", "profile_revision", "verdict",
		"finding", "value", "unit_of_value", "uncertainty", "k", "low", "high", "result", "conformity", "note"})
}

func (t *findingsTable) add(rec *record.Record, r *result.Result) error {
	for i := range r.Findings {
		f := &r.Findings[i]
		k := ""
		if f.K != 0 {
			k = decimal(&f.K)
		}
		if err := t.w.Write([]string{rec.ID.String(), rec.When.UTC().Format(time.DateTime), cell(rec.At.Unit), cell(rec.At.Kind),
			cell(rec.Profile.Name), whole(rec.Profile.Revision), cell(string(r.Verdict)),
			cell(f.Name), decimal(f.Value), cell(f.Unit), decimal(f.Uncertainty), k, decimal(f.Low), decimal(f.High),
			cell(string(f.Result)), decimal(f.Conformity), cell(f.Note)}); err != nil {
			return err
		}
	}
	return nil
}

func (t *findingsTable) end() error {
	t.w.Flush()
	return t.w.Error()
}
