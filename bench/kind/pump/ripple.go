package pump

import (
	"errors"
	"fmt"
	"math"

	"dutybench/signal/spectrum"
	"dutybench/signal/stat"
	"dutybench/signal/trace"
)

// ripples are what the commutation tells.
type ripples struct {
	rpm, share stat.Quantity
	turns      []float64 // Hz, the shaft in each plateau, NaN where not told
}

// trackRipple finds the ripple; why not, in plain words, when it is not told.
func trackRipple(ts []turning, sec Section, turn []spectrum.Line, tr *trace.Trace) (r ripples, why string) {
	perTurn := float64(spectrum.SixStep(sec.PolePairs))
	pwm, _ := tr.Number(trace.KeyPWM)
	o := spectrum.TrackOptions{Lo_Hz: perTurn * shaftLow_Hz, Hi_Hz: perTurn * shaftHigh_Hz, Highest_Hz: perTurn * shaftHigh_Hz,
		PWM_Hz: pwm, Least: leastPower, Greatest: greatestPower, Gain: ts[0].damp.gain,
		Lower: []int{3, 6}} // unequal phases: twice and once an electrical turn
	var blocks []spectrum.Block
	rate := math.Inf(1)
	for _, u := range ts {
		blocks = append(blocks, u.block)
		rate = min(rate, u.block.Rate_Hz)
	}
	got, err := spectrum.Track(blocks, o)
	const usable = 0.4 // of the rate, as spectrum has it
	enough := perTurn * shaftHigh_Hz / usable
	switch {
	case errors.Is(err, spectrum.ErrAliased):
		need := got.Likely_Hz / usable
		if !(need > rate) {
			need = enough
		}
		return r, fmt.Sprintf("sampled at %.0f Hz the ripple is folded, or may be; %.0f Hz would do", rate, math.Ceil(need/100)*100)
	case errors.Is(err, spectrum.ErrNoOrder) && rate < enough:
		return r, fmt.Sprintf("no ripple that follows the duty stands out of the noise up to %.0f Hz; sampling at %.0f Hz would show it at any speed", usable*rate, enough)
	case errors.Is(err, spectrum.ErrNoOrder):
		return r, "no ripple that follows the duty stands out of the noise"
	case errors.Is(err, spectrum.ErrFewSpeeds):
		return r, fewSpeeds
	case err != nil:
		return r, err.Error()
	}
	top := -1
	for i, u := range ts {
		r.turns = append(r.turns, got.Lines[i].Frequency_Hz/perTurn)
		switch {
		case top < 0 || u.plateau.Duty_pct > ts[top].plateau.Duty_pct+0.5:
			top = i
		case u.plateau.Duty_pct > ts[top].plateau.Duty_pct-0.5 && (got.Lines[i].SNR_dB > got.Lines[top].SNR_dB || math.IsNaN(got.Lines[top].SNR_dB)):
			top = i
		}
	}
	l := got.Lines[top]
	if math.IsNaN(l.Frequency_Hz) {
		return r, "the ripple does not stand out of the noise at the highest duty"
	}
	if f := disagree(r.turns, turn); f > 0 {
		return r, fmt.Sprintf("two lines follow the duty, and no speed fits both: %.4g Hz and %.4g Hz", l.Frequency_Hz, f)
	}
	k := 60 / perTurn
	r.rpm = stat.Quantity{Value: k * l.Frequency_Hz}.With("line frequency", k*l.U_Hz, 0).With("clock of the samples", k*l.Frequency_Hz*clock, 0)
	r.share = percent(l.Amplitude, l.Amplitude*math.Pow(10, -l.SNR_dB/20)/math.Sqrt2, l.Frequency_Hz, ts[top].run, ts[top].block.Rate_Hz, ts[top].damp)
	return r, ""
}

// disagree is the frequency of a line at shaft speed that is no whole multiple
// of the shaft's, by the median over plateaus; 0 when there is none.
func disagree(turns []float64, lines []spectrum.Line) float64 {
	var ratio, hz []float64
	for i, l := range lines {
		if !math.IsNaN(l.Frequency_Hz) && !math.IsNaN(turns[i]) {
			ratio, hz = append(ratio, l.Frequency_Hz/turns[i]), append(hz, l.Frequency_Hz)
		}
	}
	q := stat.Median(ratio)
	if len(ratio) == 0 || math.Abs(q-max(1, math.Round(q))) <= agree*q {
		return 0
	}
	return stat.Median(hz)
}
