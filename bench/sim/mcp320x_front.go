package sim

import (
	"math"
	"math/rand/v2"
	"slices"
)

// CurrentChip is what reads the supply current.
type CurrentChip int

// The chips that a bench can have.
const (
	CurrentINA226 CurrentChip = iota
	CurrentINA219
	CurrentMCP3204
	CurrentMCP3208
)

// INA219Address is the chip's address, in the place of the INA226.
const INA219Address = 0x40

// The channels of an SPI converter. The reference is on the MCP3208 only; its
// other channels lie at ground.
const (
	MCPCurrent = iota
	MCPSupply
	MCPLine
	MCPThermistor
	MCPReference
	MCPPosition // what the unit tells of its position
	MCPNode     // the wire between a two-wire unit and its switch
)

// Front is what lies between the shunt and an SPI converter: an amplifier
// between ground and the reference, and a filter.
type Front struct {
	Gain          float64
	GainTolerance float64 // relative, at most
	Zero_V        float64 // at the converter when no current flows
	ZeroTolerance float64 // V, at most
	Bandwidth_Hz  float64 // of the amplifier, first order; 0: far above everything
	AntiAlias_Hz  float64 // corner of the filter, first order; 0: none
}

// DefaultFront makes 100 mV an ampere of the shunt of 2 mΩ: from −2 to 31 A
// in steps of 8 mA. All of it is chosen. The zero lies above ground, as an
// amplifier does not reach its rail and a zero there could not be measured.
func DefaultFront() Front {
	return Front{Gain: 50, GainTolerance: 0.005, Zero_V: 0.2, ZeroTolerance: 0.002, Bandwidth_Hz: 100e3, AntiAlias_Hz: 8e3}
}

// front is the amplifier's and the filter's state.
type front struct {
	scale, zero_V       float64 // V/A, V
	amplifier_s, filter float64 // time constants; 0: none
	amplifier_V, out_V  float64
}

func newFront(f Front, shunt_Ohm float64) *front {
	lag := func(hertz float64) float64 {
		if hertz <= 0 {
			return 0
		}
		return 1 / (2 * math.Pi * hertz)
	}
	return &front{scale: shunt_Ohm * f.Gain, zero_V: f.Zero_V, amplifier_s: lag(f.Bandwidth_Hz), filter: lag(f.AntiAlias_Hz),
		amplifier_V: f.Zero_V, out_V: f.Zero_V}
}

// step lets a steady current of dt_s seconds through.
func (f *front) step(current_A, dt_s float64) {
	follow := func(state *float64, v, lag_s float64) {
		if lag_s > 0 {
			v = *state - (v-*state)*math.Expm1(-dt_s/lag_s)
		}
		*state = v
	}
	follow(&f.amplifier_V, current_A*f.scale+f.zero_V, f.amplifier_s)
	follow(&f.out_V, min(max(f.amplifier_V, 0), Reference_V), f.filter)
}

// ramp lets a current through that has a mean over dt_s seconds and an end, and
// goes straight to it: what a PWM's ripple is between two edges. A lag of first
// order follows a ramp of slope s behind by s·τ, once what was before has died
// away. Amplifier and filter count as one lag here, the sum of both: that of the
// amplifier is far below the filter's.
func (f *front) ramp(mean_A, end_A, dt_s float64) {
	rail := func(current_A float64) float64 { return min(max(current_A*f.scale+f.zero_V, 0), Reference_V) }
	from, to := rail(2*mean_A-end_A), rail(end_A)
	out, lag_s := to, f.amplifier_s+f.filter
	if lag_s > 0 {
		behind := (to - from) / dt_s * lag_s
		out += (f.out_V-from+behind)*math.Exp(-dt_s/lag_s) - behind
	}
	f.amplifier_V, f.out_V = to, out
}

// fit puts in another chip for the current than the INA226, which is then on
// no bus. Its errors are drawn apart, so that the rest of the bench is the
// same for a seed whatever the chip.
func (b *Bench) fit(o Options, shunt_Ohm, supplyRatio, lineRatio float64) {
	w := b.World
	if o.Current == CurrentINA226 {
		return
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x63757272656e7421))
	within := func(limit float64) float64 { return limit * (2*rng.Float64() - 1) }
	w.parts = slices.DeleteFunc(w.parts, func(p part) bool { return p == part(b.INA226) })
	b.I2C.Attach(INA226Address, nil)
	if o.Current == CurrentINA219 {
		b.INA219 = &INA219{now: b.INA226.now, plan: w.plan, rand: rng}
		if !o.Ideal {
			b.INA219.Errors = INA219Errors{ShuntGain: within(0.005), ShuntOffset: within(1), BusGain: within(0.005),
				Period: within(0.05), Noise_V: 10e-6} // Period: chosen, half of what the data sheet allows
		}
		b.INA219.input = func() (float64, float64) {
			w.settle(w.now)
			return w.charge_As * shunt_Ohm, w.plug_Vs
		}
		b.INA219.reset()
		w.parts = append(w.parts, b.INA219)
		b.I2C.Attach(INA219Address, b.INA219)
		return
	}
	b.MCP320x = &MCP320x{channels: 8, reference: Reference_V, rand: rng, settle: func() { w.settle(w.now) }}
	if o.Current == CurrentMCP3204 {
		b.MCP320x.channels = 4
	}
	f := o.Front
	if f == (Front{}) {
		f = DefaultFront()
	}
	if !o.Ideal {
		b.MCP320x.Errors = MCP320xErrors{OffsetSteps: within(3), GainSteps: within(5), INLSteps: within(1), NoiseSteps: 0.3}
		f.Gain *= 1 + within(f.GainTolerance)
		f.Zero_V += within(f.ZeroTolerance)
	}
	w.front = newFront(f, shunt_Ohm)
	b.MCP320x.input = func(channel int) float64 {
		w.settle(w.now)
		switch channel {
		case MCPCurrent:
			return w.front.out_V
		case w.sensed.positionInput:
			return w.position_V() * w.sensed.positionRatio
		case w.sensed.nodeInput:
			return max(w.node_V()*w.sensed.nodeRatio, 0)
		case MCPSupply:
			return w.plug_V * supplyRatio
		case MCPLine:
			return w.sense_V * lineRatio
		case MCPThermistor:
			return w.probe_V
		case MCPReference:
			return Reference_V
		}
		return 0
	}
	b.SPI = &Port{w: w, Gap: SPIGap}
	b.SPI.Attach(b.MCP320x)
}
