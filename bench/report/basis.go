package report

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
)

// basis is what the results stand on: uncertainties, checks, instrument, and
// what was not tested.
func (c *content) basis(d *Document) {
	r := c.r
	b := Table{Heads: []string{"Measured", "Standard uncertainties, where they come from"}, Shares: []float64{25, 75}, Result: -1}
	for _, x := range budgets(r.Findings) {
		parts := make([]string, len(x.Parts))
		for i, p := range x.Parts {
			parts[i] = p.Key + " " + strings.TrimSpace(p.Value)
		}
		b.Rows = append(b.Rows, Row{Cells: []string{x.Name, strings.Join(parts, "; ")}})
	}
	d.section("Uncertainty budgets", b)
	checks := Table{Heads: []string{"Check", "Value", "Limits", "Result", "Note"}, Shares: []float64{20, 13, 17, 14, 36}, Result: 3}
	for _, x := range checkRows(r.Checks) {
		checks.Rows = append(checks.Rows, Row{[]string{x.Name, x.Value, x.Limits, x.State, x.Sentence}, x.Tone})
	}
	d.section("Bench, plug and wires before the test", checks)
	facts := []Fact{fact("Rig", c.Record.Rig.Name), fact("Calibration", c.Record.Calibration)}
	for _, f := range c.Record.Rig.About() {
		facts = append(facts, Fact{orNot(f.Key, "fact"), orNot(f.Value, "not stated")})
	}
	files := Table{Heads: []string{"Kept with the record", "Bytes", "SHA-256"}, Shares: []float64{25, 12, 63}, Result: -1}
	for _, f := range c.Record.Files {
		files.Rows = append(files.Rows, Row{Cells: []string{plot.Plain(f.Name), fmt.Sprint(len(f.Data)), sum(f.Data)}})
	}
	d.section("Instrument and calibration", Facts{facts, 2}, files)
	d.section("What the unit says of itself", Bullets{plainAll(reportedLines(r.Reports))})
	d.section("Not tested", Words{Text: sentence(list(plainAll(NotTested(r))))})
}

func sum(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}

// headWords is the log's head on one line, and what is wrong with it.
func (c *content) headWords() string {
	h := c.Head
	switch {
	case h.Size == 0:
		return "not at hand when this report was made"
	case h.Bench != c.Record.ID.Bench || h.Size < int64(c.Record.ID.Seq):
		return h.String() + " (does not reach this record)"
	}
	return h.String()
}

// keyWords is the fingerprint of the bench's key, by which a reader knows it
// again.
func (c *content) keyWords() string {
	if c.Key == "" {
		return "not at hand when this report was made"
	}
	return ledger.Fingerprint(c.Key)
}

// withHead is a command with an option that names the head, where there is one.
func (c *content) withHead(command, option, head string) string {
	if c.Head.Size == 0 {
		return command
	}
	return fmt.Sprintf("%s --%s %q", command, option, head)
}

func (c *content) codeCommand() string {
	return fmt.Sprintf("dutybench records report %s --check %s", c.Record.ID, Code(c.Record.Hash))
}

// elsewhere is how somebody without the bench's store checks: what to ask the
// workshop for, and what to do with it.
func (c *content) elsewhere(head string) (ask, then string) {
	return c.withHead(fmt.Sprintf("dutybench records bundle %s --out FILE.zip", c.Record.ID), "since", head),
		c.withHead("dutybench records verify FILE.zip", "head", head)
}

// cardCheck is all of the verification on a card.
func (c *content) cardCheck() []string {
	ask, then := c.elsewhere("HEAD")
	return []string{"Record     " + c.Record.ID.String() + ", code " + orNot(Code(c.Record.Hash), "none"),
		"Head       " + c.headWords(), "Key        fingerprint " + c.keyWords(), "Check      " + c.codeCommand(),
		"Elsewhere  ask for a bundle: " + ask, "           and check it: " + then}
}

// verification is how to find out later whether the record is still the one
// that this report is of.
func (c *content) verification() []Block {
	rec := c.Record
	facts := []Fact{{"Record", rec.ID.String()}, fact("Verification code", Code(rec.Hash)), fact("Record's SHA-256", rec.Hash)}
	if rec.Previous != "" {
		facts = append(facts, Fact{"SHA-256 of the record before", rec.Previous})
	}
	samples := "none could be read"
	if t := c.in.Trace; t != nil {
		samples = fmt.Sprintf("%d, on average %s a second", t.Len(), plot.Short(t.Rate(), 4))
	}
	facts = append(facts, Fact{"Trace's SHA-256", sum(rec.Trace)}, Fact{"Samples", samples},
		Fact{"Clock", orNot(sentence(rec.ClockDoubt), "nothing spoke against the bench's clock")}, Fact{"Head of the bench's log", c.headWords()},
		Fact{"Fingerprint of the bench's key", c.keyWords()})
	out := []Block{Facts{facts, 1}}
	if len(c.Head.Signed) > 0 {
		var lines []string
		for l := range strings.Lines(strings.TrimSpace(string(c.Head.Signed))) {
			lines = append(lines, strings.TrimSpace(plot.Plain(l)))
		}
		out = append(out, Words{Text: "The same head as the bench signed it:"}, Mono{lines})
	}
	ask, then := c.elsewhere(c.Head.String())
	return append(out,
		Words{Text: "To check it where the bench's records are kept:"}, Mono{[]string{c.withHead("dutybench records verify", "head", c.Head.String()), c.codeCommand()}},
		Words{Text: "Elsewhere: ask the workshop for a bundle of this record, which it makes with the first line, and check it on any machine with the second:"}, Mono{[]string{ask, then}},
		Words{Text: "The bundle brings the bench's public key with it: compare the fingerprint that is shown with the one above.", Remark: true},
		Words{Text: "The first finds what was altered, removed or put in between, and whether the log still begins with what the head above names: one that does not was cut or rewritten, so keep this report. The second tells whether the record is the one of this report. Whoever holds the bench's private key can sign another log; a head that is kept or countersigned elsewhere, as this one, shows it.", Remark: true})
}

// isPhoto says whether a file of a record is a photo.
func isPhoto(f record.File) bool { return strings.HasPrefix(f.Name, record.PhotoPrefix) }
