package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/bench/sim"
)

// pulsed is a switch in simulated time whose heartbeat goes on while contacts
// are closed, with the relay's pull-in before, as the guard process does it.
type pulsed struct {
	*guard.Pins
	b      *sim.Bench
	pulses bool
	level  gpio.Level
	after  time.Duration // the pulses go on for so long past Still
}

func (p *pulsed) Set(path guard.Path, lease time.Duration) error {
	was := p.pulses
	p.pulses = path != guard.NoPath
	if p.pulses && !was {
		p.beat()
		p.b.Clock().Sleep(50 * time.Millisecond)
	}
	return p.Pins.Set(path, lease)
}

func (p *pulsed) Still(most time.Duration) error {
	clk := p.b.World
	from := p.b.Clock().Now()
	clk.At(from+p.after, func() { p.pulses = false })
	clk.At(from+most, func() { _ = p.Pins.Set(guard.NoPath, 0) })
	return nil
}

func (p *pulsed) beat() {
	if !p.pulses {
		return
	}
	p.level = !p.level
	_ = p.b.Heartbeat.Out(p.level)
	p.b.World.At(p.b.Clock().Now()+5*time.Millisecond, p.beat)
}

// The relay's fall is measured and held against what the file states.
func TestProofOfTheRelay(t *testing.T) {
	for name, c := range map[string]struct {
		real  time.Duration // hold
		after time.Duration
		fault sim.SwitchFault
		freq  float64
		state rig.State
		says  string
	}{
		"as stated":          {real: 130 * time.Millisecond, state: rig.OK, says: "measured to within"},
		"faster":             {real: 90 * time.Millisecond, state: rig.OK, says: "130 ms is stated"},
		"slower":             {real: 190 * time.Millisecond, state: rig.Attention, says: "130 ms is stated"},
		"within two periods": {real: 60 * time.Millisecond, freq: 20, state: rig.Attention, says: "130 ms is stated"},
		"far slower":         {real: 900 * time.Millisecond, state: rig.Missing, says: "does not open"},
		"welded":             {real: 130 * time.Millisecond, fault: sim.SwitchWelded, state: rig.Missing, says: "does not open"},
		"pulses that go on":  {real: 130 * time.Millisecond, after: time.Second, state: rig.Missing, says: "does not open"},
		"pulses that linger": {real: 130 * time.Millisecond, after: 60 * time.Millisecond, state: rig.Attention, says: "130 ms is stated"},
	} {
		t.Run(name, func(t *testing.T) {
			d := exampleRig(t, "fast")
			if c.freq > 0 {
				d.Heartbeat.Frequency_Hz = c.freq
			}
			o := sim.Options{Seed: 4, Heartbeat: c.real}
			r, b := openHeld(t, d, o)
			b.Heartbeat.SetFault(c.fault)
			r.Switch = &pulsed{Pins: r.Switch.(*guard.Pins), b: b, after: c.after}
			list, err := r.Prove(&d, 0)
			require.NoError(t, err)
			l := looked(list, "hardware cut-off")
			require.NotNil(t, l, "%+v", list)
			assert.Equal(t, c.state, l.State, "%+v", l)
			assert.Contains(t, l.Found, c.says)
			assert.Equal(t, l.State == rig.OK, l.Next == "")
			assert.Equal(t, rig.OK, looked(list, "pre-charge contact, open again").State)
			b.Clock().Sleep(time.Millisecond)
			assert.Equal(t, gpio.Low, b.Switch.Read(), "the contacts are open")
		})
	}
}

// openHeld is openExample with the heartbeat's relay fitted.
func openHeld(t *testing.T, d rig.Description, o sim.Options) (*rig.Rig, *sim.Bench) {
	t.Helper()
	hold := o.Heartbeat
	b, built, err := simulatedBoard(d, o, nil)
	require.NoError(t, err)
	require.NotNil(t, b.Heartbeat, "relay of %v", hold)
	r, err := rig.New(d.Name, b, built, rig.Options{Stands: true})
	require.NoError(t, err)
	return r, b
}

// With the guard process, on simulated lines in real time: the whole check of
// both benches that come with the program.
func TestRigCheckMeasuresTheRelay(t *testing.T) {
	for _, name := range []string{"small", "fast"} {
		t.Run(name, func(t *testing.T) {
			g := newGuarded(t)
			g.write(t, "bench.toml", readExample(t, name))
			got := g.call("rig", "check", "--rig", g.path("bench.toml"), "--simulate", "--seconds", "0.5")
			require.Equal(t, 0, got.status, got.stdout+got.stderr)
			assert.True(t, strings.HasPrefix(got.stdout, "Simulated board: "+name+"-bench"), got.stdout)
			words := strings.Join(strings.Fields(got.stdout), " ")
			assert.Regexp(t, `(ok|attention) hardware cut-off a heartbeat relay, open [1-9][0-9]{1,2} ms after the last pulse, measured`, words)
			assert.NotContains(t, words, "not measured")
			assert.NotContains(t, got.stdout, "3f20c000", "the PWM is the one that the file names")
			assert.NotRegexp(t, `[0-9]e[+-][0-9]`, got.stdout, "no exponents")
			assert.Equal(t, gpio.Low, g.level(sim.SwitchName))
		})
	}
	// What is not closed is not measured.
	g := newGuarded(t)
	g.write(t, "bench.toml", readExample(t, "small"))
	got := g.call("rig", "check", "--rig", g.path("bench.toml"), "--simulate", "--seconds", "0.2", "--no-close")
	assert.Contains(t, strings.Join(strings.Fields(got.stdout), " "), "attention hardware cut-off a heartbeat relay, open 130 ms after the last pulse; stated, not measured")
}

// Ctrl-C is no fault of the bench.
func TestRigCheckStopped(t *testing.T) {
	d := newDesk(t)
	d.interrupt = func(ctx context.Context) (context.Context, context.CancelFunc) {
		ctx, cancel := context.WithCancel(ctx)
		cancel()
		return ctx, cancel
	}
	got := d.call("rig", "check", "--simulate", "--seconds", "0.2")
	assert.Equal(t, exitError, got.status)
	assert.Contains(t, got.stderr, "Stopped by you")
	assert.NotContains(t, got.stdout+got.stderr, "context canceled")
	assert.Contains(t, got.stdout, "noise floor", "what was found before is there")
	assert.NotContains(t, got.stdout, "eady", "nothing is said about the rest")
}

// A record of a simulated board states the file's chips, not the simulator's.
func TestFactsAreTheFiles(t *testing.T) {
	d := exampleRig(t, "fast")
	b, built, err := simulatedBoard(d, sim.Options{}, nil)
	require.NoError(t, err)
	r, err := rig.New(d.Name, b, built, rig.Options{Stands: true, Stated: &d})
	require.NoError(t, err)
	var words bytes.Buffer
	for _, f := range r.Facts {
		words.WriteString(f.Key + " " + f.Value + "\n")
	}
	assert.Contains(t, words.String(), "channel 0 of fe20c000.pwm")
	assert.Contains(t, words.String(), "port 1.200MHz")
	assert.NotRegexp(t, `[0-9]e[+-][0-9]`, words.String())
}

// A slower bus is played as slow as the file says.
func TestSimulatedBusSpeedIsTheFiles(t *testing.T) {
	rate := map[float64]float64{}
	for _, hz := range []float64{400e3, 100e3} {
		d := exampleRig(t, "small")
		d.I2C.Speed_Hz = hz
		r, _ := openExample(t, d, sim.Options{Seed: 1})
		f, err := r.MeasureFloor(&d, 300*time.Millisecond)
		require.NoError(t, err)
		rate[hz] = f.Rate_Hz
	}
	assert.Greater(t, rate[400e3], 1.5*rate[100e3])
}
