package plot

import "math"

// Scale is the range of an axis with its ticks.
type Scale struct {
	Low, High float64
	Step      float64
	Ticks     []float64
	// Decimals that tell one tick from the next.
	Decimals int
}

// bound keeps ranges where differences and steps are still finite numbers.
const bound = 1e150

// Nice is a scale that starts and ends at ticks and covers low to high, with
// at most most intervals (at least 1). Steps are 1, 2 or 5 times a power of
// ten.
func Nice(low, high float64, most int) Scale {
	low, high = sane(low, high)
	most = max(most, 1)
	for m, e := firstStep((high - low) / float64(most)); ; m, e = nextStep(m, e) {
		step := m * pow10(e)
		// The small allowance keeps a value that is a tick but for rounding
		// from asking for one more interval.
		from, to := math.Floor(low/step+1e-9), math.Ceil(high/step-1e-9)
		if n := to - from; n <= float64(most) || most == 1 && n <= 2 {
			s := ticks(from, to, step, e)
			s.Low, s.High = min(s.Ticks[0], low), max(s.Ticks[len(s.Ticks)-1], high)
			return s
		}
	}
}

// Within is a scale that keeps low and high as they are and has its ticks
// between them, at most most+1 of them.
func Within(low, high float64, most int) Scale {
	low, high = sane(low, high)
	most = max(most, 1)
	m, e := firstStep((high - low) / float64(most))
	step := m * pow10(e)
	s := ticks(math.Ceil(low/step-1e-9), math.Floor(high/step+1e-9), step, e)
	s.Low, s.High = low, high
	return s
}

// ticks are the multiples of step from one count to the other.
func ticks(from, to, step float64, e int) Scale {
	s := Scale{Step: step, Decimals: max(0, -e)}
	for k := from; k <= to && len(s.Ticks) < 1000; k++ {
		s.Ticks = append(s.Ticks, k*step+0) // +0 turns a negative zero around
	}
	return s
}

// sane puts the ends in order, replaces what is no number and parts ends that
// are too close together to be told apart.
func sane(low, high float64) (float64, float64) {
	if math.IsNaN(low) || math.IsNaN(high) {
		return 0, 1
	}
	low, high = max(-bound, min(low, bound)), max(-bound, min(high, bound))
	if low > high {
		low, high = high, low
	}
	size := max(math.Abs(low), math.Abs(high))
	if high-low <= size*1e-9 || high-low < 1e-150 {
		d := size * 0.05
		if d < 1e-150 {
			d = 0.5
		}
		low, high = low-d, high+d
	}
	return low, high
}

// firstStep is the smallest 1, 2 or 5 times a power of ten that is not below
// raw, as multiple and exponent.
func firstStep(raw float64) (m float64, e int) {
	e = int(math.Floor(math.Log10(raw))) - 1
	m = 5
	for m*pow10(e) < raw*(1-1e-9) {
		m, e = nextStep(m, e)
	}
	return m, e
}

func nextStep(m float64, e int) (float64, int) {
	switch m {
	case 1:
		return 2, e
	case 2:
		return 5, e
	default:
		return 1, e + 1
	}
}

func pow10(e int) float64 { return math.Pow10(e) }

// Words is a tick as text, with the digits that tell it from its neighbours.
func (s Scale) Words(v float64) string {
	size := max(math.Abs(s.Low), math.Abs(s.High))
	if size < 1e6 && s.Decimals <= 6 {
		return Fixed(v, s.Decimals)
	}
	if math.Abs(v) < s.Step/2 {
		return "0"
	}
	return Short(v, max(1, int(math.Ceil(math.Log10(math.Abs(v)/s.Step)-1e-9))+1))
}
