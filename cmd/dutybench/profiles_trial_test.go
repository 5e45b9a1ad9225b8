package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/profiles"
)

// small is a study of a second: two faults that need no long test.
func small(more ...string) []string {
	return append([]string{"profiles", "trial", "aux-pump-20w", "--fault", "input-short", "--fault", "reversed",
		"--severities", "1,0.5", "--units", "1", "--good", "1", "--jobs", "2"}, more...)
}

func TestTrialForPeople(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	c := d.call(small("--plot", d.path("missed.svg"))...)
	require.Zero(t, c.status, c.stderr)
	for _, s := range []string{"aux-pump-20w (revision", "good units refused", "Passes although faulty", "input-short (control-board)", "Brier score", "named first"} {
		assert.Contains(t, c.stdout, s)
	}
	for line := range strings.Lines(c.stdout) {
		assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, "\n")), 80, line)
	}
	for _, s := range []string{"5 tests of simulated units, 2 at once: about ", "5 of 5 tests\n", "missed.svg"} {
		assert.Contains(t, c.stderr, s)
	}
	d.vars["LANG"] = "C"
	c = d.call(small()...)
	assert.NotContains(t, c.stdout, "±")
	assert.Zero(t, strings.IndexFunc(c.stdout, func(r rune) bool { return r > 126 })+1, "plain letters only")
	drawn, err := os.ReadFile(d.path("missed.svg"))
	require.NoError(t, err)
	assert.Contains(t, string(drawn), "<svg ")
	assert.Contains(t, string(drawn), "reversed")
}

func TestTrialForScripts(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	c := d.call(small("--json", "--seed", "9")...)
	require.Zero(t, c.status, c.stderr)
	got := objects(t, c.stdout)
	require.Len(t, got, 1)
	o := got[0]
	assert.EqualValues(t, 9, o["seed"])
	assert.EqualValues(t, 5, o["trials"])
	assert.Equal(t, false, o["partial"])
	assert.Equal(t, "aux-pump-20w", o["profiles"].([]any)[0].(map[string]any)["name"])
	faults := o["faults"].([]any)
	require.Len(t, faults, 2)
	first := faults[0].(map[string]any)
	assert.Equal(t, "input-short", first["name"])
	severities := first["severities"].([]any)
	require.Len(t, severities, 2)
	half := severities[0].(map[string]any)
	assert.EqualValues(t, 0.5, half["severity"], "rising")
	for _, key := range []string{"pass", "fail", "undecided", "not_passed", "right", "attributed"} {
		rate := half[key].(map[string]any)
		assert.EqualValues(t, 1, rate["of"], key)
		assert.ElementsMatch(t, []string{"count", "of", "share", "low", "high"}, keys(rate))
	}
}

// Ctrl-C ends a study with what is done so far, and says that it is partial.
func TestTrialStops(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	var errs bytes.Buffer
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out bytes.Buffer
	clock := time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC)
	status := execute(env{stdin: strings.NewReader(""), stdout: &out, getenv: func(key string) string { return d.vars[key] },
		stderr: writerFunc(func(p []byte) (int, error) {
			if strings.Contains(string(p), "2 of 7 tests") {
				stop()
			}
			return errs.Write(p)
		}),
		now: func() time.Time {
			clock = clock.Add(time.Second)
			return clock
		},
		isTerminal: func(any) (int, bool) { return 60, true },
		interrupt:  func(context.Context) (context.Context, context.CancelFunc) { return ctx, func() {} },
	}, small("--good", "3", "--jobs", "1"))
	assert.Equal(t, exitError, status)
	assert.Contains(t, errs.String(), "stopped after 2 of 7 tests")
	assert.Contains(t, out.String(), "PARTIAL: stopped after 2 of 7 tests")

	d.interrupt = func(c context.Context) (context.Context, context.CancelFunc) {
		ctx, stop := context.WithCancel(c)
		stop()
		return ctx, func() {}
	}
	c := d.call(small()...)
	assert.Equal(t, exitError, c.status)
	assert.Empty(t, c.stdout)
	oneSentence(t, c.stderr)
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

// What cannot be tried is said in one sentence, with what to do next.
func TestTrialRefuses(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	data, ok := profiles.Builtin("aux-pump-20w")
	require.True(t, ok)
	far := strings.NewReplacer(`nominal = "13.5 V"`, `nominal = "30 V"`, `high = "16 V"`, `high = "32 V"`).Replace(string(data))
	c := d.call("profiles", "trial", d.write(t, "far.toml", far))
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "no simulated unit")
	assert.Contains(t, c.stderr, "dutybench judge --profile")
	oneSentence(t, c.stderr)
	c = d.call("profiles", "trial", d.path("none.toml"))
	assert.Equal(t, exitError, c.status)
	oneSentence(t, c.stderr)
	c = d.call(small("--plot", d.path("no/folder.svg"))...)
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "no folder")
	for _, args := range [][]string{
		{"profiles", "trial"},
		{"profiles", "trial", "a", "b"},
		small("--fault", "gremlins"),
		small("--fault", "reversed"),
		small("--severities", "0"),
		small("--severities", "1.5"),
		small("--severities", "0.5,0.5"),
		small("--severities", ""),
		small("--units", "0"),
		small("--units", "99999"),
		small("--good", "-1"),
		small("--jobs", "-1"),
		small("--plot", "-"),
	} {
		c := d.call(args...)
		assert.Equal(t, exitUsage, c.status, "%v: %s", args, c.stderr)
		assert.Empty(t, c.stdout)
	}
}

// A first look is small where nothing else was said.
func TestTrialFirstLook(t *testing.T) {
	f := usualTrial
	f.units = 5
	f.shrink(func(flag string) bool { return flag == "units" })
	assert.Equal(t, 5, f.units)
	assert.Equal(t, firstLook.good, f.good)
	assert.Equal(t, firstLook.severities, f.severities)
}

func TestRoughly(t *testing.T) {
	for d, want := range map[time.Duration]string{
		100 * time.Millisecond: "a second", 42 * time.Second: "42 s", 59*time.Second + 700*time.Millisecond: "1 min 0 s",
		118 * time.Second: "1 min 50 s", 20 * time.Minute: "20 min", 3 * time.Hour: "3.0 h",
	} {
		assert.Equal(t, want, roughly(d))
	}
}
