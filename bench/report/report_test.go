package report_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

var update = flag.Bool("update", false, "write the golden files anew")

func samples() map[string]report.Input {
	return map[string]report.Input{"good": goodPump(), "binding": bindingPump(), "dead": deadBoard()}
}

func pageOf(t *testing.T, in report.Input) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, report.Page(&b, in))
	return b.String()
}

func textOf(t *testing.T, in report.Input, o report.TextOptions) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, report.Text(&b, in, o))
	return b.String()
}

func TestTextGolden(t *testing.T) {
	for name, in := range samples() {
		for suffix, o := range map[string]report.TextOptions{"": {Unicode: true}, "-ascii": {}} {
			got := textOf(t, in, o)
			path := filepath.Join("testdata", name+suffix+".txt")
			if *update {
				require.NoError(t, os.MkdirAll("testdata", 0o755))
				require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
			}
			want, err := os.ReadFile(path)
			require.NoError(t, err, "run the test once with -update")
			assert.Equal(t, string(want), got, path)
		}
	}
}

func TestTextFitsTheTerminal(t *testing.T) {
	for name, in := range samples() {
		in.TracePath, in.Page = "", "" // paths stay in one piece
		for _, w := range []int{0, 1, 60, 80, 132} {
			limit := max(w, 60)
			if w == 0 {
				limit = 80
			}
			for line := range strings.Lines(textOf(t, in, report.TextOptions{Width: w})) {
				line = strings.TrimSuffix(line, "\n")
				assert.LessOrEqual(t, utf8.RuneCountInString(line), limit, "%s: %q", name, line)
				assert.False(t, strings.HasSuffix(line, " "), "%s: %q", name, line)
				assert.Equal(t, len(line), utf8.RuneCountInString(line), "ASCII only")
			}
		}
		assert.NotContains(t, textOf(t, in, report.TextOptions{Unicode: true}), "\x1b")
		assert.Contains(t, textOf(t, in, report.TextOptions{Colour: true}), "\x1b[1m")
	}
}

func TestPageStandsOnItsOwn(t *testing.T) {
	outside := regexp.MustCompile(`(?i)<script|<link|<img|<iframe|\ssrc=|\shref=|url\(|@import|\son[a-z]+=`)
	for name, in := range samples() {
		p := pageOf(t, in)
		assert.NotRegexp(t, outside, p, name)
		assert.Empty(t, regexp.MustCompile(`https?://[^"]*`).FindAllString(strings.ReplaceAll(p, `xmlns="http://www.w3.org/2000/svg"`, ""), -1), name)
		assert.Contains(t, p, `name="viewport"`)
		assert.Contains(t, p, "@media print")
		assert.NotContains(t, p, "NaN", name)
		assert.NotContains(t, p, "ZgotmplZ", name)
		assert.Less(t, len(p), 400_000, name)
	}
}

func TestPageIsWellFormedAndNamed(t *testing.T) {
	for name, in := range samples() {
		p := pageOf(t, in)
		d := xml.NewDecoder(strings.NewReader(p))
		d.Entity = xml.HTMLEntity
		ids, heads, refs := map[string]bool{}, 0, []string{}
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			require.NoError(t, err, name)
			e, ok := tok.(xml.StartElement)
			if !ok {
				continue
			}
			attr := map[string]string{}
			for _, a := range e.Attr {
				attr[a.Name.Local] = a.Value
			}
			if id := attr["id"]; id != "" {
				assert.False(t, ids[id], "%s: id %s twice", name, id)
				ids[id] = true
			}
			refs = append(refs, strings.Fields(attr["aria-labelledby"])...)
			switch e.Name.Local {
			case "h1":
				heads++
			case "th":
				assert.NotEmpty(t, attr["scope"], name)
			case "svg":
				assert.Equal(t, "img", attr["role"])
				assert.NotEmpty(t, attr["aria-labelledby"])
			}
		}
		assert.Equal(t, 1, heads, name)
		for _, r := range refs {
			assert.True(t, ids[r], "%s: nothing has the id %s", name, r)
		}
	}
}

func TestPageSaysWhatItMust(t *testing.T) {
	p := pageOf(t, bindingPump())
	for _, want := range []string{
		"Unit S-1002 fails", "mechanical, 93 %", "keep the board", "What would disprove it", "Speaks against it",
		"sample-pump-medium, revision 3", "9a3f51c0", "left bench", "M. Sample", "2026-03-04 15:04:05", "LB-000042",
		"0.561 ±&nbsp;0.014&nbsp;A", "0.25 to 0.38", "at most 1", "not measured", "second attempt", "control board",
		"head and flow", "cold start", "S-1002.csv", "SHA-256", "Two samples carry the same time",
	} {
		assert.Contains(t, p, want)
	}
	// The sentence comes before everything else on the page.
	body := p[strings.Index(p, "<body"):]
	assert.Less(t, strings.Index(body, "Unit S-1002 fails"), strings.Index(body, "<h2"))

	p = pageOf(t, deadBoard())
	assert.Contains(t, p, "control board at 72 % or wiring on the bench&#39;s side at 27 %; this test cannot tell which")
	assert.Contains(t, p, "What would tell them apart")

	p = pageOf(t, goodPump())
	assert.NotContains(t, p, "Speaks for it", "a good unit has no cause to look for")
}

func TestNotMeasuredIsNeverGood(t *testing.T) {
	for _, o := range []result.Outcome{result.NotMeasured, "", "something else"} {
		in := report.Input{Result: result.Result{Verdict: result.Undecided,
			Findings: []result.Finding{{Name: "ripple", Value: ptr(3), Unit: "Hz", Result: o}}}}
		row := regexp.MustCompile(`(?s)<tr role="row" class="[a-z]+">.*?</tr>`).FindString(pageOf(t, in))
		assert.Contains(t, row, "not measured")
		assert.NotContains(t, row, "good<")
		assert.Regexp(t, `ripple .* not measured`, textOf(t, in, report.TextOptions{}))
	}
}

func TestCautions(t *testing.T) {
	in := goodPump()
	in.Simulated = true
	in.Profile.Invented, in.Profile.Learned.Provisional = true, true
	in.Result.Ended = "the stop input was pressed"
	for _, out := range []string{pageOf(t, in), strings.Join(strings.Fields(textOf(t, in, report.TextOptions{})), " ")} {
		assert.Contains(t, out, "Simulated: no real unit was on the bench.")
		assert.Contains(t, out, "profile is invented")
		assert.Contains(t, out, "provisional")
		assert.Contains(t, out, "The stop input was pressed.")
		assert.Contains(t, out, "Coolant may be hot", "who learns on a simulated bench learns it too")
	}
	bench := deadBoard()
	bench.Result.Inseparable, bench.Result.Cause = nil, causePtr(result.Wiring)
	assert.Contains(t, pageOf(t, bench), "says nothing about the unit")
}

const evil = "</title></style></svg><script>alert('x')</script><img src=x onerror=alert(1)>\x1b[2J\x00\r\n\u202e{{.}}\xff"

// everywhere puts the same hostile words into every text of an input.
func everywhere() report.Input {
	in := bindingPump()
	in.Rig, in.Fixture, in.Operator, in.Purpose, in.Program, in.TracePath, in.Page = evil, evil, evil, evil, evil, evil, evil
	in.Facts = []report.Fact{{Key: evil, Value: evil}}
	in.Trace.Source, in.Trace.SHA256 = evil, evil
	in.Trace.Meta = []trace.Entry{{Key: trace.KeyLost, Value: evil}}
	r := &in.Result
	r.Unit, r.Source, r.Sentence, r.NextStep, r.Disproof, r.Ended, r.Record = evil, evil, evil, "n"+evil, evil, evil, evil
	r.Profile = result.Profile{Name: evil, SHA256: evil}
	r.SeparatedBy, r.Kind = evil, evil
	r.Inseparable = []result.Cause{result.Cause(evil), result.Bench}
	r.Warnings, r.Reusable, r.NotTested, r.Carried = []string{evil}, []string{evil}, []string{evil}, []string{evil}
	r.Causes[0].Cause, r.Causes[0].For, r.Causes[0].Against = result.Cause(evil), []string{evil}, []string{evil}
	f := &r.Findings[3]
	f.Name, f.Unit, f.Note, f.Result = evil, evil, evil, result.Outcome(evil)
	f.Budget = []result.Part{{Source: evil}}
	r.Curve[0].Direction = evil
	return in
}

func TestHostileWordsStayWords(t *testing.T) {
	p := pageOf(t, everywhere())
	assert.NotContains(t, p, "<script")
	assert.NotContains(t, p, "<img")
	for _, out := range []string{p, textOf(t, everywhere(), report.TextOptions{Unicode: true})} {
		assert.False(t, strings.ContainsAny(out, "\x1b\x00\r\u202e"))
		assert.True(t, utf8.ValidString(out))
	}
	failed := report.Input{Result: result.Result{Source: evil, Error: evil}}
	assert.NotContains(t, pageOf(t, failed), "<script")
	assert.Contains(t, pageOf(t, failed), "Not judged")
	assert.NotContains(t, textOf(t, failed, report.TextOptions{}), "\x1b")
}

func TestOddInputNeverPanics(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	odd := func(v float64) report.Input {
		return report.Input{
			Profile: &profiles.Profile{},
			Trace: &trace.Trace{Columns: []trace.Column{
				{Name: trace.ColTime, Values: []float64{v, 0, 1}}, {Name: trace.ColCurrent, Values: []float64{v, v}},
				{Name: trace.ColDuty, Values: []float64{v, 50}}, {Name: trace.ColSupplyOn, Values: []float64{v}},
			}},
			Result: result.Result{
				Verdict: result.Fail,
				Causes:  []result.CauseProbability{{Probability: v}},
				Findings: []result.Finding{{Value: &v, Uncertainty: &v, Low: &v, High: &v, K: v, Spread: &v, Result: result.Failed,
					Budget: []result.Part{{U: v, DoF: v}}}},
				Curve:   []result.Point{{Duty: v, Direction: "up", Current: v, Uncertainty: v, Low: &v, High: &v}, {Direction: "down"}},
				Startup: result.Startup{Attempts: []result.Attempt{{Start: v, Length: v, Mean: v, Peak: v}, {Start: v}}, Settled: &v},
			},
		}
	}
	for _, in := range []report.Input{{}, {Trace: &trace.Trace{}}, {Result: result.Result{Verdict: result.Pass}},
		odd(nan), odd(inf), odd(-inf), odd(0), odd(math.MaxFloat64), odd(-math.MaxFloat64), odd(5e-324)} {
		p := pageOf(t, in)
		assert.NotRegexp(t, `NaN|[-+]Inf\b`, p)
		assert.NotEmpty(t, textOf(t, in, report.TextOptions{}))
	}
	assert.Contains(t, pageOf(t, report.Input{}), "nothing to draw")
	assert.Contains(t, pageOf(t, report.Input{}), "not stated")
}

func TestInputIsLeftAlone(t *testing.T) {
	in, same := bindingPump(), bindingPump()
	pageOf(t, in)
	textOf(t, in, report.TextOptions{})
	assert.Equal(t, same, in)
}

type failing struct{}

var errFull = errors.New("disk full")

func (failing) Write([]byte) (int, error) { return 0, errFull }

func TestWriteErrors(t *testing.T) {
	for _, err := range []error{report.Page(failing{}, goodPump()), report.Text(failing{}, goodPump(), report.TextOptions{})} {
		assert.ErrorIs(t, err, errFull)
		assert.ErrorContains(t, err, "report:")
	}
}

func TestLeadFallsBackOnVerdictAndCause(t *testing.T) {
	for _, c := range []struct {
		r    result.Result
		want string
	}{
		{result.Result{Verdict: result.Pass, Unit: "S-1"}, "Unit S-1 is good in all that was measured."},
		{result.Result{Verdict: result.Fail, Cause: causePtr(result.Hydraulic)}, "The unit fails; likeliest cause: hydraulic (air, valve, hose)."},
		{result.Result{Verdict: result.Undecided, Inseparable: []result.Cause{result.ControlBoard, result.Wiring}},
			"The unit can be called neither good nor bad; what speaks here cannot tell apart control board and wiring on the bench's side."},
		{result.Result{Error: "trace: a.csv:3: no number"}, "Not judged: trace: a.csv:3: no number."},
		{result.Result{}, "The unit was not judged."},
	} {
		got := strings.Join(strings.Fields(textOf(t, report.Input{Result: c.r}, report.TextOptions{})), " ")
		assert.True(t, strings.HasPrefix(got, c.want), got)
	}
}
