package main

import (
	"context"
	"errors"
	"strings"

	"fmt"

	"dutybench/bench/lot"
	"dutybench/bench/plot"
	"dutybench/bench/result"
)

// errSkipped is a unit that is left untested.
var errSkipped = errors.New("left untested")

// presets are the answers that hold for every unit of a lot. A leak is no
// such thing: it forbids a pass, and is asked for each time.
func presets(s string) (*result.Inspection, error) {
	i, err := result.ParseInspection(s)
	if err != nil {
		return nil, usage("--%v", err)
	}
	if i.Found("leak") != "" {
		return nil, usage("--inspection: a leak is asked for each time, as it forbids a pass: leave it out")
	}
	return i, nil
}

// questions asks what is to be seen on a unit, one short answer each, and
// gives the answers as run takes them; empty where nothing is asked.
func (l *lotLoop) questions(ctx context.Context, serial string) (string, error) {
	if !l.onBench() && !l.flags.inspect && l.flags.inspection == "" {
		return "", nil
	}
	i := result.NoInspection()
	if l.flags.inspection != "" {
		var err error
		if i, err = presets(l.flags.inspection); err != nil {
			return "", err
		}
	}
	for at, p := range result.InspectionPoints() {
		if i.Answers[at].Found != "" || p.Name != "leak" && !l.onBench() && !l.flags.inspect {
			continue
		}
		word, err := l.question(ctx, serial, p)
		if err != nil {
			return "", err
		}
		if word == "" && p.Name == "plug" && l.onBench() {
			l.say("Nobody has looked into the plug, so the unit is not switched on.")
			return "", errSkipped
		}
		i.Answers[at].Found = word
	}
	words := inspectionWords(i)
	if words == "none" {
		return "", nil // on a simulated rig alone: there the plug is dry
	}
	return strings.ReplaceAll(words, " ", ","), nil
}

// question puts one: y or 1, n or 0, - for not looked at, or the words of the
// card. The same serial once more is a scan read twice.
func (l *lotLoop) question(ctx context.Context, serial string, p result.InspectionPoint) (string, error) {
	for {
		s, err := l.ask(ctx, fmt.Sprintf("%s: %s y, n or -: ", plot.Plain(serial), p.Question))
		if err != nil {
			return "", err
		}
		w, _, _ := control(s)
		switch key := strings.ToLower(s); {
		case w == wordYes, key == "y", key == "1":
			return p.Yes, nil
		case w == wordNo, key == "n", key == "0":
			return p.No, nil
		case w == wordSkip, key == "-":
			return "", nil
		case w == wordNext:
			return "", errSkipped
		case w == wordEnd:
			return "", errEnd
		case lot.Key(s) == lot.Key(serial):
		default:
			l.say("%q is no answer: y or YES, n or NO, - or SKIP when nobody looked, NEXT to leave the unit.", plot.Plain(s))
		}
	}
}
