package stranger

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Unit is one pump of a model.
type Unit struct {
	Model  Model
	Serial string

	w0, k, ohm         float64 // rad/s, V·s, Ω
	tRated, tc, tv, th float64 // Nm at full speed
	inertia            float64 // kg·m²
	idleW, lossV       float64 // losses of the running board: idleW + lossV·Im
	quietA, awakeA     float64
	speedGain          float64
	wakeS, bootS       float64
	attemptA, timeGain float64
	capF               float64
	imbalance, ripple  float64
}

// Unit draws a good unit.
func (m Model) Unit(rng *rand.Rand) Unit {
	about := func(sd float64) float64 { return math.Exp(sd * rng.NormFloat64()) }
	u := Unit{Model: m, Serial: fmt.Sprintf("P%07d", rng.IntN(10_000_000))}

	u.w0 = m.FullRPM * 2 * math.Pi / 60
	copper, board := m.CopperShare*m.RatedW, m.BoardShare*m.RatedW
	shaft := m.RatedW - copper - board - (m.QuietA+m.AwakeA)*m.NominalV
	im := (shaft + copper) / (m.Headroom * m.NominalV)
	u.k = shaft / (u.w0 * im) * about(m.EmfSD)
	u.ohm = copper / (im * im) * about(m.OhmSD)
	u.idleW = 0.3 * board * about(0.08)
	u.lossV = 0.7 * board / im * about(0.05)

	u.tRated = shaft / u.w0
	friction := about(m.FrictionSD)
	u.tc = m.CoulombShare * u.tRated * friction * about(m.FrictionSD/2)
	u.tv = m.ViscousShare * u.tRated * friction * about(m.FrictionSD/2)
	u.th = (1 - m.CoulombShare - m.ViscousShare) * u.tRated * about(m.ScaleSD)
	u.inertia = 2 * m.KineticS * m.RatedW / (u.w0 * u.w0)

	u.quietA = m.QuietA * about(m.QuietSD)
	u.awakeA = m.AwakeA * about(m.QuietSD)
	u.speedGain = about(m.SpeedSD)
	u.timeGain = about(m.TimeSD)
	u.wakeS = m.WakeS * about(m.TimeSD)
	u.bootS = m.BootS * about(m.TimeSD)
	u.attemptA = m.AttemptShare * m.RatedW / m.NominalV * about(m.OhmSD)
	u.capF = m.CapF * about(0.08)
	u.imbalance = m.Imbalance * about(0.35)
	u.ripple = m.RippleShare * about(0.1)
	return u
}

// torque in Nm at w rad/s; hyd scales the hydraulic part, fric the friction.
func (u *Unit) torque(w float64, a *ailment, hyd, fric float64) float64 {
	m := &u.Model
	x := w / u.w0
	t := 0.0
	if x > 1e-6 {
		t = u.th * hyd * math.Exp((m.HydraulicExponent-1)*math.Log(x))
	}
	c := u.tc * fric
	if b := x / m.BumpShare; b < 4 {
		c *= 1 + m.Bump*math.Exp(-b*b)
	}
	return t + c + u.tv*fric*x + u.tRated*(a.coulomb+a.viscous*x)
}

// reach is where in the command range a duty lies, 0 to 1 as a share of full.
func (u *Unit) reach(duty float64) float64 {
	m := &u.Model
	x := (duty - m.StartDuty) / (m.FullDuty - m.StartDuty)
	x = math.Min(1, math.Max(0, x))
	return m.MinShare + (1-m.MinShare)*math.Pow(x, m.Bend)
}

const modulation = 0.97 // most of the supply voltage that a bridge can pass on

// settled is the speed in rad/s that a duty leads to at v volts. warm is 0
// for a cold unit, 1 for a warm one.
func (u *Unit) settled(duty, v float64, a *ailment, warm float64) float64 {
	m := &u.Model
	share := u.reach(duty)
	fric, ohm := 1-m.WarmShare*warm, u.ohm*(1+m.CopperRise*warm)
	hyd := 1 - a.hydLoss
	volts := modulation * v
	want := math.Inf(1)
	if m.Regulation == RegulatesSpeed {
		want = u.w0 * share * u.speedGain
		if u.k*want+ohm*u.torque(want, a, hyd, fric)/u.k <= volts {
			return math.Min(want, a.topShare*u.w0)
		}
	} else {
		volts *= share
	}
	lo, hi := 0.0, volts/u.k
	for range 24 {
		w := (lo + hi) / 2
		if u.k*w+ohm*u.torque(w, a, hyd, fric)/u.k > volts {
			hi = w
		} else {
			lo = w
		}
	}
	return math.Min(math.Min(lo, want), a.topShare*u.w0)
}

// power in W that the board takes to drive im through the turning motor.
func (u *Unit) power(w, im, ohm float64) float64 {
	return u.k*w*im + ohm*im*im + u.idleW + u.lossV*im
}

// motorCurrent is the im at which power is p.
func (u *Unit) motorCurrent(w, p, ohm float64) float64 {
	b, c := u.k*w+u.lossV, u.idleW-p
	if c >= 0 {
		return 0
	}
	return (math.Sqrt(b*b-4*ohm*c) - b) / (2 * ohm)
}

// plateau is the settled supply current at a duty, in A, half warm, without
// limits of power or supply.
func (u *Unit) plateau(duty float64, a *ailment) float64 {
	m := &u.Model
	v := m.NominalV
	r := m.SourceOhm + a.lineOhm
	ohm := u.ohm * (1 + 0.5*m.CopperRise)
	i := 0.0
	for range 6 {
		w := u.settled(duty, v, a, 0.5)
		im := u.torque(w, a, 1-a.hydLoss, 1-0.5*m.WarmShare) / u.k
		i = u.power(w, im, ohm)/v + u.quietA + u.awakeA
		v = math.Max(m.ResetV, m.NominalV-r*i)
	}
	return i
}

// spread is the running duties of the plan and the standard deviation of the
// settled current at each, in A, over good units.
func (m Model) spread() (levels, sd []float64) {
	for _, s := range m.Plan {
		if s.Supply && s.DutyPct > m.StartDuty && !slices.Contains(levels, s.DutyPct) {
			levels = append(levels, s.DutyPct)
		}
	}
	const units = 80
	rng := rand.New(rand.NewPCG(1, 2))
	sum, sq := make([]float64, len(levels)), make([]float64, len(levels))
	for range units {
		u := m.Unit(rng)
		for i, d := range levels {
			x := u.plateau(d, &healthy)
			sum[i] += x
			sq[i] += x * x
		}
	}
	sd = make([]float64, len(levels))
	for i := range sd {
		mean := sum[i] / units
		sd[i] = math.Sqrt(math.Max(0, sq[i]/units-mean*mean) * units / (units - 1))
	}
	return levels, sd
}
