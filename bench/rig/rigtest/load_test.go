package rigtest_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"

	"dutybench/bench/rig"
	"dutybench/bench/rig/rigtest"
	"dutybench/bench/sim"
)

// lever is a coil that tells its position.
type lever struct{ sim.Coil }

func (*lever) Position() (volt, ohm float64)        { return 2.5, 100 }
func (*lever) Return() (frequency_Hz, high float64) { return 200, 0.4 }

// withLoad are the rigs that switch a unit and read its position.
func withLoad() map[string]func(seed uint64) (rig.Description, sim.Options) {
	return map[string]func(uint64) (rig.Description, sim.Options){
		"SPI": func(seed uint64) (rig.Description, sim.Options) {
			d := rig.DefaultFast(3)
			return d, sim.Options{Seed: seed, Current: sim.CurrentMCP3208, Shunt_Ohm: d.Current.Shunt_Ohm}
		},
		"SPI, position by PWM": func(seed uint64) (rig.Description, sim.Options) {
			d := rig.DefaultFast(3)
			d.Position = &rig.PositionInput{Edges: &rig.Input{Pin: "RETURN", Pull: "up"}}
			return d, sim.Options{Seed: seed, Current: sim.CurrentMCP3208, Shunt_Ohm: d.Current.Shunt_Ohm}
		},
		"I2C": func(seed uint64) (rig.Description, sim.Options) {
			d := rig.Default()
			d.Load, d.Temperature = rig.DefaultFast(3).Load, nil
			d.Load.Level.Channel = 3
			d.Position = &rig.PositionInput{Sense: &rig.Sense{Channel: 2, Divider: d.Supply.Divider}}
			return d, sim.Options{Seed: seed, PositionInput: 2, NodeInput: 3}
		},
	}
}

func TestSwitchingRigsConform(t *testing.T) {
	for name, make := range withLoad() {
		t.Run(name, func(t *testing.T) {
			d, o := make(1)
			if d.Temperature == nil { // the suite looks for one
				d.Temperature = &rig.Probe{Chip: "ds18b20"}
			}
			rigtest.Conform(t, func() *rig.Rig { r, _ := openLoad(t, d, o); return r })
			rigtest.ConformLoad(t, func() (*rig.Rig, rigtest.LoadMeans) {
				r, b := openLoad(t, d, o)
				return r, rigtest.LoadMeans{Conducts: b.World.LoadTold}
			}, func() (rigtest.LoadMeans, error) { return failing(t, d, o) })
		})
	}
}

func openLoad(t *testing.T, d rig.Description, o sim.Options) (*rig.Rig, *sim.Bench) {
	t.Helper()
	o.TwoWire = &lever{sim.Coil{Ohm: 10, Henry: 0.02, Temp_C: 20}}
	b := sim.NewBench(o)
	r, err := rig.New(rig.Sim, b, d, rig.Options{Stands: true})
	require.NoError(t, err)
	return r, b
}

// failing opens a rig whose line is held by another program, on a board that a
// dead process left switching.
func failing(t *testing.T, d rig.Description, o sim.Options) (rigtest.LoadMeans, error) {
	t.Helper()
	b := sim.NewBench(o)
	require.NoError(t, b.Load.PWM(gpio.DutyHalf, physic.KiloHertz))
	b.Line.Err = errors.New("held")
	_, err := rig.New(rig.Sim, b, d, rig.Options{Stands: true})
	return rigtest.LoadMeans{Conducts: b.World.LoadTold}, err
}

// odd is a sampler that spoils what it gives.
type odd struct {
	rig.Sampler
	spoil func(*rig.Sample)
}

func (o *odd) Next(s *rig.Sample) error {
	err := o.Sampler.Next(s)
	o.spoil(s)
	return err
}

// deaf does not read the wire more often.
type deaf struct{ rig.Sampler }

func (deaf) PaceNode(time.Duration) bool { return true }

// unpaced cannot be asked.
type unpaced struct{ rig.Sampler }

// Rigs with something wrong about load switch or position do not conform.
func TestSpoiltSwitchingRigsAreCaught(t *testing.T) {
	nan := math.NaN()
	for name, spoil := range map[string]func(*sim.Bench, *rig.Rig){
		"no position":        func(_ *sim.Bench, r *rig.Rig) { r.Sampler = &odd{r.Sampler, func(s *rig.Sample) { s.Position = nan }} },
		"wild position":      func(_ *sim.Bench, r *rig.Rig) { r.Sampler = &odd{r.Sampler, func(s *rig.Sample) { s.Position *= 50 }} },
		"no node":            func(_ *sim.Bench, r *rig.Rig) { r.Sampler = &odd{r.Sampler, func(s *rig.Sample) { s.Node_V = nan }} },
		"a node under power": func(_ *sim.Bench, r *rig.Rig) { r.Sampler = &odd{r.Sampler, func(s *rig.Sample) { s.Node_V += 12 }} },
		"deaf to its pace":   func(_ *sim.Bench, r *rig.Rig) { r.Sampler = deaf{r.Sampler} },
		"without a pace":     func(_ *sim.Bench, r *rig.Rig) { r.Sampler = unpaced{r.Sampler} },
		"position unsaid":    func(_ *sim.Bench, r *rig.Rig) { r.PositionBy = "" },
		"no accuracy":        func(_ *sim.Bench, r *rig.Rig) { r.Accuracy.PositionGain = 0 },
		"no edge":            func(_ *sim.Bench, r *rig.Rig) { r.Accuracy.LoadEdge_s = 0 },
		"wide range":         func(_ *sim.Bench, r *rig.Rig) { r.Load.HighestFrequency_Hz = 1e6 },
		"slow range":         func(_ *sim.Bench, r *rig.Rig) { r.Load.LowestFrequency_Hz = 10 },
		"no free-wheel path": func(_ *sim.Bench, r *rig.Rig) { r.Load.FreeWheel = "" },
		"load pin fails":     func(b *sim.Bench, _ *rig.Rig) { b.Load.Err = errors.New("held") },
	} {
		t.Run(name, func(t *testing.T) {
			d, o := withLoad()["SPI"](2)
			assert.NotEmpty(t, record(func(rec rigtest.T) {
				rigtest.Conform(rec, func() *rig.Rig {
					r, b := openLoad(t, d, o)
					spoil(b, r)
					return r
				})
			}))
		})
	}
	d, o := withLoad()["SPI"](2)
	for name, spoil := range map[string]func(r *rig.Rig, told func() (float64, float64)) func() (share, hz float64){
		"turned round": func(_ *rig.Rig, told func() (float64, float64)) func() (float64, float64) {
			return func() (float64, float64) { s, f := told(); return 1 - s, f }
		},
		"half as fast": func(_ *rig.Rig, told func() (float64, float64)) func() (float64, float64) {
			return func() (float64, float64) { s, f := told(); return s, f / 2 }
		},
		"one per cent": func(_ *rig.Rig, told func() (float64, float64)) func() (float64, float64) {
			return func() (float64, float64) { s, f := told(); return s * 1.01, f }
		},
		"stays closed": func(r *rig.Rig, told func() (float64, float64)) func() (float64, float64) {
			r.Close = func() error { return nil }
			return told
		},
	} {
		assert.NotEmpty(t, record(func(rec rigtest.T) {
			rigtest.ConformLoad(rec, func() (*rig.Rig, rigtest.LoadMeans) {
				r, b := openLoad(t, d, o)
				return r, rigtest.LoadMeans{Conducts: spoil(r, b.World.LoadTold)}
			}, func() (rigtest.LoadMeans, error) { return failing(t, d, o) })
		}), name)
	}
	assert.NotEmpty(t, record(func(rec rigtest.T) { // left as a dead process had it
		rigtest.ConformLoad(rec, func() (*rig.Rig, rigtest.LoadMeans) {
			r, b := openLoad(t, d, o)
			return r, rigtest.LoadMeans{Conducts: b.World.LoadTold}
		}, func() (rigtest.LoadMeans, error) {
			return rigtest.LoadMeans{Conducts: func() (float64, float64) { return 0.5, 1000 }}, errors.New("held")
		})
	}))
}
