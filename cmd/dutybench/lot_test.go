package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
)

func TestLotByScannerAlone(t *testing.T) {
	t.Parallel()
	p := newPallet(map[string][]string{"A2": {"fail:mechanical"}, "A3": {"fail:control-board"}, "A4": {"open", "pass"}, "A5": {"open", "open"}, "A6": {"fail:"}})
	k := p.sit(t)
	k.on("serial: ", "A1\r\n") // a scanner's Enter
	k.on("A1  PASS  into bin 1: good as it is", "").on("serial: ", "complaint\n").on("the complaint: ", "no heat\n")
	k.on("(complaint no heat): ", "A2\n").on("A2  FAIL  into bin 2: control board good", "")
	k.on("serial: ", "A3\n").on("A3  FAIL  into bin 3: mechanics not found at fault", "")
	k.on("serial: ", "A4\n").on("A4  once more  into bin 5: to be tested again", "").on("before the next test: bleed the loop", "")
	k.on("serial: ", "PRIMED\n").on("(primed): ", "A4\n").on("A4 comes again", "").on("A4  PASS", "")
	k.on("serial: ", "A5\n").on("serial: ", "again\n").on("A5  UNDECIDED  into bin 6: doubtful", "")
	k.on("serial: ", "A6\n").on("bin 4: no side known", "")
	k.on("serial: ", "END\n").on("2 of 6 units", "")
	out := k.end()
	assert.Equal(t, "A1:1 A2:2 A3:3 A4:1 A5:6 A6:4", p.bins())
	assert.Equal(t, "no heat", p.records[1].At.Complaint)
	assert.Empty(t, p.records[2].At.Complaint, "it holds for one unit")
	assert.False(t, p.records[3].At.Primed)
	assert.True(t, p.records[4].At.Primed)
	for _, r := range p.records {
		assert.Equal(t, "P7", r.At.Lot)
		assert.Equal(t, "core", r.Purpose)
	}
	assert.Contains(t, out, "Doubtful: for a person to look at")
	for line := range strings.Lines(out) {
		if !strings.Contains(line, "Scan or type") { // what is typed is not echoed here
			assert.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 100, line)
		}
	}
}

func TestLotSerials(t *testing.T) {
	t.Parallel()
	p := newPallet(nil)
	long := strings.Repeat("x", 100_000)
	k := p.sit(t)
	k.on("serial: ", "\n\r\n  \n \t\n") // empty lines ask again
	k.on("serial: ", "A\x1b[2J1\n").on("control character U+001B", "")
	k.on("serial: ", "A\u202e1\n").on("control character U+202E", "")
	k.on("serial: ", "A\xff\n").on("no letters", "")
	k.on("serial: ", long+"\n").on("longer than 512", "")
	k.on("serial: ", strings.Repeat("y", 65)+"\n").on("more than 64", "")
	k.on("serial: ", "]C0A1\t\n").on("]C0A1  PASS", "") // what a scanner puts before it is left
	k.on("serial: ", "  b 2  \n").on("b 2  PASS", "")
	k.on("serial: ", "NEXT-1\n").on("NEXT-1  PASS", "") // no control word
	k.on("serial: ", "SERIAL\n").on("like a word: ", "END\n").on("END  PASS", "")
	k.on("serial: ", "YES\n").on("no question", "")
	k.on("serial: ", "STOP\n").on("the supply is off", "")
	k.on("serial: ", "MENDED\n").on("does not wait", "")
	k.on("serial: ", "SUMMARY\n").on("4 of 4 units", "")
	k.on("serial: ", "complaint "+strings.Repeat("z", 201)+"\n").on("no complaint", "")
	k.on("serial: ", "last") // Ctrl-D behind letters: still a line
	k.end()
	assert.Equal(t, []string{"]C0A1", "b 2", "NEXT-1", "END", "last"}, p.tested)
}

func TestLotAgainAndDoubled(t *testing.T) {
	t.Parallel()
	p := newPallet(map[string][]string{"A1": {"fail:mechanical", "pass"}})
	k := p.sit(t)
	k.on("serial: ", "A1\n").on("bin 2", "").on("serial: ", "")
	p.clock = p.clock.Add(time.Second - 40*time.Second) // within doubledScan of the first
	k.on("", "a1\n").on("taken once", "").on("serial: ", "")
	p.clock = p.clock.Add(time.Minute)
	k.on("", "a1\n").on("a1 is done in this lot: bin 2", "").on("serial: ", "A2\n").on("A2  PASS", "") // another one instead
	p.clock = p.clock.Add(time.Minute)
	k.on("serial: ", "A1\n").on("Scan AGAIN", "").on("serial: ", "AGAIN\n")
	k.on("A1  UNDECIDED  into bin 6: doubtful", "").on("passed in", "")
	k.end()
	assert.Equal(t, []string{"A1", "A2", "A1"}, p.tested)
	assert.Equal(t, "A1:6 A2:1", p.bins(), "a pass after a fail is doubtful")
}

// What is scanned while a test runs is no serial; STOP ends the test.
func TestLotStop(t *testing.T) {
	t.Parallel()
	p := newPallet(map[string][]string{"A1": {"wait", "pass"}})
	k := p.sit(t)
	k.on("serial: ", "A1\n")
	<-p.began
	k.on("", "A1\nA2\nstop\n").on("A2 was scanned while the test ran", "").on("A1  once more", "").on("it was stopped", "")
	k.on("serial: ", "A1\n").on("A1 comes again", "").on("A1  PASS", "")
	k.end()
	assert.Equal(t, []string{"A1", "A1"}, p.tested)
	assert.NotContains(t, p.out.String(), "A1 was scanned while")
	assert.Equal(t, "A1:1", p.bins())
}

func TestLotWaitsForBench(t *testing.T) {
	t.Parallel()
	p := newPallet(map[string][]string{"A1": {"bench", "pass"}, "A2": {"bench", "pass"}, "A3": {"bench"}, "A4": {"error", "pass"}, "A5": {"error"}})
	k := p.sit(t)
	k.on("serial: ", "A1\n").on("A1  stays on the bench ", "").on("Undecided: the supply sagged", "")
	k.on("serial: ", "A2\n").on("The lot waits", "").on("the supply sagged", "")
	k.on("(END ends the lot): ", "A3\n").on("A3 is not taken: the lot waits", "").on("(END ends the lot): ", "mended\n")
	k.on("serial: ", "A2\n").on("A2  PASS", "").on("serial: ", "A1\n").on("A1  PASS", "")
	k.on("serial: ", "COMPLAINT noisy\n").on("(complaint noisy): ", "A4\n").on("A4 is not tested", "")
	k.on("(complaint noisy): ", "A5\n").on("The lot waits", "").on("cannot be opened", "").on("lot): ", "MENDED\n")
	k.on("(complaint noisy): ", "A4\n").on("A4  PASS", "")
	k.end()
	assert.Equal(t, "A1:1 A2:1 A4:1", p.bins())
	assert.Equal(t, "noisy", p.records[4].At.Complaint, "what was told of it is not lost with a test that was not")

	// Two in a row at the end of the records: it still waits when it goes on.
	p = newPallet(map[string][]string{"A1": {"bench", "bench"}})
	require.NoError(t, p.type_("A1", "AGAIN"))
	require.NoError(t, p.type_("A3"))
	assert.Equal(t, []string{"A1", "A1"}, p.tested)
	require.NoError(t, p.type_("MENDED", "A3"))
	assert.Equal(t, []string{"A1", "A1", "A3"}, p.tested)
}

func TestLotQuestions(t *testing.T) {
	t.Parallel()
	p := newPallet(nil)
	p.flags.rig, p.flags.inspection = "bench.toml", "seal=good,pins=good,noise=no"
	k := p.sit(t)
	k.on("serial: ", "A1\n").on("A1: Does the unit leak", "A1\nmaybe\nn\n").on("is no answer", "")
	k.on("coolant in the plug", "NO\n").on("turn freely", "SKIP\n").on("A1  PASS", "")
	k.on("serial: ", "A2\n").on("leak", "n\n").on("plug", "-\n").on("Nobody has looked into the plug", "").on("A2 is left untested", "")
	k.on("serial: ", "A3\n").on("leak", "NEXT\n").on("A3 is left untested", "")
	k.on("serial: ", "A4\n").on("leak", "1\n").on("plug", "0\n").on("freely", "y\n").on("A4", "")
	k.on("serial: ", "A5\n").on("leak", "END\n")
	k.end()
	assert.Equal(t, []string{"A1", "A4"}, p.tested)
	assert.Equal(t, "leak=no,seal=good,plug=dry,pins=good,noise=no", p.said["A1"].inspection)
	assert.Equal(t, "leak=yes,seal=good,plug=dry,pins=good,free=yes,noise=no", p.said["A4"].inspection)

	p = newPallet(nil)
	p.flags.inspection = "leak=no"
	assert.ErrorContains(t, p.type_("A1"), "asked for each time")
}

// A lot goes on with the settings of its last record, and a unit whose test
// broke off is asked for again.
func TestLotGoesOn(t *testing.T) {
	t.Parallel()
	p := newPallet(map[string][]string{"A2": {"fail:mechanical"}})
	p.flags.operator, p.flags.complaint, p.flags.tries, p.flags.number, p.flags.primed = "M.", "no heat", 3, "PN-1", true
	require.NoError(t, p.type_("A1", "A2"))
	p.put(&record.Record{When: p.clock.Add(time.Minute), Purpose: "core", Program: "t", Interrupted: true, Rig: record.Rig{Name: "sim", Facts: p.records[1].Rig.Facts},
		Profile: record.Profile{Name: defaultProfile}, At: record.Circumstances{Unit: "A3", Lot: "P7", Operator: "M.", PartNumber: "PN-1"}})
	p.flags = newPallet(nil).flags
	p.flags.operator, p.given["operator"] = "N.", true
	p.name = "p7"
	require.NoError(t, p.type_("A3", "OPERATOR", "O.", "A4", "REVISION C", "DATECODE", "DATECODE", "2418", "A5"))
	out := strings.ReplaceAll(p.out.String(), "\n", " ")
	assert.Contains(t, out, "A3 is still to be tested: not tested yet; k3v7q2m9xw-000003 does not count: it was interrupted")
	last := p.records[len(p.records)-1]
	assert.Equal(t, "P7", last.At.Lot)
	assert.Equal(t, "no heat", last.At.Complaint)
	assert.Equal(t, "PN-1", last.At.PartNumber)
	assert.True(t, last.At.Primed)
	assert.Equal(t, "O.", last.At.Operator)
	assert.Equal(t, "N.", p.records[3].At.Operator)
	assert.Equal(t, "C", last.At.Revision)
	assert.Equal(t, "2418", last.At.DateCode)
	assert.Equal(t, 3, triesOf(&mustLast(t, p)[0]))
	assert.Equal(t, "A1:1 A2:2 A3:1 A4:1 A5:1", p.bins())

	p.flags.profile, p.given["profile"] = "aux-pump-20w", true
	assert.ErrorContains(t, p.type_("A9"), "a lot has one")
}

// Ctrl-C ends the test and the lot: what lies in the input is not taken.
func TestLotInterrupted(t *testing.T) {
	t.Parallel()
	p := newPallet(map[string][]string{"A1": {"wait"}})
	done := make(chan error, 1)
	go func() { done <- p.type_("A1", "A2", "A3") }()
	<-p.began
	p.ctrlC()
	require.NoError(t, <-done)
	assert.Equal(t, []string{"A1"}, p.tested)
	assert.Contains(t, p.out.String(), "Lot P7")
	assert.Equal(t, "A1:5", p.bins())

	p = newPallet(nil)
	k := p.sit(t)
	p.out.wait(t, "serial: ")
	p.ctrlC()
	require.NoError(t, <-k.done)
	assert.Empty(t, p.tested)
}
