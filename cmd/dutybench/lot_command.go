package main

import (
	"context"

	"dutybench/bench/kind"
	"dutybench/bench/lot"
	"dutybench/bench/plot"
)

// serial takes a scanned or typed serial.
func (l *lotLoop) serial(ctx context.Context, s string) error {
	if err := cleanSerial(s); err != nil {
		l.say("That is no serial: %v. Scan again.", err)
		return nil
	}
	now := l.now()
	doubled := lot.Key(s) == lot.Key(l.scanned) && now.Sub(l.scannedAt) < doubledScan
	l.scanned, l.scannedAt = s, now
	if doubled {
		l.say("%s was scanned twice and is taken once.", plot.Plain(s))
		return nil
	}
	u, _ := l.unit(s)
	if u != nil && u.Done() {
		l.asked = s
		l.say("%s is done in this lot: bin %d, %s; %s. Scan AGAIN to test it again, or the next serial.", plot.Plain(s), int(u.Bin), u.Bin.Holds(), u.Words())
		return nil
	}
	if u != nil {
		l.say("%s comes again: %s.", plot.Plain(s), u.Words())
	}
	return l.one(ctx, s)
}

// command does what a control word says at the prompt for a serial.
func (l *lotLoop) command(ctx context.Context, word, text string) error {
	switch word {
	case wordEnd:
		return errEnd
	case wordSummary:
		l.asked = ""
		return l.showSummary(l.stderr)
	case wordAgain:
		s := l.asked
		if s == "" {
			s = l.last
		}
		if s == "" {
			l.say("No unit was tested yet: scan a serial.")
			return nil
		}
		return l.one(ctx, s)
	case wordNext:
		l.asked, l.next = "", ofNext{}
	case wordPrimed:
		if _, k, err := loadProfile(l.flags.profile); err == nil && !kind.Wet(k) {
			l.say("A %s runs in no loop: %s is passed over.", k.Name(), wordPrimed)
			return nil
		}
		l.next.primed = true
	case wordComplaint:
		return l.tell(ctx, word, text, "complaint", &l.next.complaint)
	case wordRevision:
		return l.tell(ctx, word, text, "revision", &l.next.revision)
	case wordDateCode:
		return l.tell(ctx, word, text, "date code", &l.next.code)
	case wordOperator:
		return l.tell(ctx, word, text, "operator's name", &l.flags.operator)
	case wordSerial:
		if text == "" {
			var err error
			if text, err = l.ask(ctx, "Scan or type the serial that reads like a word: "); err != nil {
				return err
			}
		}
		return l.serial(ctx, text)
	case wordStop:
		l.say("No test is running; the supply is off.")
	case wordMended:
		l.say("The lot does not wait for the bench.")
	default:
		l.say("There is no question to answer. Scan a serial.")
	}
	return nil
}

// tell takes a text behind a control word, or asks for it. Another control
// word leaves it as it was.
func (l *lotLoop) tell(ctx context.Context, word, text, what string, to *string) error {
	for text == "" {
		s, err := l.ask(ctx, "Scan or type the "+what+": ")
		if err != nil {
			return err
		}
		if w, _, ok := control(s); ok {
			if w == word {
				continue // scanned twice
			}
			return l.command(ctx, w, "")
		}
		text = s
	}
	if err := cleanText(text); err != nil {
		l.say("That is no %s: %v. It is passed over.", what, err)
		return nil
	}
	*to = text
	return nil
}
