package rig_test

import (
	"errors"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// The kernel's PWM runs on when the process that set it is gone; whoever is
// left lets the line go.
func TestLineOfADeadProcessIsReleased(t *testing.T) {
	for _, c := range []struct {
		name  string
		drive rig.LineDrive
		taken time.Duration // how long another process holds the channel still
		err   error
	}{
		{name: "open drain", drive: rig.LineDrive{OpenDrain: true, Inverted: true}},
		{name: "push-pull behind a buffer"},
		{name: "held for a moment", drive: rig.LineDrive{OpenDrain: true, Inverted: true}, taken: 100 * time.Millisecond},
		{name: "held for good", drive: rig.LineDrive{OpenDrain: true, Inverted: true}, taken: time.Hour, err: syscall.EBUSY},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := sim.NewBench(sim.Options{Ideal: true, Unit: &sim.Resistor{Ohm: 10, PullUp_Ohm: 10e3}, Wire: sim.Wire{OpenDrain: c.drive.OpenDrain, Inverted: c.drive.Inverted, High_V: 5}})
			d := rig.Default()
			d.LinePin = rig.LinePin{PWMChip: sim.PWMDevice, LineDrive: c.drive}
			if !c.drive.OpenDrain {
				d.LinePin.PWMChip, d.LinePin.Pin, d.LinePin.High_V = "", "LINE", 5 // the simulated buffer is on the line's own pin
			}
			r, err := rig.New("dead", b, d, rig.Options{})
			require.NoError(t, err)
			require.NoError(t, r.Line.Drive(30, 100*physic.Hertz))
			require.Equal(t, sim.LinePWM, b.World.Line().State)
			if c.taken > 0 {
				require.NoError(t, b.Kernel.WriteFile("class/pwm/pwmchip2/unexport", []byte("0")))
				b.Kernel.PWM.Taken = 0
				b.World.At(b.Clock().Now()+c.taken, func() { b.Kernel.PWM.Taken = -1 })
			}
			begun := b.Clock().Now()
			err = rig.ReleaseLine(b, &d)
			if c.err != nil {
				require.ErrorIs(t, err, c.err)
				assert.InDelta(t, 0.2, (b.Clock().Now() - begun).Seconds(), 0.02)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, sim.LineReleased, b.World.Line().State)
		})
	}
}

// telling is a board that can tell when an input cannot be read.
type telling struct {
	*sim.Bench
	err   error
	level gpio.Level
}

func (b *telling) GuardedInput(name string, pull gpio.Pull) (func() (gpio.Level, error), error) {
	if name != "STOP" || pull != gpio.PullDown {
		return nil, errors.New("another input")
	}
	return func() (gpio.Level, error) { return b.level, b.err }, nil
}

// A stop input that cannot be read is pressed, whatever its active level.
func TestStopThatCannotBeReadIsPressed(t *testing.T) {
	b := &telling{Bench: sim.NewBench(sim.Options{})}
	d := rig.Default()
	d.Stop = &rig.Input{Pin: "STOP", Pull: "down"}
	r, err := rig.New("telling", b, d, rig.Options{})
	require.NoError(t, err)
	assert.Equal(t, gpio.High, r.Stop.Read())
	b.level = gpio.High
	assert.Equal(t, gpio.Low, r.Stop.Read(), "pressed")
	b.level, b.err = gpio.Low, syscall.EIO
	assert.Equal(t, gpio.Low, r.Stop.Read(), "nobody knows")
}

// Whether the main contacts may be pulsed hangs on the board, not on a name.
func TestPulseHangsOnTheBoard(t *testing.T) {
	for _, stands := range []bool{false, true} {
		r, err := rig.New("bench-1", sim.NewBench(sim.Options{}), rig.Default(), rig.Options{Stands: stands})
		require.NoError(t, err)
		assert.Equal(t, !stands, r.Pulse)
	}
}

// The alert cuts at the lower of what bench and unit bear, and the record says
// where, and what it is not for.
func TestAlertCutsAtTheLowerLimit(t *testing.T) {
	for _, c := range []struct{ unit_A, bench_A, want_A float64 }{{0, 20, 20}, {8, 20, 8}, {30, 20, 20}} {
		b := sim.NewBench(sim.Options{Ideal: true})
		d := rig.Default()
		d.AlertCuts, d.Bench.Current_A = true, c.bench_A
		r, err := rig.New("alert", b, d, rig.Options{Unit_A: c.unit_A})
		require.NoError(t, err)
		var limit [2]byte
		require.NoError(t, b.I2C.Tx(0x40, []byte{0x07}, limit[:])) // SBOS547B: alert limit, in steps of 2.5 µV across the shunt
		code := float64(int(limit[0])<<8 | int(limit[1]))
		assert.InDelta(t, c.want_A, code*2.5e-6/d.Current.Shunt_Ohm, 2.5e-6/d.Current.Shunt_Ohm)
		said := ""
		for _, f := range r.Facts {
			if f.Key == "alert" {
				said = f.Value
			}
		}
		assert.Contains(t, said, "not for a program that hangs")
		assert.Contains(t, said, map[float64]string{20: "above 20 A", 8: "above 8 A"}[c.want_A])
		assert.Equal(t, c.bench_A, r.Limits.Current_A, "what the bench bears stays")
	}
}

// A transistor that closes at a low level would close at every start.
func TestActiveLowTransistorIsRefused(t *testing.T) {
	d := rig.Default()
	d.Switches[0].ActiveLow = true
	require.ErrorContains(t, d.Check(), "switch number 1, active")
	assert.ErrorContains(t, d.Check(), "let the driver before it turn the level over")
	d.Switches[0].Relay = true
	require.NoError(t, d.Check(), "a coil takes milliseconds")
	d.PreCharge = &rig.PreCharge{Contact: rig.Contact{Pin: "PRECHARGE", ActiveLow: true}, Resistor_Ohm: 10}
	require.ErrorContains(t, d.Check(), "pre_charge, active")
}
