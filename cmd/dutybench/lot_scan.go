package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"dutybench/bench/lot"
)

// What comes from a scanner or a keyboard; all chosen.
const (
	maxLine   = 512 // bytes of a line; the rest is passed over
	maxSerial = 64  // characters; longer barcodes are hardly in use
	maxText   = 200 // characters of a complaint
)

// Control words. Each has its barcode on the card.
const (
	wordAgain     = "AGAIN"
	wordNext      = "NEXT"
	wordYes       = "YES"
	wordNo        = "NO"
	wordSkip      = "SKIP"
	wordComplaint = "COMPLAINT"
	wordRevision  = "REVISION"
	wordDateCode  = "DATECODE"
	wordOperator  = "OPERATOR"
	wordSerial    = "SERIAL"
	wordPrimed    = "PRIMED"
	wordSummary   = "SUMMARY"
	wordMended    = "MENDED"
	wordStop      = "STOP"
	wordEnd       = "END"
)

// lotWords are the control words with what they do, in the order of the card.
func lotWords() []lot.Word {
	return []lot.Word{
		{Scan: wordAgain, Does: "test the unit again that was done last, or that was just asked about"},
		{Scan: wordNext, Does: "leave this unit untested and go on to the next"},
		{Scan: wordYes, Does: "yes"},
		{Scan: wordNo, Does: "no"},
		{Scan: wordSkip, Does: "not looked at"},
		{Scan: wordPrimed, Does: "the loop is primed, bled and open for the next unit"},
		{Scan: wordComplaint, Does: "of the next unit; then scan or type it"},
		{Scan: wordRevision, Does: "of the next unit; then scan it from its label"},
		{Scan: wordDateCode, Does: "of the next unit; then scan it from its label"},
		{Scan: wordOperator, Does: "who tests from now on; then scan or type the name"},
		{Scan: wordSerial, Does: "what is scanned next is a serial, even if it reads like one of these words"},
		{Scan: wordSummary, Does: "what the lot has come to so far"},
		{Scan: wordMended, Does: "the bench is mended: go on"},
		{Scan: wordStop, Does: "ends the test that runs: the supply goes off"},
		{Scan: wordEnd, Does: "ends the lot with its summary"},
	}
}

// takesText are the words behind which a text may stand.
var takesText = map[string]bool{wordComplaint: true, wordRevision: true, wordDateCode: true, wordOperator: true, wordSerial: true}

// control reads a control word, without regard to the case of its letters:
// scanners and caps lock turn it round. A word that takes no text is one only
// when it stands alone, so that NEXT-1 is a serial.
func control(line string) (word, text string, ok bool) {
	first, rest, _ := strings.Cut(line, " ")
	first, rest = strings.ToUpper(first), strings.TrimSpace(rest)
	for _, w := range lotWords() {
		if w.Scan == first && (rest == "" || takesText[first]) {
			return first, rest, true
		}
	}
	return "", "", false
}

// cleanSerial refuses what is no serial. What a scanner puts before or behind
// one is left as it is typed.
func cleanSerial(s string) error {
	if utf8.RuneCountInString(s) > maxSerial {
		return fmt.Errorf("it has more than %d characters", maxSerial)
	}
	return printable(s)
}

// cleanText refuses what is no text of one line.
func cleanText(s string) error {
	if utf8.RuneCountInString(s) > maxText {
		return fmt.Errorf("it has more than %d characters", maxText)
	}
	return printable(s)
}

func printable(s string) error {
	if !utf8.ValidString(s) {
		return errors.New("it holds bytes that are no letters")
	}
	for _, r := range s {
		if !unicode.IsPrint(r) {
			return fmt.Errorf("it holds the control character %U", r)
		}
	}
	return nil
}

// scan is one line of input.
type scan struct {
	text string // trimmed
	long bool   // the line was longer than maxLine; text is its beginning
}

// readScans gives the lines that are scanned or typed, until the input ends.
// Any of CR, LF and CR LF ends a line.
func readScans(r io.Reader) <-chan scan {
	lines := make(chan scan)
	go func() {
		defer close(lines)
		in := bufio.NewReader(r)
		var line []byte
		long, cr, any := false, false, false
		send := func() {
			lines <- scan{strings.TrimSpace(string(line)), long}
			line, long, any = line[:0], false, false
		}
		for {
			b, err := in.ReadByte()
			if err != nil {
				if any {
					send()
				}
				return
			}
			switch {
			case b == '\n' && cr: // its line is sent
				cr = false
				continue
			case b == '\n', b == '\r':
				send()
			case len(line) < maxLine:
				line, any = append(line, b), true
			default:
				long, any = true, true
			}
			cr = b == '\r'
		}
	}()
	return lines
}
