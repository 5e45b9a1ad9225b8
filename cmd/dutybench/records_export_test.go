package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/result"
	"dutybench/signal/trace"
)

// rowsOf reads a table into its lines, each by the names of the columns.
func rowsOf(t *testing.T, text string) (rows []map[string]string) {
	t.Helper()
	all, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			_, twice := row[name]
			require.False(t, twice, name)
			row[name] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// claims are three records that tell much.
func claims(t *testing.T) []record.Record {
	t.Helper()
	cause := result.ControlBoard
	judged, err := json.Marshal(result.Result{Schema: 1, Verdict: result.Fail, Cause: &cause, Sentence: "Dead.",
		Causes: []result.CauseProbability{{Cause: result.ControlBoard, Probability: 0.93}},
		Findings: []result.Finding{
			{Name: "full_current", Value: new(-0.25), Unit: "A", Uncertainty: new(0.01), K: 2, Low: new(3.5), Result: result.Failed},
			{Name: "response", Unit: "%", Result: result.NotMeasured},
		}, Warnings: []string{"One.", "Two."}})
	require.NoError(t, err)
	other, err := json.Marshal(result.Result{Schema: 1, Verdict: result.Pass, Findings: []result.Finding{
		{Name: "starts", Value: new(1.0), Result: result.Passed},
		{Name: "full_current", Value: new(4.25), Unit: "A", Uncertainty: new(0.02), K: 1.96, Result: result.Passed},
	}})
	require.NoError(t, err)
	return []record.Record{
		{At: record.Circumstances{Unit: "=1+1", Claim: "00471", Hours_h: new(-1.5), Temperature_C: new(21.25), Complaint: "does \"not\"\nrun, µ", Customer: "-2+3",
			Notes: "\t@SUM(A1)", Operator: "-5", Primed: true, Attempt: 2, Inspection: []result.Answer{{Point: "leak", Found: "dry"}, {Point: "smell"}}},
			Result: judged, Purpose: "return", Workshop: record.Workshop{Name: "\u202e＝evil"}, Files: []record.File{{Name: "photo-1.jpg", Data: []byte("x")}}},
		{At: record.Circumstances{Unit: "B2"}, Result: other},
		{At: record.Circumstances{Unit: "C3"}, Interrupted: true},
	}
}

func TestExportTable(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.shelf(t, claims(t)...)
	c := d.call("records", "export", "--csv", "-")
	require.Zero(t, c.status, c.stderr)
	rows := rowsOf(t, c.stdout)
	require.Len(t, rows, 3)
	first := d.kept(t, 1)
	for name, want := range map[string]string{
		"record": first.ID.String(), "time_utc": "2026-03-01 08:00:00", "verdict": "fail", "cause": "control-board", "cause_probability": "0.93",
		"sentence": "Dead.", "broke_off": "no", "unit": "'=1+1", "claim": "00471", "hours_h": "-1.5", "temperature_C": "21.25",
		"customer": "'-2+3", "operator": "-5", "primed": "yes", "attempt": "2", "inspection": "leak: dry; smell: not inspected",
		"warnings": "One.; Two.", "purpose": "return", "workshop": "'＝evil", "files": "photo-1.jpg", "sha256": first.Hash, "test_s": "1", "rig": "own",
		"full_current [A]": "-0.25", "full_current uncertainty [A]": "0.01", "full_current result": "fail",
		"response [%]": "", "response uncertainty [%]": "", "response result": "not-measured", "starts": "", "starts result": "",
	} {
		assert.Equal(t, want, rows[0][name], name)
	}
	assert.True(t, strings.HasPrefix(rows[0]["notes"], "'"), rows[0]["notes"])
	assert.Contains(t, rows[0]["notes"], "@SUM(A1)")
	assert.NotContains(t, rows[0]["complaint"], "\n")
	assert.Contains(t, rows[0]["complaint"], `does "not"`)
	assert.Contains(t, rows[0]["complaint"], "run, µ")
	assert.Equal(t, "4.25", rows[1]["full_current [A]"])
	assert.Equal(t, "1", rows[1]["starts"])
	assert.Empty(t, rows[1]["response result"])
	assert.Empty(t, rows[1]["hours_h"])
	assert.Equal(t, "yes", rows[2]["broke_off"])
	assert.Empty(t, rows[2]["verdict"])

	c = d.call("records", "export", "--findings", "-", "--bom")
	require.Zero(t, c.status, c.stderr)
	text, marked := strings.CutPrefix(c.stdout, "\ufeff")
	assert.True(t, marked)
	rows = rowsOf(t, text)
	require.Len(t, rows, 4)
	assert.Equal(t, "full_current", rows[0]["finding"])
	assert.Equal(t, "2", rows[0]["k"])
	assert.Equal(t, "3.5", rows[0]["low"])
	assert.Equal(t, "'=1+1", rows[0]["unit"])
	assert.Equal(t, "%", rows[1]["unit_of_value"])
	assert.Empty(t, rows[1]["k"])
	assert.Equal(t, "B2", rows[3]["unit"])
}

// Whatever was typed, no cell of a table begins like a formula, unless it is a
// number.
func TestCellIsNoFormula(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"": "", "A-1": "A-1", "=1": "'=1", "+A1": "'+A1", "-A1": "'-A1", "@x": "'@x", "-5": "-5", "+5.25e3": "+5.25e3", "-Inf": "'-Inf",
		" =1": "' =1", "＝1": "'＝1", "－1": "'－1", "'=1": "'=1", "%": "%", "-0x10": "'-0x10",
	} {
		assert.Equal(t, want, cell(in), in)
	}
	for _, in := range []string{"\t=1", "\r=1", "\n=1", "\u200b=1", "\u00a0=1", "\ufeff=1", "\x00=1", "\u202e=1", "\u2028=1"} {
		bare := strings.TrimSpace(cell(in))
		assert.False(t, strings.HasPrefix(bare, "="), "%q gives %q", in, cell(in))
	}
}

func FuzzCell(f *testing.F) {
	for _, s := range []string{"=1", "\u200b\t＝1", "-5", "-5+2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		out := cell(s)
		if strings.ContainsAny(out, "\r\n\t\x00") {
			t.Fatalf("%q", out)
		}
		bare := strings.TrimSpace(out)
		if bare == "" || !strings.ContainsRune("=+-@", rune(bare[0])) {
			return
		}
		var v float64
		if json.Unmarshal([]byte(strings.TrimPrefix(bare, "+")), &v) != nil && strings.Trim(bare, "0123456789.eE+-_") != "" {
			t.Fatalf("%q is no number", out)
		}
	})
}

func TestExportJSON(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.shelf(t, claims(t)...)
	out := d.path("all.json")
	c := d.call("records", "export", "--json", out)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stderr, "3 records exported, json to "+out)
	text, err := os.ReadFile(out)
	require.NoError(t, err)
	o := objects(t, string(text))
	require.Len(t, o, 3)
	body := o[0]["record_json"].(map[string]any)
	assert.Equal(t, "=1+1", body["circumstances"].(map[string]any)["unit"], "as it was typed")
	assert.Equal(t, "does \"not\"\nrun, µ", body["circumstances"].(map[string]any)["complaint"])
	assert.Equal(t, d.kept(t, 1).Hash, o[0]["sha256"])
	assert.Equal(t, "fail", o[0]["result"].(map[string]any)["verdict"])
	assert.Nil(t, o[2]["result"])
	assert.Equal(t, true, o[2]["record_json"].(map[string]any)["interrupted"])

	some := d.call("records", "export", "--json", "-", "3", "1")
	require.Zero(t, some.status, some.stderr)
	o = objects(t, some.stdout)
	require.Len(t, o, 2, "in the order in which they are named")
	assert.Equal(t, true, o[0]["record_json"].(map[string]any)["interrupted"])
	picked := d.call("records", "export", "--json", "-", "--verdict", "pass")
	assert.Len(t, objects(t, picked.stdout), 1)
}

// Traces come back byte for byte: from a CSV into the store, out again, and
// read and written.
func TestExportTracesAreBitExact(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	var list []record.Record
	var want [][]byte
	odd := recorded("A1", 1, 7)
	odd.Columns = append(odd.Columns, trace.Column{Name: "note, \"x\"", Text: make([]string, odd.Len())})
	odd.Columns[5].Text[3] = "µ, \"q\""
	odd.Columns[4].Values[2] = math.NaN()
	odd.Columns[2].Values[0] = math.Copysign(0, -1)
	odd.Columns[2].Values[1] = 5e-324
	for _, tr := range []*trace.Trace{recorded("A0", 1, 3), odd} {
		var b bytes.Buffer
		require.NoError(t, trace.Write(&b, tr))
		want = append(want, b.Bytes())
	}
	// By hand: other line ends and spellings than the program's own.
	want = append(want, []byte("# by: hand\r\nt_s,duty_pct,current_A\r\n0,0,1.50\r\n1,0,-0.0\r\n"))
	for _, data := range want {
		list = append(list, record.Record{Trace: data, Result: []byte(aPass)})
	}
	d.shelf(t, list...)
	dir := d.path("out/deep")
	c := d.call("records", "export", "--traces", dir)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stderr, "3 traces to "+dir)
	for i, data := range want {
		path := filepath.Join(dir, d.kept(t, i+1).ID.String()+".csv")
		got, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, string(data), string(got))
		if i < 2 {
			tr, err := trace.ReadFile(path)
			require.NoError(t, err)
			var b bytes.Buffer
			require.NoError(t, trace.Write(&b, tr))
			assert.Equal(t, string(data), b.String())
		}
	}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 3, "nothing else is left there")

	c = d.call("records", "export", "--traces", dir)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stderr, "0 traces to "+dir+" (3 were there already)")
}

func TestExportWritesOverNothing(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.shelf(t, claims(t)[1:]...)
	mine := d.write(t, "mine.csv", "mine")
	for _, flag := range []string{"--csv", "--findings", "--json"} {
		c := d.call("records", "export", flag, mine)
		assert.Equal(t, exitError, c.status)
		assert.Contains(t, c.stderr, "mine.csv is there already and was left as it is")
	}
	require.NoError(t, os.Mkdir(d.path("traces"), 0o755))
	id := d.kept(t, 2).ID.String()
	d.write(t, "traces/"+id+".csv", "mine")
	c := d.call("records", "export", "--traces", d.path("traces"), "--csv", d.path("rows.csv"))
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, id+".csv is there already")
	assert.NotContains(t, d.files(t), "rows.csv", "all or nothing")
	require.NoError(t, os.Remove(d.path("traces/"+id+".csv")))
	require.NoError(t, os.Symlink(d.path("elsewhere"), d.path("traces/"+id+".csv")))
	c = d.call("records", "export", "--traces", d.path("traces"))
	assert.Equal(t, exitError, c.status, "a link that somebody laid there")
	assert.NoFileExists(t, d.path("elsewhere"))

	c = d.call("records", "export", "--csv", mine, "--overwrite")
	require.Zero(t, c.status, c.stderr)
	text, err := os.ReadFile(mine)
	require.NoError(t, err)
	assert.Len(t, rowsOf(t, string(text)), 2)
	for _, name := range d.files(t) {
		assert.NotContains(t, name, ".tmp")
	}
}

func TestExportWrongUsage(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.shelf(t, claims(t)[1:]...)
	for _, args := range [][]string{{}, {"--csv", "-", "--json", "-"}, {"--csv", "x", "--findings", "x"}, {"--traces", "-"}, {"1", "--unit", "B2", "--csv", "-"}, {"one", "--csv", "-"}, {"--verdict", "good", "--csv", "-"}} {
		c := d.call(append([]string{"records", "export"}, args...)...)
		assert.Equal(t, exitUsage, c.status, "%v: %s", args, c.stderr)
		assert.Empty(t, c.stdout)
	}
	c := d.call("records", "export", "1", "9", "--json", "-")
	assert.Equal(t, exitError, c.status, "one of them is not there")
	assert.Len(t, objects(t, c.stdout), 1, "the other is exported all the same")
	assert.Contains(t, c.stderr, "1 record could not be exported")
	assert.Equal(t, exitError, d.call("records", "export", "--csv", d.path("no/such/folder.csv")).status)
	c = d.call("records", "export", "--csv", "-", "--unit", "nobody's")
	assert.Zero(t, c.status)
	assert.Contains(t, c.stderr, "No record is like that.")
	assert.Empty(t, rowsOf(t, c.stdout))
}

// The table of a real test holds its findings as its result does.
func TestExportOfATest(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	require.Contains(t, []int{0, 3, 4}, d.call("run", "--unit", "A1", "--json").status)
	c := d.call("records", "export", "--csv", "-")
	require.Zero(t, c.status, c.stderr)
	row := rowsOf(t, c.stdout)[0]
	var r result.Result
	require.NoError(t, json.Unmarshal(d.kept(t, 1).Result, &r))
	require.NotEmpty(t, r.Findings)
	for _, f := range r.Findings {
		unit := ""
		if f.Unit != "" {
			unit = " [" + f.Unit + "]"
		}
		assert.Equal(t, decimal(f.Value), row[f.Name+unit], f.Name)
		assert.Equal(t, decimal(f.Uncertainty), row[f.Name+" uncertainty"+unit], f.Name)
		assert.Equal(t, string(f.Result), row[f.Name+" result"], f.Name)
	}
	assert.Equal(t, "yes", row["simulated"])
}
