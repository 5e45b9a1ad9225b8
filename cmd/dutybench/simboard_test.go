package main

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/guard"
	"dutybench/bench/rig"
	"dutybench/bench/rig/rigtest"
	"dutybench/bench/sim"
)

// exampleRig is one of the rig files that come with the program.
func exampleRig(t testing.TB, name string) rig.Description {
	t.Helper()
	d, err := rig.ParseFile([]byte(readExample(t, name)), name)
	require.NoError(t, err)
	return d
}

func readExample(t testing.TB, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("install", "rigs", name+".toml"))
	require.NoError(t, err)
	return string(data)
}

func openExample(t testing.TB, d rig.Description, o sim.Options) (*rig.Rig, *sim.Bench) {
	t.Helper()
	b, built, err := simulatedBoard(d, o, nil)
	require.NoError(t, err)
	r, err := rig.New(d.Name, b, built, rig.Options{Stands: true})
	require.NoError(t, err)
	return r, b
}

// with219 is the small bench with the other converter.
func with219(d rig.Description) rig.Description {
	d.Current.Chip, d.Current.Conversion = "ina219", 532*time.Microsecond
	return d
}

// pushPull is a bench with a buffer that can be switched off.
func pushPull(d rig.Description) rig.Description {
	d.LinePin = rig.LinePin{PWMChip: "fe20c000.pwm", Enable: "GPIO5", High_V: 5}
	return d
}

func examples(t testing.TB) map[string]rig.Description {
	small, fast := exampleRig(t, "small"), exampleRig(t, "fast")
	few := fast
	few.Current.Chip, few.Listen = "mcp3204", nil // it has four channels
	actuators := exampleRig(t, "actuators")
	byPWM := actuators
	byPWM.Position = &rig.PositionInput{Edges: &rig.Input{Pin: "GPIO16", Pull: "up"}}
	return map[string]rig.Description{"small": small, "fast": fast, "ina219": with219(small), "push-pull": pushPull(small), "mcp3204": few,
		"actuators": actuators, "position by PWM": byPWM, "small, switching": switching(small, actuators)}
}

// switching is the small bench with a load switch on the high side and a position
// where its thermistor was.
func switching(small, from rig.Description) rig.Description {
	load, divider := *from.Load, small.Supply.Divider
	load.Pin, load.PWMChip, load.Channel, load.HighSide, load.Seen = "GPIO12", "", 0, true, false
	load.Level = &rig.Sense{Channel: 3, Divider: divider}
	supply := *small.Supply
	supply.Minus = nil
	small.Supply, small.Load, small.Position = &supply, &load, &rig.PositionInput{Sense: &rig.Sense{Channel: 2, Divider: divider}}
	small.Temperature, small.Listen = &rig.Probe{Chip: "ds18b20"}, nil
	if c := small.LineLevel; c != nil && (c.Channel == 2 || c.Channel == 3) {
		small.LineLevel = nil
	}
	return small
}

func TestExamplesConform(t *testing.T) {
	for name, d := range examples(t) {
		t.Run(name, func(t *testing.T) {
			for seed := range uint64(2) {
				rigtest.Conform(t, func() *rig.Rig {
					r, _ := openExample(t, d, sim.Options{Seed: seed, Unit: &sim.Resistor{Ohm: 4, PullUp_Ohm: 10e3, Temp_C: 20}})
					return r
				})
			}
		})
	}
}

// What a bench of a rig file reads is right within its stated accuracy: 4 Ω
// at 13.5 V behind 40 mΩ.
func TestExamplesAreRight(t *testing.T) {
	for name, d := range examples(t) {
		t.Run(name, func(t *testing.T) {
			r, b := openExample(t, d, sim.Options{Seed: 3, Unit: &sim.Resistor{Ohm: 4, PullUp_Ohm: 10e3, Temp_C: 60}})
			var s rig.Sample
			read := func(d time.Duration) (mean float64) {
				n := 0.0
				for end := r.Clock.Now() + d; r.Clock.Now() < end; n++ {
					require.NoError(t, r.Sampler.Next(&s))
					mean += s.Current_A
				}
				return mean / n
			}
			require.NoError(t, r.Sampler.Start())
			zero := read(300 * time.Millisecond)
			require.NoError(t, r.Switch.Set(r.Switch.Paths()&^guard.PreCharge, time.Second))
			require.NoError(t, r.Line.Drive(30, physic.KiloHertz))
			read(300 * time.Millisecond)
			true_A, plug := b.World.Current_A(), b.World.Plug_V()
			assert.InDelta(t, true_A, read(300*time.Millisecond)-zero, 3*true_A*r.Accuracy.CurrentGain+r.Accuracy.CurrentStep_A)
			line := math.NaN()
			supply, warm := false, false
			for range 40_000 {
				require.NoError(t, r.Sampler.Next(&s))
				if !math.IsNaN(s.Supply_V) {
					supply = true
					assert.InDelta(t, plug, s.Supply_V, 3*(plug*r.Accuracy.VoltageGain+r.Accuracy.VoltageOffset_V))
				}
				if !math.IsNaN(s.Line_V) {
					line = s.Line_V
				}
				if !math.IsNaN(s.Temperature_C) {
					warm = true
					assert.InDelta(t, 60, s.Temperature_C, 0.7)
				}
			}
			assert.True(t, supply && warm, "supply and temperature come")
			assert.Greater(t, line, 1.0)
			require.NoError(t, r.Close())
		})
	}
}

// The rate of the fast bench is the one asked for, nothing is allocated, and
// hardly anything lost.
func TestFastRate(t *testing.T) {
	r, _ := openExample(t, exampleRig(t, "fast"), sim.Options{Seed: 1})
	require.NoError(t, r.Sampler.Start())
	var s rig.Sample
	begun, n, lost := r.Clock.Now(), 0, 0
	for r.Clock.Now() < begun+time.Second {
		require.NoError(t, r.Sampler.Next(&s))
		n++
		lost += s.Lost
	}
	assert.InDelta(t, 20_000, n, 300)
	assert.Less(t, lost, n/100)
}

// coilArm is a coil that tells its position.
type coilArm struct{ sim.Coil }

func (*coilArm) Position() (volt, ohm float64)        { return 2.5, 100 }
func (*coilArm) Return() (frequency_Hz, high float64) { return 200, 0.25 }

// A bench of a rig file switches a coil and reads its position as it is, whatever
// its wiring: with the shunt in the loop the reading is the coil's own current,
// without only what the supply gives.
func TestExamplesSwitch(t *testing.T) {
	for name, d := range examples(t) {
		if d.Load == nil {
			continue
		}
		t.Run(name, func(t *testing.T) {
			r, b := openExample(t, d, sim.Options{Seed: 6, TwoWire: &coilArm{sim.Coil{Ohm: 10, Henry: 0.05, Temp_C: 20}}})
			rigtest.ConformLoad(t, func() (*rig.Rig, rigtest.LoadMeans) { return r, rigtest.LoadMeans{Conducts: b.World.LoadTold} },
				func() (rigtest.LoadMeans, error) {
					d := d
					d.Current.Shunt_Ohm = 0
					_, err := rig.New(d.Name, b, d, rig.Options{})
					return rigtest.LoadMeans{Conducts: b.World.LoadTold}, err
				})
			r, b = openExample(t, d, sim.Options{Seed: 6, TwoWire: &coilArm{sim.Coil{Ohm: 10, Henry: 0.05, Temp_C: 20}}})
			require.NoError(t, r.Sampler.Start())
			var s rig.Sample
			read := func(d time.Duration) (current_A, position float64) {
				n, k := 0.0, 0.0
				for end := r.Clock.Now() + d; r.Clock.Now() < end; n++ {
					require.NoError(t, r.Sampler.Next(&s))
					current_A += s.Current_A
					if !math.IsNaN(s.Position) {
						position += s.Position
						k++
					}
				}
				return current_A / n, position / k
			}
			zero, _ := read(300 * time.Millisecond)
			require.NoError(t, r.Switch.Set(r.Switch.Paths()&^guard.PreCharge, time.Minute))
			require.NoError(t, r.Load.Drive(50, 2*physic.KiloHertz))
			read(300 * time.Millisecond)
			got, position := read(500 * time.Millisecond)
			// Half of the time 13.5 V, half of it the diode's 0.7 V; the supply gives
			// it for half of the time.
			want := (0.5*13.5 - 0.5*0.7) / 10.04
			if !d.Load.Seen {
				want /= 2
			}
			a := r.Accuracy
			assert.InDelta(t, want, got-zero, 3*want*a.CurrentGain+a.CurrentStep_A+0.01*want)
			told := 2.5 // behind 100 ohm into 110 kohm
			if r.PositionBy == rig.PositionByPWM {
				told = 25
			}
			assert.InDelta(t, told, position, 3*(told*a.PositionGain+a.PositionOffset_V)+0.01)
			require.NoError(t, r.Close())
		})
	}
}

// The cost of a sample of the fast bench, with the simulated world below it.
func BenchmarkFastSample(bench *testing.B) {
	r, _ := openExample(bench, exampleRig(bench, "fast"), sim.Options{Seed: 1, Unit: &sim.Resistor{Ohm: 4}})
	require.NoError(bench, r.Sampler.Start())
	var s rig.Sample
	bench.ReportAllocs()
	for bench.Loop() {
		if err := r.Sampler.Next(&s); err != nil {
			bench.Fatal(err)
		}
	}
}
