package main

import (
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/kinds"
	"dutybench/profiles"
)

func TestProfilesList(t *testing.T) {
	d := newDesk(t)
	c := d.call("profiles", "list", "--json")
	require.Zero(t, c.status, c.stderr)
	got := objects(t, c.stdout)
	require.Len(t, got, len(profiles.Builtins()))
	for i, name := range profiles.Builtins() {
		assert.Equal(t, name, got[i]["name"])
		p, _, err := loadProfile(name)
		require.NoError(t, err)
		assert.Equal(t, p.Kind, got[i]["kind"])
	}
	people := d.call("profiles", "list")
	for _, name := range profiles.Builtins() {
		assert.Contains(t, people.stdout, name)
	}
	for line := range strings.Lines(people.stdout) {
		assert.LessOrEqual(t, len(line), 81, line)
	}
}

func TestProfilesShow(t *testing.T) {
	d := newDesk(t)
	c := d.call("profiles", "show", d.learned(t))
	require.Zero(t, c.status, c.stderr)
	for _, s := range []string{"learned, revision 1", "12, learned on 2026-11-25", "▲", "full_current", "quiet_current"} {
		assert.Contains(t, c.stdout, s)
	}
	for line := range strings.Lines(c.stdout) {
		if !strings.Contains(line, d.dir) {
			assert.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 80, line)
		}
	}
	c = d.call("profiles", "show", "--ascii", d.path("learned.toml"))
	assert.Zero(t, strings.IndexFunc(c.stdout, func(r rune) bool { return r > 126 })+1, "plain letters only")
	for _, name := range profiles.Builtins() {
		c := d.call("profiles", "show", name)
		assert.Zero(t, c.status, c.stderr)
		assert.Contains(t, c.stdout, name)
	}
}

func TestProfilesCheck(t *testing.T) {
	d := newDesk(t)
	fine := d.learned(t)
	text, err := os.ReadFile(fine)
	require.NoError(t, err)
	wrong := d.write(t, "wrong.toml", strings.Replace(string(text), "revision = 1", "revision = 1\nshoe_size = 45", 1))
	unit := d.write(t, "unit.toml", strings.Replace(string(text), "frequency = \"1000 Hz\"", "frequency = \"1000 V\"", 1))
	c := d.call("profiles", "check", fine)
	assert.Zero(t, c.status)
	assert.Contains(t, c.stdout, ": ok (learned, revision 1, pump, 12 good units)")
	c = d.call("profiles", "check", wrong, fine, unit)
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stdout, "wrong.toml:6:1: ")
	assert.Contains(t, c.stdout, "shoe_size")
	assert.Contains(t, c.stdout, "learned.toml: ok")
	assert.Contains(t, c.stdout, "unit.toml:")
	for _, name := range profiles.Builtins() {
		assert.Zero(t, d.call("profiles", "check", name).status)
	}
}

func TestLearnRefuses(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	paths := d.record(t, "u", 6, good)
	out := d.path("new.toml")
	broken := d.write(t, "broken.csv", "t_s,duty_pct,current_A\n0,0,x\n")
	learn := func(traces ...string) called {
		return d.call(append([]string{"profiles", "learn", "--name", "new", "--out", out}, traces...)...)
	}
	for name, c := range map[string]struct {
		traces []string
		says   string
	}{
		"too few":             {paths[:4], "4 units were given"},
		"the same unit twice": {append([]string{paths[0], paths[0], paths[0]}, paths[1:4]...), "4 units were given"},
		"a broken trace":      {append([]string{broken}, paths...), "broken.csv: line 2, column 3"},
		"no trace":            {[]string{d.path("nowhere.csv")}, "nowhere.csv"},
	} {
		t.Run(name, func(t *testing.T) {
			got := learn(c.traces...)
			assert.Equal(t, exitError, got.status, got.stdout)
			assert.Contains(t, got.stderr, c.says)
			oneSentence(t, got.stderr)
			assert.NoFileExists(t, out)
		})
	}
	assert.Equal(t, exitUsage, d.call("profiles", "learn", "--name", "new", "--out", out, "--kind", "boat", paths[0]).status)
	got := d.call(append([]string{"profiles", "learn", "--name", "Not A Name", "--out", out}, paths...)...)
	assert.Equal(t, exitError, got.status)
	assert.NoFileExists(t, out)
	for _, f := range d.files(t) {
		assert.True(t, strings.HasSuffix(f, ".csv"), "nothing half-written: %s", f)
	}
}

func TestLearnProvisionalAndOverwriting(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	paths := d.record(t, "u", 7, good)
	out := d.path("new.toml")
	args := append([]string{"profiles", "learn", "--name", "new", "--out", out}, paths...)
	c := d.call(args...)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stdout, "provisional profile new, learned from 7 distinct units")
	assert.Contains(t, c.stdout, "95 %")
	before, err := os.ReadFile(out)
	require.NoError(t, err)
	c = d.call(args...)
	assert.Equal(t, exitError, c.status)
	assert.Contains(t, c.stderr, "--force")
	c = d.call(append(args, "--force", "--like", d.learned(t))...)
	require.Zero(t, c.status, c.stderr)
	after, err := os.ReadFile(out)
	require.NoError(t, err)
	assert.NotEqual(t, before, after)
}

// A bad unit among good ones is named and left out.
func TestLearnNamesTheStranger(t *testing.T) {
	t.Parallel()
	d := newDesk(t)
	paths := append(d.record(t, "u", 12, good), d.record(t, "stranger", 1, func(int) float64 { return 2.5 })...)
	c := d.call(append([]string{"profiles", "learn", "--name", "new", "--out", d.path("new.toml")}, paths...)...)
	require.Zero(t, c.status, c.stderr)
	assert.Contains(t, c.stdout, "stranger-00")
	assert.Contains(t, c.stdout, "learned from 12 distinct units")
}

// The limits shown are those that a judgement holds: a trace's findings have
// them to the last digit when as many of them are measured.
func TestLimitsShownAreThoseHeld(t *testing.T) {
	d := newDesk(t)
	p, k, err := loadProfile(d.learned(t))
	require.NoError(t, err)
	shown, curve := limitsOf(p, k)
	require.Len(t, curve, 17)
	c := d.call("judge", "--profile", d.path("learned.toml"), "--json", d.record(t, "one", 1, good)[0])
	compared := 0
	for _, f := range objects(t, c.stdout)[0]["findings"].([]any) {
		held := f.(map[string]any)
		for _, s := range shown {
			if s.Name == held["name"] && s.High != nil && held["high"] != nil && strings.HasSuffix(s.Name, "_current") {
				assert.InDelta(t, held["high"], *s.High, 1e-9*math.Abs(*s.High))
				compared++
			}
		}
	}
	assert.Equal(t, 2, compared)
}

func TestProfileTextIsWhatWasRead(t *testing.T) {
	d := newDesk(t)
	path := d.learned(t)
	p, err := profiles.Load(path, kinds.Section)
	require.NoError(t, err)
	data, err := profileText(p)
	require.NoError(t, err)
	on, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, on, data)
	require.NoError(t, os.WriteFile(path, append(on, '\n'), 0o644))
	_, err = profileText(p)
	assert.ErrorContains(t, err, "changed")
}
