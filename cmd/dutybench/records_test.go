package main

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/record"
	"dutybench/bench/record/store"
)

// shelf is a store with records that no test made: as many as are given, an
// hour apart.
func (d *desk) shelf(t testing.TB, records ...record.Record) {
	t.Helper()
	at := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	s, err := store.Open(d.home(), store.Options{})
	require.NoError(t, err)
	defer s.Close()
	for i := range records {
		r := &records[i]
		if r.When.IsZero() {
			r.When = at.Add(time.Duration(i) * time.Hour)
		}
		if r.Trace == nil {
			r.Trace = []byte("# trace: 1\nt_s,duty_pct,current_A\n0,0,0\n1,0,0\n")
		}
		if r.Rig.Name == "" {
			r.Rig.Name = "own"
		}
		_, err := s.Put(r)
		require.NoError(t, err)
	}
}

const (
	aPass   = `{"schema":1,"source":"","verdict":"pass","cause":null,"startup":{"attempts":[{"start_s":1,"length_s":1,"mean_A":1,"peak_A":1}]},"sentence":"Good."}`
	twoTry  = `{"schema":1,"source":"","verdict":"fail","cause":"mechanical","startup":{"attempts":[{},{}]},"sentence":"Drags."}`
	aBoard  = `{"schema":1,"source":"","verdict":"fail","cause":"control-board","startup":{"attempts":[]},"sentence":"Dead."}`
	aPassin = `{"schema":1,"source":"","verdict":"pass","cause":null,"startup":{"attempts":[{},{},{}]},"sentence":"Good."}`
)

func TestRecordsListAndFind(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.shelf(t,
		record.Record{At: record.Circumstances{Unit: "A1", Claim: "C-1", Customer: "Depot 4", Notes: "smells", AuthorisedBy: "X2"}, Result: []byte(aPass), Purpose: "return"},
		record.Record{At: record.Circumstances{Unit: "B2", Complaint: "runs on after key-off", ReceivedBy: "Ann"}, Result: []byte(aBoard)},
		record.Record{At: record.Circumstances{Unit: "C3", Seal: "A1"}, Interrupted: true},
		record.Record{At: record.Circumstances{Unit: "D4"}, Cancelled: true, Result: []byte(`{"verdict":"undecided"}`)},
	)
	units := func(args ...string) string {
		c := d.call(append([]string{"records"}, args...)...)
		require.Zero(t, c.status, c.stderr)
		var out []string
		for line := range strings.Lines(c.stdout) {
			out = append(out, strings.Fields(strings.NewReplacer("broke off", "broke-off", "not judged", "not-judged").Replace(line))[5])
		}
		return strings.Join(out, " ")
	}
	assert.Equal(t, "A1 B2 C3 D4", units("list"))
	assert.Equal(t, "C3 D4", units("list", "--limit", "2"), "the newest, newest last")
	assert.Equal(t, "A1", units("list", "--verdict", "pass"))
	assert.Equal(t, "B2", units("list", "--cause", "control-board"))
	assert.Equal(t, "C3", units("list", "--interrupted"))
	assert.Equal(t, "A1 C3", units("find", "a1"), "as a serial and as a seal")
	assert.Equal(t, "A1", units("find", "SMELLS"))
	assert.Equal(t, "B2", units("find", "key-off"))
	assert.Equal(t, "B2", units("find", "key-off", "b2"))
	assert.Equal(t, "", units("find", "key-off", "a1"), "both must be there")
	assert.Equal(t, "A1", units("find", "a1", "--claim", "c-1"))
	assert.Equal(t, "B2", units("find", "--person", "ann"))
	assert.Equal(t, "A1", units("find", "--customer", "depot 4"))
	assert.Equal(t, "B2 C3 D4", units("find", "--since", "2026-03-01T08:30:00Z"))
	assert.Equal(t, "A1", units("find", "--before", "2026-03-01T08:30:00Z"))
	assert.Equal(t, "B2", units("find", "ANN"), "who received it")
	assert.Equal(t, "A1 B2", units("find", "2"), "a record's number, and a part of what was told")
	name := d.kept(t, 2).ID.String()
	assert.Equal(t, "B2", units("find", name), "and its name")
	assert.Equal(t, "B2", units("find", name, "--cause", "control-board", "--since", "2026-03-01T08:30:00Z"))
	assert.Empty(t, units("find", name, "--verdict", "pass"), "the flags must fit too")
	assert.Empty(t, units("find", name, "--bench", "0123456789"))
	assert.Empty(t, units("find", "0123456789-000002"), "another bench's")
	assert.Equal(t, "A1", units("find", "depot"), "a part, where nothing is called that")
	assert.Equal(t, "A1", units("find", "epot", "SMELL"))
	assert.Equal(t, "B2", units("find", "on", "--person", "ann"))
	assert.Contains(t, d.call("records", "find", "depot").stderr, "as a part")
	for _, word := range []string{"nothing", "' OR 1=1 --"} {
		c := d.call("records", "find", word)
		assert.Contains(t, c.stderr, "No record is like that.")
		assert.NotContains(t, c.stderr, "No records yet", "the store is full")
	}
	assert.Empty(t, units("find", "' OR 1=1 --"))
	assert.Empty(t, units("find", "%"))

	list := d.call("records", "list").stdout
	assert.Contains(t, list, "  broke off ")
	assert.Contains(t, list, "  cancelled ")
	assert.NotContains(t, list, "undecided")
	o := objects(t, d.call("records", "list", "--json").stdout)
	require.Len(t, o, 4)
	assert.Equal(t, "control-board", o[1]["cause"])
	assert.Nil(t, o[0]["cause"])
	assert.Equal(t, true, o[2]["interrupted"])
	assert.Equal(t, true, o[3]["cancelled"])
	assert.Equal(t, "C-1", o[0]["circumstances"].(map[string]any)["claim"])

	for _, wrong := range [][]string{{"find"}, {"list", "--verdict", "good"}, {"list", "--cause", "bad luck"}, {"list", "--since", "yesterday"}, {"list", "--limit", "-1"}, {"list", "A1"}} {
		c := d.call(append([]string{"records"}, wrong...)...)
		assert.Equal(t, exitUsage, c.status, wrong)
		assert.Empty(t, c.stdout)
	}
	c := d.call("records", "list", "--unit", "nobody's")
	assert.Zero(t, c.status)
	assert.Contains(t, c.stderr, "No record is like that.")
	c = d.call("records", "show", "3")
	assert.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stdout, "broke off")
	assert.Contains(t, c.stdout, "records judge")
}

func TestRecordsHistory(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	day := func(n int) time.Time { return time.Date(2026, 3, n, 8, 0, 0, 0, time.UTC) }
	unit := func(c record.Circumstances) record.Circumstances { c.Unit = "U\x1b[2J7"; return c }
	d.shelf(t,
		record.Record{When: day(1), At: unit(record.Circumstances{Seal: "S1"}), Result: []byte(twoTry)},
		record.Record{When: day(2), At: unit(record.Circumstances{Seal: "S1"}), Result: []byte(aPass)},
		record.Record{When: day(20), At: unit(record.Circumstances{Seal: "S2", OpenedBy: "Bo", Complaint: "noisy"}), Result: []byte(aBoard)},
		record.Record{When: day(21), At: unit(record.Circumstances{}), Interrupted: true},
		record.Record{When: day(22), At: unit(record.Circumstances{}), Result: []byte(aPassin)},
		record.Record{When: day(22), At: record.Circumstances{Unit: "other"}, Result: []byte(aPass)},
	)
	c := d.call("records", "history", "U\x1b[2J7")
	require.Zero(t, c.status, c.stderr)
	text := strings.Join(strings.Fields(c.stdout), " ")
	for _, s := range []string{
		"It was tested 5 times: 2 pass, 2 fail, 1 broke off.",
		"It came back 18 days after it had passed",
		`and came out as fail; the complaint was "noisy"`,
		"Its start failed before it passed: 2 attempts in",
		"but only its start attempt number 3 succeeded",
		"The cause changed from mechanical",
		"Its seal changed from S1",
		"Bo opened it",
		"fail, control-board, 18 days later",
	} {
		assert.Contains(t, text, s)
	}
	assert.NotContains(t, c.stdout, "\x1b")
	assert.NotContains(t, text, "000006")
	assert.Equal(t, c.stdout, d.call("records", "show", "--unit", "U\x1b[2J7").stdout)
	o := objects(t, d.call("records", "history", "U\x1b[2J7", "--json").stdout)[0]
	assert.Len(t, o["tests"], 5)
	assert.Equal(t, exitError, d.call("records", "history", "none").status)
}

func TestRecordsJudge(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	for _, args := range [][]string{{"--seed", "7"}, {"--fault", short}, {"--fault", "supply-limit:1"}, {"--inspection", "leak=yes,plug=dry"}} {
		d.call(append([]string{"run", "--unit", "U"}, args...)...)
	}
	cancelled := d.interrupt
	d.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
		return &after{Context: ctx, n: 20_000}, func() {}
	}
	d.call("run")
	d.interrupt = cancelled

	var kept []map[string]any
	for i := range 5 {
		kept = append(kept, objects(t, d.call("records", "show", "--json", string(rune('1'+i))).stdout)...)
	}
	for _, how := range [][]string{nil, {"--as-kept"}} {
		c := d.call(append([]string{"records", "judge", "--json", "1", "2", "3", "4", "5"}, how...)...)
		got := objects(t, c.stdout)
		require.Len(t, got, 5, c.stderr)
		for i, o := range got {
			assert.Equal(t, kept[i]["record"], o["record"])
			assert.Equal(t, kept[i]["verdict"], o["verdict_now"], "%d: the bench and the person are heard again", i+1)
			assert.Equal(t, kept[i]["cause"], o["cause_now"], "%d", i+1)
			assert.Equal(t, kept[i]["sentence"], o["result"].(map[string]any)["sentence"], "%d", i+1)
			assert.Empty(t, o["changed_by"], "%d", i+1)
			assert.Empty(t, o["findings"], "%d", i+1)
		}
		assert.Equal(t, 5, c.status, "the worst of them")
	}
	c := d.call("records", "judge", "1")
	assert.Zero(t, c.status)
	assert.Contains(t, c.stdout, "pass, as then.")
	assert.Contains(t, c.stdout, "nothing is judged differently")

	// Another profile: the change is the profile's.
	narrow := "aux-pump-20w"
	c = d.call("records", "judge", "1", "--profile", narrow, "--json")
	o := objects(t, c.stdout)[0]
	assert.Equal(t, []any{"profile"}, o["changed_by"])
	assert.NotEmpty(t, o["findings"])
	assert.NotEqual(t, o["profile_then"], o["profile_now"])
	assert.Equal(t, statusOf(o["result"].(map[string]any)), c.status)
	c = d.call("records", "judge", "1", "--profile", narrow)
	assert.Contains(t, strings.Join(strings.Fields(c.stdout), " "), "the profile is another; by the record's own, today's program says what was said then")
	assert.Contains(t, c.stdout, "limits")

	for _, wrong := range [][]string{{"judge"}, {"judge", "x"}, {"judge", "1", "--as-kept", "--profile", "p"}} {
		assert.Equal(t, exitUsage, d.call(append([]string{"records"}, wrong...)...).status, wrong)
	}
	c = d.call("records", "judge", "9", "1", "--json")
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, objects(t, c.stdout)[0]["error"], "no record")
	assert.Equal(t, "pass", objects(t, c.stdout)[1]["verdict_now"])
}
