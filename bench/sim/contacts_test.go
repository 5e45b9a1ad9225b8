package sim

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

const high, low = gpio.High, gpio.Low

// contactBench has all contacts and a resistor of 10 Ω as the unit, on 13.5 V
// behind 40 mΩ.
func contactBench(o Options) *Bench {
	o.Unit = &Resistor{Ohm: 10}
	o.Ideal = true
	return NewBench(o)
}

func TestContactsInSeries(t *testing.T) {
	const full, limited = 13.5 / 10.04, 13.5 / 57.04
	type levels struct{ first, second, preCharge gpio.Level }
	for name, c := range map[string]struct {
		o    Options
		pins levels
		want float64
	}{
		"one, open":                 {Options{}, levels{}, 0},
		"one, closed":               {Options{}, levels{first: high}, full},
		"one, pre-charge":           {Options{PreCharge_Ohm: 47}, levels{preCharge: high}, limited},
		"one, both":                 {Options{PreCharge_Ohm: 47}, levels{first: high, preCharge: high}, full},
		"two, first only":           {Options{Second: true}, levels{first: high}, 0},
		"two, second only":          {Options{Second: true}, levels{second: high}, 0},
		"two, both":                 {Options{Second: true}, levels{first: high, second: high}, full},
		"two, pre-charge alone":     {Options{Second: true, PreCharge_Ohm: 47}, levels{preCharge: high}, 0},
		"two, first and pre-charge": {Options{Second: true, PreCharge_Ohm: 47}, levels{first: high, preCharge: high}, limited},
		"two, all":                  {Options{Second: true, PreCharge_Ohm: 47}, levels{first: high, second: high, preCharge: high}, full},
	} {
		for _, lines := range []string{"", " on lines"} {
			t.Run(name+lines, func(t *testing.T) {
				if lines != "" {
					l, err := MakeLines(t.TempDir(), SwitchName, SecondName, PreChargeName)
					require.NoError(t, err)
					c.o.Lines = l
				}
				b := contactBench(c.o)
				for pin, l := range map[string]gpio.Level{SwitchName: c.pins.first, SecondName: c.pins.second, PreChargeName: c.pins.preCharge} {
					if l == high {
						p, err := b.Pin(pin)
						require.NoError(t, err)
						require.NoError(t, p.Out(high))
					}
				}
				b.Clock().Sleep(time.Millisecond)
				b.World.settle(b.World.now)
				assert.InDelta(t, c.want, b.World.Current_A(), 1e-9)
				assert.Equal(t, c.want > 0, b.World.Energised())
			})
		}
	}
}

func TestContactFaults(t *testing.T) {
	b := contactBench(Options{Second: true})
	b.Second.SetFault(SwitchWelded)
	assert.False(t, b.World.Energised(), "one welded contact of two lets nothing through")
	require.NoError(t, b.Switch.Out(high))
	assert.True(t, b.World.Energised())
	b.Switch.SetFault(SwitchNotClosing)
	assert.False(t, b.World.Energised())
	b.Switch.SetFault(SwitchWelded)
	assert.True(t, b.World.Energised())
}

func TestContactsThatAreNotFitted(t *testing.T) {
	b := contactBench(Options{})
	for _, name := range []string{SecondName, PreChargeName, HeartbeatName} {
		_, err := b.Pin(name)
		assert.Error(t, err, name)
	}
	assert.Nil(t, b.Second)
	assert.Nil(t, b.Heartbeat)
}

func TestHeartbeatRelay(t *testing.T) {
	b := contactBench(Options{Heartbeat: 50 * time.Millisecond})
	require.NoError(t, b.Switch.Out(high))
	b.Clock().Sleep(time.Second)
	b.World.settle(b.World.now)
	assert.False(t, b.World.Energised(), "no pulse yet")
	for i := range 20 {
		require.NoError(t, b.Heartbeat.Out(gpio.Level(i%2 == 0)))
		if i == 0 {
			b.Clock().Sleep(RelayPullIn - time.Millisecond)
			b.World.settle(b.World.now)
			require.False(t, b.World.Energised(), "not yet in")
			b.Clock().Sleep(2 * time.Millisecond)
			b.World.settle(b.World.now)
			require.True(t, b.World.Energised())
		}
		b.Clock().Sleep(19 * time.Millisecond)
		b.World.settle(b.World.now)
		require.True(t, b.World.Energised())
	}
	b.Clock().Sleep(30 * time.Millisecond)
	b.World.settle(b.World.now)
	assert.True(t, b.World.Energised())
	b.Clock().Sleep(2 * time.Millisecond)
	b.World.settle(b.World.now)
	assert.False(t, b.World.Energised(), "a pin that stays high is no pulse")
	b.Heartbeat.SetFault(SwitchWelded)
	assert.True(t, b.World.Energised())
}

// TestLinesKeepTheirLevel: another process drives them, and what it left is
// found.
func TestLinesKeepTheirLevel(t *testing.T) {
	dir := t.TempDir()
	l, err := MakeLines(dir, SwitchName, HeartbeatName)
	require.NoError(t, err)
	other, err := OpenLines(dir).Pin(SwitchName)
	require.NoError(t, err)
	beat, err := OpenLines(dir).Pin(HeartbeatName)
	require.NoError(t, err)
	require.NoError(t, other.Out(high))
	require.NoError(t, other.Out(high))
	assert.EqualValues(t, 1, other.Changes(), "only changes count")
	require.NoError(t, other.Close())

	_, err = MakeLines(dir, SwitchName)
	require.NoError(t, err)
	b := contactBench(Options{Lines: l, Heartbeat: time.Hour})
	look := func() bool {
		b.Clock().Sleep(time.Millisecond)
		b.World.settle(b.World.now)
		return b.World.Energised()
	}
	assert.False(t, look(), "closed, but no pulse since this bench was built")
	require.NoError(t, beat.Out(high))
	assert.False(t, look(), "a relay takes its time")
	assert.Eventually(t, look, time.Second, time.Millisecond)
	require.NoError(t, b.Switch.Out(low))
	assert.False(t, look())
	text, err := os.ReadFile(filepath.Join(dir, SwitchName))
	require.NoError(t, err)
	assert.Equal(t, "0 00000000000000000002\n", string(text))
}

func TestLinesThatAreNot(t *testing.T) {
	dir := t.TempDir()
	l, err := MakeLines(dir, SwitchName)
	require.NoError(t, err)
	_, err = l.Pin("SWITCH9")
	assert.ErrorContains(t, err, `no line "SWITCH9"`)
	p, err := l.Pin(SwitchName)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, SwitchName), []byte("1 what is this, please\n"), 0o644))
	assert.ErrorContains(t, p.Out(high), "damaged")
	assert.Equal(t, low, p.Read())
	assert.Error(t, p.PWM(gpio.DutyHalf, 1))

	o := Options{Lines: l, Second: true}
	b := contactBench(o)
	require.Error(t, b.Second.Out(high), "a line that is not there cannot be driven")
}
