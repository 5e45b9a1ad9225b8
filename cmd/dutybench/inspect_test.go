package main

import (
	"context"
	"io"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kind"
	"dutybench/bench/result"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

const fine = "leak=no,seal=good,plug=dry,pins=good,free=yes,noise=no"

func TestInspectionByFlags(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		answers string
		status  int
		verdict string
	}{
		{fine, 0, "pass"},
		{"leak=yes", 3, "fail"},
		{"noise=yes", 4, "undecided"},
		{"seal=bad", 0, "pass"},
		{"plug=wet", 4, "undecided"},
	} {
		d := newDesk(t)
		got := d.call("run", "--json", "--inspection", c.answers)
		require.Equal(t, c.status, got.status, "%s: %s", c.answers, got.stderr)
		o := objects(t, got.stdout)[0]
		assert.Equal(t, c.verdict, o["verdict"], c.answers)
		i, ok := o["inspection"].(map[string]any)
		require.True(t, ok, c.answers)
		assert.Len(t, i["answers"], 6)
		shown := d.call("records", "show", "1").stdout
		assert.Contains(t, shown, "Inspection")
		if c.answers != fine {
			assert.Contains(t, shown, "Not inspected:")
			if c.verdict == "pass" {
				care := shown[strings.Index(shown, "Take care"):strings.Index(shown, "Measured ")]
				assert.Contains(t, care, "Not inspected: leak, plug, pins, free and noise.")
			}
		}
		rec := d.kept(t, 1)
		assert.Len(t, rec.At.Inspection, 6, "the record has the person's words")
		trace := string(rec.Trace)
		assert.Contains(t, trace, "# x-inspection: "+strings.ReplaceAll(c.answers, ",", " "))
		if c.answers == "plug=wet" {
			assert.NotContains(t, trace, "step: quiet")
			for line := range strings.Lines(trace) {
				if line[0] >= '0' && line[0] <= '9' {
					require.Equal(t, "0", strings.Split(line, ",")[3], "the supply was never on")
				}
			}
			assert.Contains(t, o["sentence"], "coolant in the plug")
			assert.Contains(t, o["next_step"], "Dry")
		}
		assert.Zero(t, d.call("records", "verify").status)

		// The trace alone says what it said: the inspection is beside it.
		if c.answers == "leak=yes" {
			again := d.call("judge", "--profile", defaultProfile, "--json", o["source"].(string))
			assert.Equal(t, "pass", objects(t, again.stdout)[0]["verdict"])
		}
	}
	d := newDesk(t)
	for _, wrong := range []string{"leak=perhaps", "leak", "leak=no,leak=no", "rust=no"} {
		c := d.call("run", "--inspection", wrong)
		assert.Equal(t, exitUsage, c.status, wrong)
		assert.Contains(t, c.stderr, "inspection")
	}
	assert.Empty(t, d.files(t))
}

func TestInspectionIsAsked(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	d.width = 80
	d.stdin = "x\rn\r1\r\nn\r y\n0\r" // x is no key and Enter none either; the fourth point is passed over
	c := d.call("run", "--inspect", "--json", "--fault", short)
	o := objects(t, c.stdout)[0]
	found := map[string]any{}
	for _, a := range o["inspection"].(map[string]any)["answers"].([]any) {
		m := a.(map[string]any)
		found[m["point"].(string)] = m["found"]
	}
	assert.Equal(t, map[string]any{"leak": "no", "seal": "good", "plug": "dry", "pins": "", "free": "yes", "noise": "no"}, found)
	assert.Contains(t, c.stderr, "1/6 Does the unit leak")
	assert.Contains(t, c.stderr, "not inspected")

	for name, keys := range map[string]string{"q": "nq", "Ctrl-C": "n\x03", "the end": "n"} {
		d := newDesk(t)
		d.width, d.stdin = 80, keys
		c := d.call("run", "--inspect")
		assert.Equal(t, exitError, c.status, name)
		assert.Contains(t, c.stderr, "nothing was switched on", name)
		assert.Empty(t, d.call("records", "list").stdout, name)
	}

	d = newDesk(t)
	d.width, d.stdin = 80, ""
	d.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
		ctx, cancel := context.WithCancel(ctx)
		cancel()
		return ctx, cancel
	}
	assert.Equal(t, exitError, d.call("run", "--inspect").status)
}

// Where nobody can be asked, the record says that nobody looked.
func TestInspectionWithoutATerminal(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	c := d.call("run", "--inspect", "--json", "--fault", short)
	o := objects(t, c.stdout)[0]
	for _, a := range o["inspection"].(map[string]any)["answers"].([]any) {
		assert.Empty(t, a.(map[string]any)["found"])
	}
	assert.Contains(t, c.stderr, "nobody was asked")
	plain := objects(t, d.call("run", "--json", "--fault", short).stdout)[0]
	assert.NotContains(t, plain, "inspection", "a simulated unit has nothing to look at")
}

// In a real unit's plug somebody must have looked before it is energised.
func TestRealUnitsPlugIsLookedInto(t *testing.T) {
	plan := kind.Plan{Steps: []kind.Step{{Name: "zero"}, {Name: "quiet", Supply: true}}}
	answers := func(s string) *result.Inspection {
		i, err := result.ParseInspection(s)
		require.NoError(t, err)
		return i
	}
	for _, c := range []struct {
		what      string
		i         *result.Inspection
		simulated bool
		powered   bool
	}{
		{"dry", answers("plug=dry"), false, true},
		{"wet", answers("plug=wet"), false, false},
		{"wet, simulated", answers("plug=wet"), true, false},
		{"not looked into", answers("leak=no,seal=good,pins=good"), false, false},
		{"not looked into, simulated", answers("leak=no"), true, true},
		{"nobody asked", result.NoInspection(), false, false},
		{"simulated", nil, true, true},
	} {
		x := &test{rig: &rig.Rig{Name: "own"}, bench: &openBench{}, plan: plan}
		if c.simulated {
			x.bench.simulated = &sim.Bench{}
		}
		x.heed(c.i)
		assert.Equal(t, c.powered, len(x.plan.Steps) == 2, c.what)
		r := result.Inspected(result.Result{Verdict: result.Pass}, c.i, !x.simulated())
		assert.Equal(t, c.powered, r.Verdict == result.Pass, c.what)
		if !c.powered && c.i.Found("plug") == "" {
			assert.Contains(t, r.Sentence, "look into the plug first")
			assert.Equal(t, 4, r.Exit())
		}
	}
	app := &app{env: env{stdin: strings.NewReader("nyn yn"), stderr: io.Discard}}
	i, err := app.inspectUnit(context.Background(), true)
	require.NoError(t, err)
	assert.Empty(t, i.Found("pins"))
	var said strings.Builder
	app.stdin, app.stderr = strings.NewReader("ny yyn"), &said
	_, err = app.inspectUnit(context.Background(), true)
	require.NoError(t, err)
	assert.Contains(t, said.String(), "Look into the plug first")
}

func TestUnpoweredPlan(t *testing.T) {
	p := unpowered(kind.Plan{Steps: []kind.Step{{Name: "zero"}, {Name: "quiet", Supply: true}, {Name: "off"}}})
	require.Len(t, p.Steps, 1)
	assert.Equal(t, "zero", p.Steps[0].Name)
}

func TestInspectionWords(t *testing.T) {
	assert.Empty(t, inspectionWords(nil))
	assert.Equal(t, "none", inspectionWords(result.NoInspection()))
	i, err := result.ParseInspection("plug=dry,leak=no")
	require.NoError(t, err)
	assert.Equal(t, "leak=no plug=dry", inspectionWords(i))
}

// The drawing of the plug comes before the first question.
func TestRunShowsTheConnector(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	data, err := os.ReadFile("../../profiles/builtin/aux-pump-60w.toml")
	require.NoError(t, err)
	cavity := func(label, function, column string) string {
		return "[[connector.cavity]]\nlabel = \"" + label + "\"\nfunction = \"" + function + "\"\nrow = 1\ncolumn = " + column + "\n"
	}
	s := strings.Replace(string(data), "\n[pump]\n", "\n[connector]\nseen_from = \"wire side\"\n"+cavity("1", "supply", "1")+cavity("2", "ground", "2")+cavity("3", "line", "3")+"\n[pump]\n", 1)
	require.NotEqual(t, string(data), s)
	file := d.write(t, "own.toml", s)
	c := d.call("run", "--profile", file, "--inspect", "--fault", short)
	assert.Contains(t, c.stderr, "seen from the wire side")
	assert.Contains(t, d.call("profiles", "show", file).stdout, "| supply     | ground     | line       |")
}
