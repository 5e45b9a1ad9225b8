package report_test

import (
	"bytes"
	"encoding/json"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/ledger"
	"dutybench/bench/report"
	"dutybench/bench/result"
	"dutybench/profiles"
	"dutybench/signal/trace"
)

// bench is the invented bench of the samples, whose key is made for the test.
const bench = "k3v7q2m9xw"

// benchKey is what stands for its public key: its fingerprint below is what
//
//	printf %s 'dutybench/k3v7q2m9xw+00000000+QUFB' | sha256sum | cut -c1-32
//
// prints, in groups of four.
const (
	benchKey         = "dutybench/k3v7q2m9xw+00000000+QUFB"
	benchFingerprint = "58c1 4624 1eb5 0549 5e15 6eaa 53a3 0db9"
)

// keptOf is a test of the samples as a record, sealed as number 42 of its
// bench, with a head that reaches it.
func keptOf(t testing.TB, in report.Input, change func(*record.Record)) report.Kept {
	t.Helper()
	var data bytes.Buffer
	require.NoError(t, trace.Write(&data, in.Trace))
	in.Result.Record, in.Result.Source = "", ""
	in.Result.Inspection, _ = result.ParseInspection("leak=no,seal=good,plug=dry,pins=good,free=yes")
	in.Result.Checks = []result.Check{
		result.NewCheck("zero", 0.0012, "A", -0.2, 0.2, "Current with the supply off."),
		result.NewCheck("supply", 13.48, "V", 10.5, 16, "Within the range of the profile."),
		result.NewCheck("line low", nan, "V", nan, nan, "Held low, this unit may run."),
	}
	in.Result.Risk = &result.Risk{Purpose: "return", Rule: "guard bands of the uncertainty that the limits do not contain, so that errors of measurement turn a fail at most once in a hundred (JCGM 106:2012)", Refusal: 0.02, Chance: ptr(0.0004), Measurement: ptr(0.003)}
	object, err := json.Marshal(in.Result)
	require.NoError(t, err)
	r := &record.Record{
		When: in.When, Purpose: "return", Program: in.Program, Rig: record.Rig{Name: in.Rig},
		Calibration: "calibration.toml of 2026-02-27: current against a reference shunt, good until 2027-02-27",
		Profile:     record.Profile{Name: in.Profile.Name, Revision: in.Profile.Revision, Text: []byte("name = \"sample\"\n")},
		At: record.Circumstances{Unit: in.Result.Unit, Kind: "pump", Operator: "M. Sample", Fixture: in.Fixture, Fluid: "water with a third of glycol",
			Temperature_C: ptr(21.6), Primed: true, Notes: "Plug cleaned before the test.", PartNumber: "SP-0420", Revision: "C", DateCode: "2611",
			Hours_h: ptr(1840), Distance_km: ptr(61200), Complaint: "No heat at idle", Claim: "W-2026-0815", Order: "J-7731", Customer: "Sample Motors", CustomerContact: "1 Sample Street, Sampleton; desk@sample.example",
			Seal: "004471", PriorOpening: "customer says nobody", ReceivedBy: "A. Sample", Received: "2026-03-02", OpenedBy: "M. Sample", AuthorisedBy: "C. Sample, head of the workshop",
			Attempt: 2, Filling: "2026-03-01"},
		Workshop: record.Workshop{Name: "Sample Rebuilds", Address: "2 Sample Yard, Sampleton", Contact: "bench@rebuilds.example"},
		Files:    []record.File{{Name: record.RigFile, Data: []byte("name = \"left bench\"\n")}},
		Trace:    data.Bytes(), Result: object,
	}
	for _, f := range in.Facts {
		r.Rig.Facts = append(r.Rig.Facts, record.Fact(f))
	}
	if change != nil {
		change(r)
	}
	body, err := record.Seal(r, record.Place{Bench: bench, Seq: 42, Previous: strings.Repeat("ab", 32), After: in.When.Add(-time.Hour)})
	require.NoError(t, err)
	h := ledger.Head{Bench: bench, Size: 42, Root: ledger.Leaf(body)}
	h.Signed = []byte("dutybench/" + bench + "\n42\n" + h.Root.String() + "\n\n— dutybench/" + bench + " " + strings.Repeat("Zm9v", 24) + "\n")
	in.Profile.Learned = profiles.Learned{Units: 12, On: "2026-01-20"}
	return report.Kept{Wet: in.Wet, Cautions: in.Cautions, Record: r, Head: h, Key: benchKey, Profile: in.Profile, Issued: time.Date(2026, 3, 5, 9, 30, 0, 0, time.UTC), Program: in.Program}
}

func unjudged(r *record.Record) { r.Result = nil }

func interrupted(r *record.Record) {
	r.Result, r.Interrupted = nil, true
	lines := bytes.SplitAfter(r.Trace, []byte("\n"))
	r.Trace = bytes.Join(lines[:len(lines)/5], nil)
	r.ClockDoubt = "the clock ran back by 12 minutes since the record before"
}

// hostile is what a person could type to break a page.
const hostile = `</title></style></dd><script>alert(1)</script><img src=x onerror=alert(2)> "quotes' & ampersands; \(paren) %PDF ` +
	"\u202eright to left\u202c \x00\x1b[31m \U0001F600 \u4e2d\u6587 \u0645\u0631\u062d\u0628\u0627 e\u0301"

func attacked(r *record.Record) {
	long := strings.Repeat("W", 400)
	note := strings.Repeat("Ten thousand letters of notes, and more. ", 250)
	at := &r.At
	for _, p := range []*string{&at.Unit, &at.Operator, &at.Fixture, &at.Fluid, &at.PartNumber, &at.Revision, &at.DateCode, &at.Claim, &at.Order,
		&at.Customer, &at.CustomerContact, &at.PriorOpening, &at.ReceivedBy, &at.Received, &at.OpenedBy, &at.ReturnedBy, &at.AuthorisedBy, &at.Lot, &at.Filling,
		&r.Workshop.Name, &r.Workshop.Address, &r.Workshop.Contact, &r.ClockDoubt, &r.Purpose, &r.Program, &r.Rig.Name, &r.Calibration} {
		*p = hostile
	}
	at.Complaint, at.Seal, at.Notes = long, long, note+hostile
	r.Rig.Facts = append(r.Rig.Facts, record.Fact{Key: hostile, Value: hostile}, record.Fact{Key: long, Value: long})
	var res result.Result
	_ = json.Unmarshal(r.Result, &res)
	res.Sentence, res.NextStep, res.Unit, res.Ended, res.Early = note+hostile, hostile, hostile, hostile, hostile
	res.Warnings, res.NotTested, res.Reusable, res.Carried = []string{hostile, note}, []string{hostile, long}, []string{hostile}, []string{hostile}
	for i := range res.Findings {
		res.Findings[i].Note = hostile
	}
	res.Findings = append(res.Findings, result.Finding{Name: hostile, Unit: hostile, Value: ptr(1e300), Low: ptr(-1e300), Result: "odd", Note: note},
		result.Finding{Name: long, Unit: "A", Value: ptr(2), Uncertainty: ptr(0.1), K: 2, High: ptr(1), Result: result.Failed})
	res.Checks[0].Sentence, res.Risk.Rule, res.Inspection.Effect = note, hostile, hostile
	r.Result, _ = json.Marshal(res)
}

// picture is an invented photo with an arrow that shows which side is up.
func picture(w, h int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{uint8(200 * x / w), uint8(160 * y / h), 120, 255}
			if d := x - w/2; d*d < (y-h/10)*(y-h/10)/9 && y > h/10 && y < h/2 {
				c = color.RGBA{250, 240, 200, 255}
			}
			img.SetRGBA(x, y, c)
		}
	}
	return img
}

func jpegOf(t testing.TB, w, h int) []byte {
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, picture(w, h), nil))
	return b.Bytes()
}

func pngOf(t testing.TB, w, h int) []byte {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, picture(w, h)))
	return b.Bytes()
}

func photographed(t testing.TB) func(*record.Record) {
	return func(r *record.Record) {
		r.Files = append(r.Files,
			record.File{Name: "photo-1.jpg", Data: jpegOf(t, 1200, 900)}, record.File{Name: "photo-2.png", Data: pngOf(t, 400, 1000)},
			record.File{Name: "photo-3.jpg", Data: []byte("no picture")}, record.File{Name: "photo-4.jpg", Data: jpegOf(t, 60, 60)[:700]})
	}
}

// rendered is a record's report in both forms.
type rendered struct {
	report.Kept
	doc  *report.Document
	pdf  []byte
	page string
}

var once struct {
	sync.Once
	kept map[string]report.Kept
	all  map[string]map[report.Version]rendered
}

// keptSamples are the records of all kinds that a report is made of. They
// take time to make, and no test changes them.
func keptSamples(t testing.TB) map[string]report.Kept {
	renderedSamples(t)
	return once.kept
}

// renderedSamples are their reports.
func renderedSamples(t testing.TB) map[string]map[report.Version]rendered {
	once.Do(func() {
		once.kept, once.all = makeSamples(t), map[string]map[report.Version]rendered{}
		for name, k := range once.kept {
			once.all[name] = map[report.Version]rendered{}
			for _, v := range []report.Version{report.Card, report.Claim} {
				d := composed(t, k, v)
				once.all[name][v] = rendered{k, d, pdfOf(t, d), htmlOf(t, d)}
			}
		}
	})
	return once.all
}

func makeSamples(t testing.TB) map[string]report.Kept {
	return map[string]report.Kept{
		"pass":        keptOf(t, goodPump(), photographed(t)),
		"fail":        keptOf(t, bindingPump(), nil),
		"undecided":   keptOf(t, deadBoard(), nil),
		"interrupted": keptOf(t, goodPump(), interrupted),
		"unjudged":    keptOf(t, goodPump(), unjudged),
		"hostile":     keptOf(t, bindingPump(), func(r *record.Record) { attacked(r); photographed(t)(r) }),
		"cancelled":   keptOf(t, goodPump(), func(r *record.Record) { r.Cancelled = true }),
		"bare":        {Record: &record.Record{ID: record.ID{Bench: bench, Seq: 1}, Hash: strings.Repeat("0", 64)}},
	}
}
