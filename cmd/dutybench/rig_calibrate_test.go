package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/calibrate"
)

const meterFile = `name = "bench multimeter, range 10 A"
serial = "4711"
certificate = "K-2026-0417"
issued = "2026-04-17"
due = "2027-04-17"
gain = "0.1 %"
offset = 0.002
k = 2
digit = 0.001
`

func TestCalibrateSimulated(t *testing.T) {
	for _, quantity := range []string{"current", "voltage"} {
		d := newDesk(t)
		c := d.call("rig", "calibrate", "--simulate", "--quantity", quantity)
		require.Equal(t, 0, c.status, c.stderr)
		assert.Contains(t, c.stdout, "gain    1.00")
		assert.Contains(t, c.stdout, "reference's gain")
		assert.Contains(t, c.stdout, "9 of 9")
		assert.Contains(t, c.stdout, "nothing is stored")
	}
}

// A person at the keys: the simulated load follows what is asked for, within
// 3 %, so that what is typed is only roughly right.
func TestCalibrateByHand(t *testing.T) {
	d := newDesk(t)
	meter := d.write(t, "meter.toml", meterFile)
	d.stdin = "1.0\n5.5\nb\n5.5\no\n5\no\n5.5\n99\n10\n5.5\n1\n"
	c := d.call("rig", "calibrate", "--reference", meter, "--levels", "3", "--by", "me")
	assert.Contains(t, c.stdout, "The supply is off. Type o")
	assert.Contains(t, c.stdout, "with the supply on; or s, b, o or q", "a value was typed with the supply off")
	assert.Contains(t, c.stdout, "type the value again", "99 for 10")
	assert.Contains(t, c.stdout, "5 of 5")
	assert.Contains(t, c.stdout, "gain    ")

	for name, x := range map[string]struct{ stdin, says string }{
		"quit": {"1\nq\n", "ended by q"},
		"end":  {"1\n", "the input ended"},
	} {
		d.stdin = x.stdin
		c = d.call("rig", "calibrate", "--reference", meter, "--levels", "3")
		assert.Equal(t, 1, c.status, name)
		assert.Contains(t, c.stderr, x.says, name)
	}
}

const smallRig = "install/rigs/small.toml"

func TestCalibrateFromPairs(t *testing.T) {
	small, err := os.ReadFile(smallRig)
	if err != nil {
		t.Skipf("no example of a rig file: %v", err)
	}
	d := newDesk(t)
	rigFile := d.write(t, "small.toml", string(small))
	meter := d.write(t, "meter.toml", meterFile)
	pairs := d.write(t, "pairs.csv", "reading_A,reference_A\n0.0031,0\n1.0132,1.000\n3.0330,3.000\n5.0531,5.000\n7.0734,7.000\n5.0532,5.000\n3.0334,3.000\n")
	args := []string{"rig", "calibrate", "--rig", rigFile, "--reference", meter, "--points", pairs, "--by", "me"}
	d.stdin = "n\n"
	c := d.call(args...)
	require.Equal(t, 0, c.status, c.stderr)
	assert.Contains(t, c.stdout, "Nothing is stored")
	d.stdin = "y\n"
	c = d.call(args...)
	require.Equal(t, 0, c.status, c.stderr)
	assert.Contains(t, c.stdout, "due on 2027-11-25")
	f, err := calibrate.Load(rigFile)
	require.NoError(t, err)
	require.Len(t, f.List, 1)
	assert.InDelta(t, 1.01, f.List[0].Line().Gain.Value, 2e-4)
	assert.Equal(t, "me", f.List[0].By)
	// A slip at one point: named, left out when the person says so.
	d.write(t, "pairs.csv", "reading_A,reference_A\n0.0031,0\n1.0132,1.000\n3.0330,3.000\n5.1531,5.000\n7.0734,7.000\n5.0532,5.000\n3.0334,3.000\n")
	d.stdin = "n\n"
	c = d.call(args...)
	assert.Equal(t, 1, c.status)
	assert.Contains(t, c.stdout, "Point 4, where the reference showed 5,")
	d.stdin = "y\ny\n"
	c = d.call(args...)
	assert.Equal(t, 0, c.status, c.stderr)
	c = d.call(append(args, "--yes")...)
	assert.Equal(t, 1, c.status, "a line that is not fit is not stored unseen")
	f, err = calibrate.Load(rigFile)
	require.NoError(t, err)
	assert.Len(t, f.List, 2)
}

func TestCalibrateRefuses(t *testing.T) {
	d := newDesk(t)
	meter := d.write(t, "meter.toml", meterFile)
	odd := d.write(t, "odd.toml", strings.Replace(meterFile, "k = 2", "k = 2\ncolour = \"red\"", 1))
	none := d.write(t, "none.csv", "a,b\n1,2\n")
	bad := d.write(t, "bad.csv", "reading_A,reference_A\n1,2\nx,3\n")
	for _, x := range []struct {
		args   []string
		status int
		says   string
	}{
		{nil, 2, "--reference FILE is missing"},
		{[]string{"--simulate", "--quantity", "power"}, 2, "current or voltage"},
		{[]string{"--simulate", "--levels", "2"}, 2, "3 to 50"},
		{[]string{"--simulate", "--top", "500"}, 2, "this bench bears up to"},
		{[]string{"--simulate", "--low", "3", "--top", "2"}, 2, "low below top"},
		{[]string{"--simulate", "--due", "soon"}, 2, "is no date"},
		{[]string{"--reference", odd}, 1, "unknown key colour"},
		{[]string{"--reference", d.path("gone.toml")}, 1, "give its file"},
		{[]string{"--reference", meter, "--points", none}, 1, "reading_A and reference_A"},
		{[]string{"--reference", meter, "--points", bad}, 1, "line 3"},
	} {
		c := d.call(append([]string{"rig", "calibrate"}, x.args...)...)
		assert.Equal(t, x.status, c.status, "%v: %s", x.args, c.stderr)
		assert.Contains(t, c.stderr, x.says)
	}
}
