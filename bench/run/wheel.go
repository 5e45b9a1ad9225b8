package run

import (
	"context"
	"math"
	"time"
)

// wheel is what one pulse showed.
type wheel struct {
	most_H  float64       // the inductance at most
	rose    time.Duration // to half of the current at the end
	fell    time.Duration // from the opening on to that; longest when it did not
	length  time.Duration
	peak_A  float64
	given_J float64
	short   bool    // more than the peak limit
	stays   int     // samples after the opening that hold a good part of it
	above   int     // readings of the node as behind a diode
	most_V  float64 // of the node beyond its rest, after the opening
	shut_V  float64 // mean of the node while closed; NaN: not read
}

// wheelPulse closes the switch until the current has come or the time is over,
// opens it and watches. It returns with the current gone, or a trip.
func (x *runner) wheelPulse(ctx context.Context, longest time.Duration, supply_V, rest_V float64) (w wheel, err error) {
	most_A, interval := x.most_A(), x.rig.Sampler.Interval()
	w.most_H = math.Inf(1)
	var t, amps [256]float64 // the last of them
	n := 0
	var closed mean
	if err := x.rig.Load.Drive(100, 0); err != nil {
		return w, x.failed(err)
	}
	began := x.rig.Clock.Now()
	last := began
	err = x.watch(ctx, longest, func() bool {
		s := &x.sample
		if s.At <= began {
			return false
		}
		i := math.Abs(x.current_A())
		t[n%len(t)], amps[n%len(t)] = (s.At - began).Seconds(), i
		n++
		if i > x.nought_A() { // i ≤ U·t/L
			w.most_H = min(w.most_H, supply_V*(s.At-began+interval).Seconds()/i)
		}
		w.given_J += supply_V * i * (s.At - last).Seconds()
		last = s.At
		w.peak_A = max(w.peak_A, i)
		if s.At > began+interval {
			closed.add(s.Node_V)
		}
		w.short = w.short || s.Clipped || i > x.profile.Limits.Peak_A
		// One that is there at once may be a short, which the filter shows in full
		// a little later.
		rises := n <= len(t) && amps[0] < i/2
		return w.short || rises && i >= 2*most_A || i >= most_A && n >= settledSamples || w.given_J >= harmless_J
	})
	if oerr := x.rig.Load.Open(); oerr != nil && err == nil {
		err = x.failed(oerr)
	}
	if err != nil || x.guard.Tripped() != nil {
		return w, err
	}
	opened := x.rig.Clock.Now()
	w.length, w.shut_V = opened-began, closed.value()
	half := w.peak_A / 2
	for k := max(0, n-len(t)); k < n; k++ {
		if amps[k%len(t)] >= half {
			w.rose = time.Duration(t[k%len(t)] * 1e9)
			break
		}
	}
	if n >= settledSamples && n <= len(t) && amps[0] >= 0.9*amps[n-1] && amps[0] > x.nought_A() {
		// It stood at once: 0.9 of it after 2.3 time constants L/R.
		w.most_H = min(w.most_H, supply_V/amps[n-1]*(t[0]+interval.Seconds())/2.3)
	}
	fell := false
	err = x.watch(ctx, 4*w.length+lookTime/4, func() bool {
		s, i := &x.sample, math.Abs(x.current_A())
		after := s.At - opened
		if after < interval/2 {
			return false
		}
		if !fell && i < half {
			fell, w.fell = true, after
		}
		if after >= interval && i >= 0.3*w.peak_A {
			w.stays++
		}
		if beyond := x.beyond_V(s.Node_V, rest_V); beyond >= diodeLeast_V {
			if w.most_V = max(w.most_V, beyond); beyond <= diodeMost_V {
				w.above++
			}
		}
		return false
	})
	if !fell {
		w.fell = 4 * w.length
	}
	// The next pulse begins from nought.
	if err == nil && x.guard.Tripped() == nil {
		err = x.watch(ctx, recirculates, func() bool { return math.Abs(x.current_A()) < x.nought_A() })
	}
	return w, err
}

// atOnce says that a current came and went too fast to be told from a step,
// nothing showed where it went, and the unit seems to hold next to nothing.
func (x *runner) atOnce(w *wheel) bool {
	bears_A := x.profile.Limits.Current_A
	return w.rose < 3*x.rig.Sampler.Interval() && w.stays < 2 && w.above < 2 && w.most_V <= diodeMost_V &&
		w.most_H*bears_A*bears_A/2 <= harmless_J
}

// plugLook is how long a current that stands at once is let flow, for two
// readings of the plug's voltage at the usual pace, the second with what a supply
// holds in its output capacitor gone (chosen).
const plugLook = 25 * time.Millisecond

// plugUnder closes the switch on a unit whose current stands at once, as long as
// what it holds is harmless, and gives the lowest voltage at the plug; NaN: not
// read. It returns with the switch open, or a trip.
func (x *runner) plugUnder(ctx context.Context, most_H float64) (plug_V float64, err error) {
	plug_V = math.NaN()
	if err := x.rig.Load.Drive(100, 0); err != nil {
		return plug_V, x.failed(err)
	}
	began := x.rig.Clock.Now()
	err = x.watch(ctx, max(plugLook, 16*x.rig.Sampler.Interval()), func() bool {
		if v := x.sample.Supply_V; x.sample.At > began+x.rig.Sampler.Interval() && !(v >= plug_V) && !math.IsNaN(v) {
			plug_V = v
		}
		i := x.current_A()
		return most_H*i*i/2 >= harmless_J
	})
	if oerr := x.rig.Load.Open(); oerr != nil && err == nil {
		err = x.failed(oerr)
	}
	return plug_V, err
}

// beyond_V is how far the node lies beyond where it rests, to the side to which
// a coil drives it: up behind a switch to ground, down behind one to the supply.
func (x *runner) beyond_V(node_V, rest_V float64) float64 {
	if x.rig.Load.HighSide {
		return rest_V - node_V
	}
	return node_V - rest_V
}

// halves is how many times as long as it took to come to half of its end the
// current may take at least to lose half of it: between what a path behind a
// diode gives, and a switch that breaks down. With x the share of the supply
// that the resistance had at the end, and b that which the path takes, half of the
// current comes in L/R·ln(1/(1−x/2)) and goes in L/R·ln((x+b)/(x/2+b)); the whole
// came in L/R·ln(1/(1−x)), which tells x.
// Readings come up to two intervals late; taken off, they make x larger and so
// less of what is asked for.
func (w *wheel) halves(supply_V float64, interval time.Duration) float64 {
	least, most := 1e-3, 0.97
	half := float64(w.rose-2*interval) / float64(w.length)
	for range 30 {
		x := (least + most) / 2
		if math.Log1p(-x/2)/math.Log1p(-x) > half {
			least = x
		} else {
			most = x
		}
	}
	x := (least + most) / 2
	ratio := func(b float64) float64 { return math.Log((x+b)/(x/2+b)) / -math.Log1p(-x/2) }
	return math.Sqrt(ratio(diodePath_V/supply_V) * ratio(breakdownShare))
}
