package main

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"dutybench/bench/lot"
	"dutybench/bench/plot"
	"dutybench/bench/report"
	"dutybench/bench/upkeep"
)

// greet says which lot goes on, and with what.
func (l *lotLoop) greet() {
	f := &l.flags
	who := ""
	if f.operator != "" {
		who = ", operator " + strings.TrimSuffix(plot.Plain(f.operator), ".")
	}
	l.say("Lot %s: profile %s, rig %s, purpose %s%s.", plot.Plain(l.name), plot.Plain(f.profile), plot.Plain(f.rig), f.purpose, who)
	l.sayBench()
	if len(l.tests) == 0 {
		return
	}
	l.say("It goes on: %s so far. %s", plural(len(l.units()), "unit"), l.counts())
	for _, u := range l.units() {
		if !u.Done() {
			l.say("  %s is still to be tested: %s.", plot.Plain(u.Serial), u.Words())
		}
	}
}

// prompt asks for a serial, with what is told of the next unit.
func (l *lotLoop) prompt() string {
	var about []string
	add := func(name, value string) {
		if value != "" {
			about = append(about, name+" "+plot.Plain(value))
		}
	}
	add("complaint", l.next.complaint)
	add("revision", l.next.revision)
	add("date code", l.next.code)
	if l.next.primed {
		about = append(about, "primed")
	}
	s := "Scan or type the serial"
	if len(about) > 0 {
		s += " (" + strings.Join(about, ", ") + ")"
	}
	return s + ": "
}

// banner writes a word that is read across the room, and the place beneath it.
func (l *lotLoop) banner(word, place string) {
	o := l.textOptions(l.flags.width, l.flags.ascii)
	width := o.Width
	if width == 0 {
		width = textWidth
	}
	w := io.Writer(l.stdout)
	if l.flags.json {
		w = l.stderr // standard output is for the objects
	}
	rule := "="
	if o.Unicode {
		rule = "━"
	}
	rule = strings.Repeat(rule, width)
	big := lot.Banner(word, width, o.Unicode)
	if big == "" {
		big = word + "\n"
	}
	fmt.Fprintf(w, "%s\n\n%s\n", rule, big)
	if place != "" {
		if utf8.RuneCountInString(place) > width {
			place = fill80(place)
		}
		fmt.Fprintln(w, place)
	}
	fmt.Fprintln(w, rule)
}

// show says what a test came to, and where the unit goes.
func (l *lotLoop) show(serial string, in report.Input) error {
	u, _ := l.unit(serial)
	if u == nil {
		return fmt.Errorf("record %s is kept, but stands in another lot than %s", in.Result.Record, plot.Plain(l.name))
	}
	word := fmt.Sprintf("%d %s", int(u.Bin), u.Bin.Word())
	place := strings.ToUpper(string(u.Verdict)) + "  " + u.Place()
	weight, _ := u.Last().Weight()
	stays := weight == lot.OfBench && u.Bin == lot.Again
	switch {
	case stays:
		word, place = "BENCH", "stays on the bench"
	case u.Bin == lot.Again:
		place = "once more  " + u.Place()
	}
	place = plot.Plain(serial) + "  " + place
	l.banner(word, place)
	w := io.Writer(l.stdout)
	if l.flags.json {
		w = l.stderr
	}
	var b strings.Builder
	fill(&b, "", atBench(plot.Plain(in.Result.Sentence)), 0, textWidth)
	for _, s := range u.Why {
		if stays && strings.Contains(s, "does not count: ") {
			continue // the sentence above says why
		}
		fill(&b, "", "Of this unit: "+atBench(plot.Plain(s))+".", 0, textWidth)
	}
	for _, s := range in.Result.Warnings {
		if upkeep.IsUnwell(s) {
			fill(&b, "", "Take care: "+plot.Plain(s), 0, textWidth)
		}
	}
	fill(&b, "", "Record "+plot.Plain(in.Result.Record)+". "+l.counts(), 0, textWidth)
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("writing the result: %w", err)
	}
	return nil
}

// counts is how many units lie in each bin.
func (l *lotLoop) counts() string {
	n := map[lot.Bin]int{}
	for _, u := range l.units() {
		n[u.Bin]++
	}
	var s []string
	for _, b := range lot.Bins() {
		s = append(s, fmt.Sprintf("%d: %d", int(b), n[b]))
	}
	return "In the bins: " + strings.Join(s, ", ") + "."
}

// atBench is a sentence with the bench's word in place of the flag that says the
// same.
func atBench(s string) string { return strings.ReplaceAll(s, "--primed", "scan PRIMED") }
