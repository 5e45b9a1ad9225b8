package newcomer

import (
	"math"
	"slices"
)

// die leaves a board that never wakes.
func (u *unit) die(fuse bool) {
	u.sick.dead, u.sick.noCap = true, fuse
	if !fuse {
		u.sickM.leak = uniform(u.rng, 1e-5, 1e-4)
	}
}

// cross swaps plus and minus: the bridge's diodes conduct, if nothing stands in
// their way.
func (u *unit) cross() {
	if u.board.protected {
		u.away = true
		return
	}
	const diodes = 1.7 // V at a large current, two in series; chosen
	u.short = diodes / u.limit
}

// dropOuts spreads about mean resets over the sweep.
func (u *unit) dropOuts(mean float64) {
	plan, on, _ := u.bench.plan()
	from, to := on+u.bench.quietS+2, plan[len(plan)-3].until
	count := int(mean * uniform(u.rng, 0.85, 1.3))
	for range count {
		u.sick.drops = append(u.sick.drops, uniform(u.rng, from, to))
	}
	slices.Sort(u.sick.drops)
}

// stick adds a breakaway torque that a good start cannot overcome; attempts
// loosen it by a fifth or so each.
func (u *unit) stick(severity float64) {
	const loosened = 0.78
	most := u.board.start
	if u.board.sensors {
		most = u.board.most
		if u.board.rule == setsVoltage {
			most = min(most, u.made.lid(0, u.board.share(u.bench.first())*u.made.reach*u.emf, u.k, u.ohm))
		}
	}
	u.sticky = 0.92*u.k*most*math.Pow(loosened, 0.4-4.4*severity) - u.torque(0)
}

// first is the first duty above zero.
func (n *bench) first() float64 {
	if n.startS > 0 {
		return n.startDuty
	}
	return n.up[0]
}
