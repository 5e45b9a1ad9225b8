package stranger

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// What a board makes of the duty.
const (
	RegulatesSpeed = "speed"
	SetsVoltage    = "voltage"
)

// How the motor's phases are driven.
const (
	SixStep = "six-step"
	Sine    = "sine"
)

// Model is one type of unit on one bench with one plan: everything that the
// good units of a learning set have in common. "Share" is a fraction of the
// rated value of the same quantity, SD a relative standard deviation between
// units.
type Model struct {
	Name       string
	RatedW     float64 // supply power at full command, 20, 60 or 140
	NominalV   float64 // 12 to 13.5
	Regulation string  // RegulatesSpeed or SetsVoltage
	Drive      string  // SixStep or Sine

	// Motor and load at full command.
	FullRPM           float64
	PolePairs         int
	CopperShare       float64 // of supply power lost in the windings
	BoardShare        float64 // of supply power lost in the board
	CoulombShare      float64 // of shaft torque
	ViscousShare      float64 // of shaft torque
	HydraulicExponent float64 // of power with speed, 2.7 to 3.1
	Bump              float64 // extra Coulomb torque near standstill, share of Coulomb
	BumpShare         float64 // speed at which the bump has fallen to 1/e, share
	Headroom          float64 // motor voltage at full command, share of supply
	KineticS          float64 // kinetic energy at full, in seconds of rated power

	// Answer to the command.
	StartDuty, StopDuty float64 // percent; dead below, with hysteresis
	FullDuty            float64 // percent; nothing more above
	MinShare            float64 // speed or voltage at StartDuty, share of full
	Bend                float64 // exponent between StartDuty and FullDuty
	LagS                float64 // time constant of speed
	SlewPerS            float64 // share of full speed a second
	SoftStartS          float64 // slew is gentler for so long after a start
	PowerLimitShare     float64 // the board's own limit

	// Quiet, wake and attempts.
	QuietA, AwakeA float64 // asleep, and more when a command is heard
	WakeS          float64 // from a heard command to the first attempt
	BootS          float64 // from supply to listening
	AlignS         float64
	ForcedS        float64
	StallS         float64 // more time until a stuck rotor is noticed
	AttemptShare   float64 // supply current of an attempt, share of rated
	RestS          float64 // after a failed attempt
	RestGrowth     float64 // 1 for constant rests
	LatchAfter     int     // attempts until the board gives up; 0 never
	LatchHolds     bool    // latched until the supply goes, else until a stop
	ResetV         float64 // supply below which the board resets
	Hobbles        bool    // runs on with an open phase, badly

	// Bench.
	ChargePeak    bool
	CapF          float64 // input capacitor
	CapOhm        float64 // its series resistance
	SourceOhm     float64 // leads and supply
	SourceSD      float64 // of SourceOhm from one fitting to the next
	SourceLimitA  float64
	FoldsBack     bool    // a limiting supply lowers its limit with its voltage
	TripS         float64 // over-current time until the bench cuts; 0 never cuts
	SeriesDiode   bool    // reversed supply gives nothing, else a diode's short
	OffsetA       float64
	NoiseA        float64
	ResolutionA   float64
	RangeA        float64
	Averages      bool // converter averages over a sample, else it picks
	SupplyVColumn bool
	SupplyOn      bool // column supply_on
	RateHz        float64
	Jitter        float64 // of sample times, share of a sample, up to 0.3

	// Slow and fast disturbances of a good unit.
	WarmShare      float64 // friction lost when warm
	WarmS          float64
	WarmExponent   float64 // 1 is a plain exponential
	CopperRise     float64 // winding resistance gained when warm, share
	RippleShare    float64 // at the commutation frequency
	RippleCornerHz float64 // input filter
	Imbalance      float64 // once a turn, share of current
	Turbulence     float64 // of hydraulic torque, standard deviation

	// Between units.
	ScaleSD, FrictionSD, QuietSD, EmfSD, OhmSD, SpeedSD, TimeSD float64

	Plan []Step

	levels, sd []float64 // running duties of the plan and SD of their current
}

// Step is one piece of the plan.
type Step struct {
	DutyPct float64
	LengthS float64
	Supply  bool
}

// Models draws twelve models, every size with both kinds of regulation and
// both drives; nine are sampled at 2 kHz, one each at 100 Hz, 500 Hz and
// 20 kHz. The same seed gives the same models.
func Models(seed uint64) []Model {
	rng := rand.New(rand.NewPCG(seed, 0x5747))
	var out []Model
	for _, size := range []float64{20, 60, 140} {
		for _, reg := range []string{RegulatesSpeed, SetsVoltage} {
			for _, drive := range []string{SixStep, Sine} {
				out = append(out, draw(rng, size, reg, drive))
			}
		}
	}
	rates := []float64{100, 500, 20000}
	for i, j := range rng.Perm(len(out))[:len(rates)] {
		out[j].RateHz = rates[i]
	}
	for i := range out {
		m := &out[i]
		m.Name = fmt.Sprintf("%02d-%.0fW-%s-%s-%.0fHz", i, m.RatedW, m.Regulation, m.Drive, m.RateHz)
		m.levels, m.sd = m.spread()
	}
	return out
}

func draw(rng *rand.Rand, size float64, reg, drive string) Model {
	in := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	geo := func(a, b float64) float64 { return a * math.Pow(b/a, rng.Float64()) }
	oneIn := func(n int) bool { return rng.IntN(n) == 0 }

	m := Model{
		RatedW: size * in(0.92, 1.08), NominalV: []float64{12, 12.5, 13, 13.5}[rng.IntN(4)],
		Regulation: reg, Drive: drive,
		FullRPM: in(4200, 6200) * math.Pow(60/size, 0.12), PolePairs: 2 + rng.IntN(4),
		CopperShare: in(0.13, 0.21), BoardShare: in(0.04, 0.08),
		CoulombShare: in(0.05, 0.11), ViscousShare: in(0.04, 0.09),
		HydraulicExponent: in(2.7, 3.1), Bump: in(0, 0.8), BumpShare: in(0.08, 0.2),
		Headroom: 0.97, KineticS: in(0.02, 0.06),
		FullDuty: in(92, 100), MinShare: in(0.24, 0.36), Bend: in(0.85, 1.2),
		LagS: geo(0.07, 0.35), SlewPerS: geo(0.4, 3), SoftStartS: in(0, 1.2),
		PowerLimitShare: in(1.25, 1.5),
		QuietA:          geo(0.005, 0.08), AwakeA: geo(0.03, 0.12),
		WakeS: geo(0.04, 0.4), BootS: geo(0.02, 0.25),
		AlignS: in(0.15, 0.5), ForcedS: in(0.25, 0.7), StallS: in(0.1, 0.5),
		AttemptShare: in(0.35, 0.85), RestS: in(0.5, 1.8), RestGrowth: 1,
		ResetV:     in(5.5, 7.5),
		ChargePeak: !oneIn(4), CapF: size / 60 * geo(0.4e-3, 2e-3), CapOhm: in(0.02, 0.06),
		SourceOhm: in(0.025, 0.06), SourceSD: 0.25,
		SourceLimitA: math.Max(8, size/12*in(1.8, 3)), FoldsBack: oneIn(3),
		SeriesDiode: oneIn(2),
		OffsetA:     in(-0.003, 0.003), NoiseA: geo(0.002, 0.015),
		ResolutionA: []float64{0.001, 0.0025, 0.005, 0.0122}[rng.IntN(4)],
		RangeA:      []float64{20, 40, 82}[rng.IntN(3)], Averages: !oneIn(3),
		SupplyVColumn: !oneIn(4), SupplyOn: !oneIn(4), RateHz: 2000,
		WarmShare: in(0.03, 0.15), WarmS: in(8, 40), WarmExponent: in(0.7, 1.1), CopperRise: in(0.01, 0.05),
		RippleShare: in(0.03, 0.08), RippleCornerHz: geo(300, 1500),
		Imbalance: in(0.002, 0.006), Turbulence: in(0.003, 0.01),
		ScaleSD: in(0.02, 0.04), FrictionSD: in(0.05, 0.15), QuietSD: in(0.05, 0.15),
		EmfSD: in(0.005, 0.012), OhmSD: in(0.015, 0.03), SpeedSD: in(0.003, 0.008), TimeSD: 0.06,
	}
	m.StartDuty = in(6, 16)
	m.StopDuty = m.StartDuty - in(1.5, 4)
	if reg == RegulatesSpeed {
		m.Headroom = in(0.8, 0.9)
	}
	if drive == Sine {
		m.RippleShare = in(0.001, 0.004)
		m.Hobbles = true
	}
	if oneIn(2) {
		m.RestGrowth = in(1.3, 2)
	}
	if !oneIn(3) {
		m.LatchAfter = 3 + rng.IntN(5)
		m.LatchHolds = oneIn(2)
	}
	if oneIn(2) {
		m.TripS = geo(0.01, 0.2)
	}
	if oneIn(5) {
		m.Jitter = in(0.02, 0.25)
	}
	m.Plan = drawPlan(rng, m.StartDuty, m.WakeS+m.AlignS+m.ForcedS+1)
	return m
}

// drawPlan: off, quiet, levels up, full for longer, levels down, stop and
// sometimes off again; 45 to 60 s in all. startS is more time for the first
// level, in which the unit starts.
func drawPlan(rng *rand.Rand, startDuty, startS float64) []Step {
	levels := [][]float64{
		{20, 40, 60, 80, 100},
		{25, 50, 75, 100},
		{18, 30, 45, 60, 75, 90, 100},
		{20, 35, 50, 65, 80, 100},
		{30, 50, 70, 85, 100},
		{20, 30, 40, 50, 60, 70, 80, 90, 100},
	}[rng.IntN(6)]
	total := 45.5 + 14*rng.Float64()
	plan := []Step{
		{0, 0.2 + rng.Float64(), false},
		{0, 1.5 + 2*rng.Float64(), true},
	}
	if rng.IntN(4) == 0 { // a level at which nothing may turn
		plan = append(plan, Step{math.Floor(startDuty / 2), 1.5, true})
	}
	tail := []Step{{0, 2 + 2*rng.Float64(), true}}
	if rng.IntN(2) == 0 {
		tail = append(tail, Step{0, 0.5 + rng.Float64(), false})
	}
	rest := total - length(plan) - length(tail) - startS
	each := math.Floor(rest/(2*float64(len(levels))-0.4)*100) / 100
	for i, d := range levels {
		s := Step{d, each, true}
		if i == 0 {
			s.LengthS += startS
		}
		if d == 100 {
			s.LengthS = 1.6 * each
		}
		plan = append(plan, s)
	}
	for i := len(levels) - 2; i >= 0; i-- {
		plan = append(plan, Step{levels[i], each, true})
	}
	return append(plan, tail...)
}

func length(plan []Step) (s float64) {
	for _, p := range plan {
		s += p.LengthS
	}
	return s
}
