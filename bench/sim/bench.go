package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"dutybench/bench/clock"
	"dutybench/bench/sysfs"
)

// What the simulated bench is built of. All of it is chosen; the rig's
// description has to state the same.
const (
	// Shunt_Ohm is the nominal shunt. 2 mΩ gives the INA226, whose shunt
	// input ends at 81.92 mV, a range of ±40.96 A in steps of 1.25 mA: a
	// running pump of a few amperes is resolved to 0.05 %, the charging peak
	// of an input capacitor mostly stays in range, and 15 A heat the shunt
	// by no more than 0.45 W.
	Shunt_Ohm      = 0.002
	ShuntTolerance = 0.005
	// Two equal dividers, 100 kΩ over 10 kΩ, bring 36 V down to 3.27 V.
	DividerTop_Ohm    = 100e3
	DividerBottom_Ohm = 10e3
	DividerTolerance  = 0.001 // of each resistor
	// The thermistor lies from AIN2 to ground, with a resistor of its
	// nominal resistance to the reference at AIN3.
	Reference_V = 3.3
	NTC_Ohm     = 10e3 // at 25 °C
	NTC_Beta_K  = 3380

	INA226Address  = 0x40
	ADS1115Address = 0x48
	BusSpeed_Hz    = 400e3
)

// SenseLoad_Ohm is what the rig's sense divider puts across the plug: it empties
// a capacitor that nothing else does.
const SenseLoad_Ohm = DividerTop_Ohm + DividerBottom_Ohm

// dividerRatio is input over output of the dividers.
const dividerRatio = (DividerTop_Ohm + DividerBottom_Ohm) / DividerBottom_Ohm

// Options say what bench to build. The zero value is a usual one: 13.5 V
// supply, an open-drain line without a pull-up of the rig, chips with errors
// drawn by Seed within their data sheets' limits, and an empty socket.
type Options struct {
	Seed uint64
	// Again, when not zero, draws the converters' noise anew on the same bench:
	// one number for each test that is to differ from the others.
	Again  uint64
	Unit   Unit
	Supply Supply // zero: DefaultSupply
	Wire   Wire   // zero: DefaultWire
	// TwoWire, when not nil, is in the socket in the place of Unit, behind the
	// bench's own switch.
	TwoWire TwoWire
	Driver  Driver // zero: DefaultDriver
	// Ideal leaves out the chips', shunt's and dividers' errors and noise.
	Ideal bool
	// Current is what reads the supply current, Shunt_Ohm its shunt (zero:
	// Shunt_Ohm), and Front lies before an SPI converter (zero: DefaultFront).
	Current   CurrentChip
	Shunt_Ohm float64
	Front     Front
	// BusSpeed_Hz is that of the I²C bus, as set at boot; zero: 400 kHz.
	BusSpeed_Hz float64
	// SupplyRatio and LineRatio are input over output of the dividers; zero:
	// those of the constants above.
	SupplyRatio, LineRatio float64
	// PositionInput and NodeInput are the voltage converter's inputs for what the
	// unit tells of its position and for the wire between a two-wire unit and its
	// switch, in the place of what else is there; zero: those of the MCP3208
	// that are free, and none of another converter.
	PositionInput, NodeInput int
	// PositionRatio and NodeRatio are input over output of their dividers, and
	// PositionLoad_Ohm is what the first of them puts on the output; zero: those
	// of the constants above.
	PositionRatio, NodeRatio, PositionLoad_Ohm float64
	// Second puts a second main contact, SWITCH2, in series with the first.
	Second bool
	// PreCharge_Ohm, when above zero, puts a pre-charge contact, PRECHARGE,
	// with that resistor beside the last of the main contacts: with two, the
	// first must be closed too.
	PreCharge_Ohm float64
	// Heartbeat, when above zero, puts a relay before the contacts that closes
	// RelayPullIn after the level of the pin HEARTBEAT begins to change, and
	// holds for so long after each change.
	Heartbeat time.Duration
	// StopOpens: the stop button opens when it is pressed, and reads high then;
	// else it closes and reads low.
	StopOpens bool
	// Lines, when not nil, holds the levels of all these pins in files, where
	// another process may drive them. They are looked at with every step.
	Lines *Lines
	// Fault is one of the bench itself that comes at its time; see BenchFaults.
	// An unknown one is left out; Bench.Arm says so.
	Fault Armed
	// Signal, when not nil, is on the wire that the pin LISTEN and the sense
	// wire of the line hear, in the place of the bench's own line.
	Signal *Signal
}

// DefaultSupply is a bench supply of 13.5 V that limits at 30 A, with 40 mΩ
// of leads, switch and shunt.
func DefaultSupply() Supply { return Supply{Open_V: 13.5, Ohm: 0.040, Limit_A: 30} }

// DefaultWire is an n-channel transistor at the pin that pulls the line low;
// the pull-up is the unit's.
func DefaultWire() Wire {
	return Wire{OpenDrain: true, Inverted: true, Sense_Ohm: DividerTop_Ohm + DividerBottom_Ohm}
}

// Bench is a simulated bench: what a rig is built on.
type Bench struct {
	World   *World
	I2C     *Bus
	INA226  *INA226
	ADS1115 *ADS1115
	// What Options.Current puts in the place of the INA226; else nil.
	INA219  *INA219
	MCP320x *MCP320x
	// Unarmed says why the fault of the options could not be armed; nil: it was.
	Unarmed error
	SPI     *Port

	Switch *SwitchPin
	// The second main contact, the pre-charge contact and the heartbeat's
	// relay; nil where there are none.
	Second, PreCharge, Heartbeat *SwitchPin
	Stop                         *StopPin
	Line                         *Pin
	Load                         *Pin // switches a two-wire unit
	Flow                         *FlowPin
	Listen                       *ListenPin
	Return                       *ReturnPin
	Kernel                       *Kernel

	clock Clock
	jump  time.Duration // of the machine's clock
	unset bool          // the machine's clock was never set
}

// NewBench builds a bench with its switch off and its line released.
func NewBench(o Options) *Bench {
	w := newWorld()
	w.Supply, w.Wire, w.Driver = o.Supply, o.Wire, o.Driver
	if o.Driver == (Driver{}) {
		w.Driver = DefaultDriver()
	}
	if o.Supply == (Supply{}) {
		w.Supply = DefaultSupply()
	}
	if o.Wire == (Wire{}) {
		w.Wire = DefaultWire()
	}
	b := &Bench{World: w, I2C: newBus(w, o.BusSpeed_Hz), Stop: newStop(w, o.StopOpens), Line: newLine(w), Load: newLoad(w), Flow: newFlow(w), Kernel: newKernel(w), clock: Clock{w}}
	w.signal, b.Listen, b.Return = o.Signal, newListen(w, o.Seed), newReturn(w)
	w.contacts = newContacts(w, o)
	b.Switch, b.Second, b.PreCharge, b.Heartbeat = w.contacts.first, w.contacts.second, w.contacts.preCharge, w.contacts.heartbeat
	w.switchOver()
	now := func() time.Duration { return w.now }
	rng := rand.New(rand.NewPCG(o.Seed, 0x6475747962656e63))
	within := func(limit float64) float64 { return limit * (2*rng.Float64() - 1) }

	shunt, supplyRatio, lineRatio := Shunt_Ohm, 1/dividerRatio, 1/dividerRatio
	if o.Shunt_Ohm > 0 {
		shunt = o.Shunt_Ohm
	}
	if o.SupplyRatio > 0 {
		supplyRatio = 1 / o.SupplyRatio
	}
	if o.LineRatio > 0 {
		lineRatio = 1 / o.LineRatio
	}
	w.sensed = newSensed(o)
	b.INA226 = &INA226{now: now, plan: w.plan, rand: rng}
	b.ADS1115 = &ADS1115{now: now, plan: w.plan, rand: rng}
	if !o.Ideal {
		shunt *= 1 + within(ShuntTolerance)
		// Both resistors of a divider, at a ratio of 11, move it by 10/11 of
		// their tolerances.
		supplyRatio *= 1 + within(DividerTolerance)*10/11 - within(DividerTolerance)*10/11
		lineRatio *= 1 + within(DividerTolerance)*10/11 - within(DividerTolerance)*10/11
		b.INA226.Errors = INA226Errors{
			ShuntGain: within(0.001), ShuntOffset_V: within(10e-6),
			BusGain: within(0.001), BusOffset_V: within(7.5e-3),
			Period:  within(0.05), // chosen: half of what the data sheet allows
			Noise_V: 5e-6,
		}
		b.ADS1115.Errors = ADS1115Errors{Gain: within(0.0015), OffsetSteps: within(3), Rate: within(0.10), NoiseSteps: 0.5}
	}
	b.INA226.input = func() (float64, float64) {
		w.settle(w.now)
		return w.charge_As * shunt, w.plug_Vs
	}
	b.ADS1115.input = func(ain int) float64 {
		w.settle(w.now)
		switch s := &w.sensed; ain {
		case 0:
			return w.plug_Vs * supplyRatio
		case s.positionInput:
			return s.position_Vs * s.positionRatio
		case s.nodeInput:
			return s.node_Vs * s.nodeRatio
		case 1:
			return w.sense_Vs * lineRatio
		case 2:
			return w.probe_Vs
		}
		return Reference_V * float64(w.stepped) * 1e-9
	}
	w.probe = func(celsius float64) float64 {
		ohm := NTC_Ohm * math.Exp(NTC_Beta_K*(1/(celsius+273.15)-1/298.15))
		return Reference_V * ohm / (ohm + NTC_Ohm)
	}
	b.INA226.reset()
	b.ADS1115.Reset()
	w.parts = []part{b.INA226, b.ADS1115}
	b.I2C.Attach(INA226Address, b.INA226)
	b.I2C.Attach(ADS1115Address, b.ADS1115)
	b.fit(o, shunt, supplyRatio, lineRatio)
	if o.Again != 0 {
		b.noise(rand.New(rand.NewPCG(o.Seed, o.Again)))
	}
	w.plan()
	w.Plug(o.Unit)
	if o.TwoWire != nil {
		w.Plug(&switched{w: w, body: o.TwoWire})
	}
	b.Unarmed = b.Arm(o.Fault)
	return b
}

// noise takes the converters' noise from here on from r.
func (b *Bench) noise(r *rand.Rand) {
	b.INA226.rand, b.ADS1115.rand = r, r
	if b.INA219 != nil {
		b.INA219.rand = r
	}
	if b.MCP320x != nil {
		b.MCP320x.rand = r
	}
}

// Clock is the bench's time.
func (b *Bench) Clock() clock.Clock { return &b.clock }

// Bus is the bench's only bus, whatever it is called.
func (b *Bench) Bus(string) (i2c.BusCloser, error) { return b.I2C, nil }

// Port is the port of the SPI converter, whatever it is called; a bench
// without one has none.
func (b *Bench) Port(name string) (spi.PortCloser, error) {
	if b.SPI != nil {
		return b.SPI, nil
	}
	return nil, fmt.Errorf("sim: no SPI port %q on this bench", name)
}

// Tree is the simulated kernel's.
func (b *Bench) Tree() sysfs.Tree { return b.Kernel }

// Pin finds a pin: SWITCH, STOP, LINE, LOAD, FLOW, LISTEN or RETURN.
func (b *Bench) Pin(name string) (gpio.PinIO, error) {
	for _, s := range b.World.contacts.all() {
		if s.name == name {
			return s, nil
		}
	}
	switch name {
	case b.Stop.name:
		return b.Stop, nil
	case b.Line.name:
		return b.Line, nil
	case b.Load.name:
		return b.Load, nil
	case b.Flow.name:
		return b.Flow, nil
	case b.Listen.name:
		return b.Listen, nil
	case b.Return.name:
		return b.Return, nil
	}
	return nil, fmt.Errorf("sim: no pin %q: the bench has SWITCH, STOP, LINE, LOAD, FLOW, LISTEN and RETURN", name)
}

// Pace makes the simulated time keep to real time: it never runs ahead of it
// by more than 10 ms. It stays so for the life of the bench.
func (b *Bench) Pace() {
	const look = 10 * time.Millisecond
	start, from := time.Now(), b.World.now
	var wait func()
	wait = func() {
		time.Sleep(b.World.now - from - time.Since(start))
		b.World.At(b.World.now+look, wait)
	}
	b.World.At(from+look, wait)
}
