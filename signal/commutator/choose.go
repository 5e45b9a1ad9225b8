package commutator

import (
	"fmt"
	"math"
	"slices"

	"dutybench/signal/spectrum"
	"dutybench/signal/stat"
)

// Options say what is known of the motor and of its bench.
type Options struct {
	// PerTurn ripples a turn; at least one.
	PerTurn int
	// Fastest is the speed in rpm that no shaft of the type passes at this supply;
	// 0 not known. What lies above cannot have been folded down.
	Fastest_rpm float64
	// Expected speed in rpm from something else, such as the back-EMF, and how far
	// off that may be as a ratio, above 1; 0 not known.
	Expected_rpm, Within float64
	// PWM_Hz of the bench's switch: its harmonics, folded or not, are no ripple; 0
	// when it does not switch. PWM_U is how far off the frequency may be, a share.
	PWM_Hz, PWM_U float64
	// Edges says that the current jumps with the switch, as where the shunt does not
	// see what recirculates; else an inductance leaves corners only.
	Edges bool
	// Highest_Hz is above what nothing reaches the samples, as after a steep
	// filter; 0 when not known.
	Highest_Hz float64
	// Moved is how the line moves with the speed in the same recording, relative
	// change over relative change: 1 for a true line (see Follow); NaN or 0 when it
	// was not seen.
	Moved float64
}

// Reading is a speed and the ripple that it comes from.
type Reading struct {
	Speed_rpm stat.Quantity // at the middle of the block
	Ripple_Hz float64
	// Drift is by what share the speed moves over the block.
	Drift float64
	// Amplitude of the ripple's line, its peak value, in the samples' unit.
	Amplitude float64
	// SNR_dB is the line's power over the noise in one bin of the whole block
	// (a bandwidth of one over its length), Band_dB over the noise of all that
	// was sampled up to half the rate, lines left out.
	SNR_dB, Band_dB float64
}

// Speed reads the speed from a block sampled evenly at rate_Hz. ErrNoRipple,
// ErrFolded, ErrUnclear and ErrSamples say why there is none.
func Speed(x []float64, rate_Hz float64, o Options) (Reading, error) {
	if err := o.check(x, rate_Hz); err != nil {
		return Reading{}, err
	}
	var best *cut
	var list []line
	most := 0.0
	for _, parts := range levels {
		c, err := newCut(x, rate_Hz, parts, o)
		if err != nil {
			return Reading{}, err
		}
		if c == nil {
			break
		}
		ls := c.lines(o.can)
		// A line that stands still holds all its power in one piece; one that moves
		// shows more of it in several. A third more is more than chance gives.
		if e := o.strongest(ls); e > most*4/3 {
			best, list, most = c, ls, e
		}
	}
	if best == nil {
		return Reading{}, fmt.Errorf("%w: record longer, at a steady speed and with a converter that resolves it", ErrNoRipple)
	}
	l, err := o.choose(list, rate_Hz)
	if err != nil {
		return Reading{}, err
	}
	if err := o.hidden(l, best.others, rate_Hz); err != nil {
		return Reading{}, err
	}
	f, err := o.unfold(l.hz, rate_Hz)
	if err != nil {
		return Reading{}, err
	}
	if err := o.coarse(l, list, rate_Hz); err != nil {
		return Reading{}, err
	}
	k := 60 / float64(o.PerTurn)
	r := Reading{Speed_rpm: stat.Quantity{Value: k * f}.With("line of the ripple", k*l.u_Hz, 0), Ripple_Hz: f, Drift: l.drift,
		Amplitude: l.amp, SNR_dB: 10 * math.Log10(max(l.energy, 1e-30))}
	r.Band_dB = 20*math.Log10(max(l.amp, 1e-300)) - 10*math.Log10(2*max(noisePower(x), 1e-300))
	return r, nil
}

func (o Options) check(x []float64, rate_Hz float64) error {
	switch {
	case o.PerTurn < 1:
		return fmt.Errorf("commutator: %d ripples a turn cannot be: state brushes and segments", o.PerTurn)
	case !(rate_Hz > 0) || math.IsInf(rate_Hz, 0):
		return fmt.Errorf("%w: a rate of %g Hz", ErrSamples, rate_Hz)
	case len(x) < leastSamples:
		return fmt.Errorf("%w: %d are too few, %d are the least: record longer", ErrSamples, len(x), leastSamples)
	}
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%w: number %d is no number", ErrSamples, i)
		}
	}
	return nil
}

// strongest is the energy of the strongest line that may be the ripple.
func (o Options) strongest(ls []line) float64 {
	for _, l := range ls {
		if o.can(l.hz) {
			return l.energy
		}
	}
	return 0
}

// slowest is the least speed that is looked for, as a share of the fastest, where
// nothing else says how fast it turns: below it a motor draws more than four
// fifths of what it draws at standstill, and what turns once a turn could pass for
// the ripple of a slower one.
const slowest = 0.2

// can says that a line may be the ripple's: of the expected speed, and no faster
// than the type turns, folded ones aside.
func (o Options) can(hz float64) bool {
	if !(o.Fastest_rpm > 0) {
		return o.fits(hz)
	}
	share := 60 * hz / float64(o.PerTurn) / o.Fastest_rpm
	return o.fits(hz) && share <= 1.2 && (share >= slowest || o.Expected_rpm > 0)
}

// fits says that a ripple of a frequency is one of the expected speed.
func (o Options) fits(hz float64) bool {
	if !(o.Expected_rpm > 0) || !(o.Within > 1) {
		return true
	}
	r := 60 * hz / float64(o.PerTurn) / o.Expected_rpm
	return r >= 1/o.Within && r <= o.Within
}

// orders of the switching that are looked for. The k-th harmonic of a current with
// edges has a k-th of the first one's amplitude at most, of one with corners only a
// k-th of that again.
const switchingOrders = 64

// mask takes out of a spectrum what lies on a harmonic of the switching as
// sampled and is no stronger than it can be, down to its feet on both sides.
func (o Options) mask(p *piece, rate_Hz, step_Hz float64) (others []line) {
	if !(o.PWM_Hz > 0) {
		return nil
	}
	span := func(k int) (peak, lo, hi int) {
		f := spectrum.Apparent(float64(k)*o.PWM_Hz, rate_Hz) / step_Hz
		off := 1.5 + o.PWM_U*float64(k)*o.PWM_Hz/step_Hz
		lo, hi = max(0, int(math.Ceil(f-off))), min(len(p.amp)-1, int(f+off))
		peak = lo
		for i := lo; i <= hi; i++ {
			if p.amp[i] > p.amp[peak] {
				peak = i
			}
		}
		return peak, lo, hi
	}
	fall := 2.0
	if o.Edges {
		fall = 1
	}
	first := 0.0 // the amplitude of the first harmonic, by the strongest of three
	for k := 1; k <= 3; k++ {
		peak, _, _ := span(k)
		first = max(first, math.Pow(float64(k), fall)*p.amp[peak])
	}
	for k := 1; k <= switchingOrders; k++ {
		_, lo, hi := span(k)
		for i := max(lo, 1); i <= min(hi, len(p.amp)-2); i++ {
			if p.amp[i] < p.amp[i-1] || p.amp[i] < p.amp[i+1] || k > 3 && p.amp[i] > 1.5*first/math.Pow(float64(k), fall) {
				continue
			}
			if p.ratio[i] > 0 {
				others = append(others, line{bin: i, hz: float64(i) * step_Hz, u_Hz: step_Hz, amp: p.amp[i]})
			}
			from, to := i, i
			for ; from > 1 && (p.amp[from-1] < p.amp[from] || i-from < 2); from-- {
				p.ratio[from] = 0
			}
			for ; to < len(p.amp)-2 && (p.amp[to+1] < p.amp[to] || to-i < 2); to++ {
				p.ratio[to] = 0
			}
		}
	}
	return others
}

// choose finds which line is the ripple. Weak segments and whatever else turns
// with the shaft make lines at whole multiples of the turn, some stronger than the
// ripple; of the lines that can be the ripple the one wins under which most of the
// others are such multiples, and of equals the strongest.
func (o Options) choose(list []line, rate_Hz float64) (line, error) {
	var can []line
	for _, l := range list {
		if o.can(l.hz) {
			can = append(can, l)
		}
	}
	if len(can) == 0 {
		if len(list) > 0 && o.Expected_rpm > 0 {
			return line{}, fmt.Errorf("%w: the lines that do, the strongest at %.4g Hz, are none of a shaft near %.3g rpm", ErrNoRipple, list[0].hz, o.Expected_rpm)
		}
		return line{}, fmt.Errorf("%w: what does belongs to the switching", ErrNoRipple)
	}
	// Forty decibels below the strongest is a harmonic, or the fold of one; where
	// nothing else says how fast it turns, ten are enough to take it for one.
	least := 1e-4
	if !(o.Expected_rpm > 0) {
		least = 0.1
	}
	top, most := can[0], math.Inf(-1)
	for _, l := range can {
		if l.energy < can[0].energy*least {
			break
		}
		if s := o.explains(l, list, rate_Hz) - math.Log(can[0].energy/l.energy); s > most {
			top, most = l, s
		}
	}
	if err := o.rivals(top, list, rate_Hz); err != nil {
		return line{}, err
	}
	if err := o.alone(top, list); err != nil {
		return line{}, err
	}
	return top, nil
}

// explains is how much of the other lines, in nats, lie where a line's being the
// ripple puts them, less what does not: at whole multiples of the turn, which a
// fine comb meets by chance as well, and at the ripple's own harmonics as sampled.
func (o Options) explains(l line, list []line, rate_Hz float64) (sum float64) {
	for _, q := range list {
		w := math.Log(1 + q.energy)
		if own, byChance := o.belongs(l, q, rate_Hz); own {
			sum += w * (1 - byChance)
		} else {
			sum -= w * (1 - byChance)
		}
	}
	return sum
}

// belongs says that a line lies where l's being the ripple puts it, and how likely
// any line lies in such a place.
func (o Options) belongs(l, q line, rate_Hz float64) (own bool, byChance float64) {
	if q.bin == l.bin {
		return true, 0
	}
	for k := 2.0; k <= 6; k++ {
		if math.Abs(q.hz-spectrum.Apparent(k*l.hz, rate_Hz)) <= 3*(q.u_Hz+k*l.u_Hz) {
			// More than a harmonic of the steepest wave, a saw tooth, is none.
			return q.amp <= 1.5*l.amp/k, 0
		}
	}
	turn := l.hz / float64(o.PerTurn)
	order := math.Round(q.hz / turn)
	within := 3*(q.u_Hz+l.u_Hz*order/float64(o.PerTurn)) + 0.02*turn
	return order >= 1 && math.Abs(q.hz-order*turn) <= within, min(1, 2*within/turn)
}

// rivals refuses a line beside which another stands, no weaker than six decibels
// below, that it does not explain, and that may be the ripple of a shaft of this type
// itself, as it appears or folded: the ripple is the strongest of a turn's lines but
// where segments are gone, and then one of the strongest.
func (o Options) rivals(l line, list []line, rate_Hz float64) error {
	top := 2 * rate_Hz
	if o.Fastest_rpm > 0 {
		top = 1.2 * o.Fastest_rpm / 60 * float64(o.PerTurn)
	}
	for _, q := range list {
		if q.bin == l.bin || q.energy < l.energy/4 {
			continue
		}
		own, byChance := o.belongs(l, q, rate_Hz)
		// A fine comb explains a folded ripple by chance: where one could be, that is
		// no excuse.
		if slices.ContainsFunc(spectrum.Candidates(q.hz, rate_Hz, top), func(c float64) bool {
			return o.can(c) && (c > usable*rate_Hz || !own && byChance <= 0.5)
		}) {
			return fmt.Errorf("%w: at %.4g Hz, and one as strong at %.4g Hz: sample faster, or state the speed without load", ErrUnclear, l.hz, q.hz)
		}
	}
	return nil
}

// hidden refuses a line that may be a side band of a ripple which the switching
// hides: one of the lines that were taken for the switching's is as strong, within
// six decibels, could be the ripple of a shaft of this type as it appears or folded,
// and would have this line at a whole multiple of its turn.
func (o Options) hidden(l line, others []line, rate_Hz float64) error {
	top := 2 * rate_Hz
	if o.Fastest_rpm > 0 {
		top = 1.2 * o.Fastest_rpm / 60 * float64(o.PerTurn)
	}
	for _, q := range others {
		if q.amp < l.amp/2 {
			continue
		}
		for _, c := range spectrum.Candidates(q.hz, rate_Hz, top) {
			turn := c / float64(o.PerTurn)
			order := math.Round(l.hz / turn)
			within := 0.02*turn + 3*l.u_Hz + q.u_Hz*order/float64(o.PerTurn)
			if o.can(c) && order >= 1 && int(order) != o.PerTurn && within < turn/4 && math.Abs(l.hz-order*turn) <= within {
				return fmt.Errorf("%w: at %.4g Hz, or one at %.4g Hz that the switching at %.4g Hz hides: choose another duty or frequency", ErrUnclear, l.hz, c, o.PWM_Hz)
			}
		}
	}
	return nil
}

// alone refuses a line that may as well be one of a defect's: where nothing else
// says how fast it turns, and a multiple of it is stronger than that of the
// steepest ripple, a saw tooth.
func (o Options) alone(l line, list []line) error {
	if o.Expected_rpm > 0 {
		return nil
	}
	if q := list[0]; q.energy > l.energy*10 {
		return fmt.Errorf("%w: the line at %.4g Hz is stronger than that at %.4g Hz: state the speed without load, or sample faster", ErrUnclear, q.hz, l.hz)
	}
	for _, q := range list {
		k := math.Round(q.hz / l.hz)
		if k < 2 || math.Abs(q.hz-k*l.hz) > 3*(q.u_Hz+k*l.u_Hz) {
			continue
		}
		if q.amp > 1.2*l.amp/k {
			return fmt.Errorf("%w: at %.4g Hz and at %.4g Hz, one a multiple of the other: state the speed without load, or the supply at the plug", ErrUnclear, l.hz, q.hz)
		}
	}
	return nil
}

// noisePower is the variance of what is left of a block without its lines: half
// the mean square of second differences would colour it, so it is taken from the
// median power of the bins.
func noisePower(x []float64) float64 {
	a := analyzers.Get().(*spectrum.Analyzer)
	defer analyzers.Put(a)
	s, err := a.Spectrum(x[:smooth(len(x))], 1)
	if err != nil {
		return 0
	}
	p := make([]float64, 0, len(s.Amplitude))
	for k := 2; k < len(s.Amplitude)-1; k++ {
		p = append(p, s.Amplitude[k]*s.Amplitude[k]/2/s.Window.ENBW())
	}
	return stat.MedianInPlace(p) / math.Ln2 * float64(len(p))
}
