package newcomer

import (
	"fmt"
	"math"
)

// chargeTime is how long after switch-on the charge of the input counts, s.
const chargeTime = 0.02

// charge is the charge in As that has gone into the input filter a time after
// switch-on, and the current: a series R-L-C circuit, closed solution.
func (u *unit) charge(t float64) (q, i float64) {
	b := &u.board
	if t <= 0 {
		return 0, 0
	}
	all := b.farad * u.emf
	a := (u.rs + u.sickM.lead + b.esr) / (2 * b.henry)
	w2 := 1 / (b.henry * b.farad)
	switch d := a*a - w2; {
	case d < 0:
		w := math.Sqrt(-d)
		e, sin, cos := math.Exp(-a*t), math.Sin(w*t), math.Cos(w*t)
		return all * (1 - e*(cos+a/w*sin)), all * e * w2 / w * sin
	default:
		s := math.Sqrt(d) + 1e-9
		fast, slow := -a-s, -a+s
		ef, es := math.Exp(fast*t), math.Exp(slow*t)
		return all * (1 - (fast*es-slow*ef)/(fast-slow)), all * w2 * (es - ef) / (2 * s)
	}
}

// node moves the voltage at the terminals and the current of the source.
func (u *unit) node(h float64, on bool) {
	u.fed = on && !u.cut
	u.chargeA = 0
	if !u.fed {
		u.unfed(h)
		return
	}
	u.sinceOn += h
	rs := u.rs + u.sickM.lead
	switch {
	case u.away:
		u.volt, u.source = u.emf, 0
	case u.short > 0:
		u.source = min(u.emf/(rs+u.short), u.limit)
		u.volt = u.source * u.short
	case u.sick.noCap:
		u.volt, u.source = u.emf-rs*u.loadA, u.loadA
	default:
		u.feed(h, rs)
		if u.sinceOn < chargeTime {
			q, i := u.charge(u.sinceOn)
			u.chargeA = i
			if u.bench.averages {
				u.chargeA = (q - u.chargedQ) / h
			}
			u.chargedQ = q
			u.volt = q / u.board.farad
		}
	}
	if u.overS += h; u.source < u.bench.trip {
		u.overS = 0
	}
	if u.overS > u.bench.tripS {
		u.cut = true
		u.ended = fmt.Sprintf("over-current: %.1f A for %.0f ms", u.source, 1000*u.overS)
	}
}

// unfed lets the input capacitor run down; a coasting rotor feeds it through the
// bridge.
func (u *unit) unfed(h float64) {
	u.source, u.sinceOn, u.chargedQ, u.choked = 0, 0, 0, false
	if u.away || u.short > 0 || u.sick.noCap {
		u.volt = 0
		return
	}
	const bleed, diodes = 4700, 1.4 // Ω, V; chosen
	u.volt -= h * (u.loadA + u.volt/bleed) / u.board.farad
	u.volt = max(0, u.volt, u.k*u.omega/u.made.reach-diodes)
}

// feed is the source with its resistance, and in its current limit.
func (u *unit) feed(h, rs float64) {
	open := u.emf - rs*u.loadA
	if u.loadA <= u.limit && !u.choked {
		u.source = u.loadA
		u.volt += (open - u.volt) * min(1, h/0.002)
		return
	}
	u.source, u.choked = u.limit, true
	u.volt = max(0, u.volt+h*(u.limit-u.loadA)/(u.board.farad+u.bench.farad))
	if u.volt >= open {
		u.volt, u.choked, u.source = open, false, u.loadA
	}
}

// capRipple is the ripple of the current under the cap of a back-EMF that is a
// sine over 60 degrees, relative, at an electrical angle.
func capRipple(angle float64) float64 {
	const sixth = math.Pi / 3
	x := angle/sixth - math.Floor(angle/sixth) - 0.5
	return sixth*math.Cos(x*sixth) - 1
}

// rippleA is what ripple the input filter and the bench's filter let through at
// this instant, A.
func (u *unit) rippleA() float64 {
	if u.phase != running || u.amps == 0 || u.choked || !u.fed {
		return 0
	}
	b := &u.board
	hertz := 6 * u.made.polePairs * u.omega / (2 * math.Pi)
	resonance := hertz * hertz * 4 * math.Pi * math.Pi * b.henry * b.farad
	damping := 2 * math.Pi * hertz * (b.esr + u.rs) * b.farad
	filter := math.Sqrt((1 + damping*damping/4) / ((1-resonance)*(1-resonance) + damping*damping))
	seen := filter / math.Sqrt(1+hertz*hertz/(u.bench.cutoff*u.bench.cutoff))
	return b.ripple * seen * u.loadA * capRipple(u.made.polePairs*u.angle)
}
