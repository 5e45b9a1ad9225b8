package rigtest

import (
	"math"
	"time"

	"periph.io/x/conn/v3/physic"

	"dutybench/bench/rig"
)

// LoadMeans is what a test sees of a load switch from outside, at its pin or at
// its gate.
type LoadMeans struct {
	// Conducts is the share of a period for which the switch is told to conduct,
	// and the frequency; 0 and 1 are steady levels.
	Conducts func() (share, frequency_Hz float64)
}

// ConformLoad checks the switch of two-wire units from outside. open gives a new
// rig each time; fails opens one of which something else than the load switch
// fails, on a board that was left switching, and gives the error.
func ConformLoad(t T, open func() (*rig.Rig, LoadMeans), fails func() (LoadMeans, error)) {
	t.Helper()
	r, m := open()
	told := func(what string, share, hz float64) {
		t.Helper()
		s, f := m.Conducts()
		within(t, what+": share for which it conducts", s, share, 1e-6)
		if share > 0 && share < 1 {
			within(t, what+": frequency in Hz", f, hz, 1e-3*hz)
		}
	}
	told("after it was opened", 0, 0)
	if r.Load == nil {
		t.Errorf("the rig has no load switch")
		t.FailNow()
	}
	need(t, r.Load.Drive(100, 0), "close it")
	told("closed", 1, 0)
	need(t, r.Load.Drive(0, 0), "open it")
	told("opened", 0, 0)
	last := 0.0
	for _, hz := range loadFrequencies(r) {
		for _, duty := range []float64{0.1, 37, 99.9} {
			need(t, r.Load.Drive(duty, frequency(hz)), "drive it")
			told("driven", duty/100, hz)
			last = duty / 100
		}
	}
	refusals(t, r)
	told("after refusals", last, r.Load.HighestFrequency_Hz)
	need(t, r.Load.Open(), "open it")
	told("opened", 0, 0)
	need(t, r.Load.Drive(100, 0), "close it")
	need(t, r.Close(), "close the rig")
	told("after the rig was closed", 0, 0)

	m, err := fails()
	check(t, err != nil, "a rig of which a part fails is opened")
	told("after a rig that could not be opened", 0, 0)
}

// frequency of so many Hz.
func frequency(hz float64) physic.Frequency {
	return physic.Frequency(math.Round(hz * float64(physic.Hertz)))
}

// loadFrequencies are the ends of what the switch says that it takes.
func loadFrequencies(r *rig.Rig) []float64 {
	if l := r.Load; l.HighestFrequency_Hz > 0 {
		return []float64{l.LowestFrequency_Hz, l.HighestFrequency_Hz}
	}
	return nil
}

// refusals: what a load switch may not be asked for.
func refusals(t T, r *rig.Rig) {
	t.Helper()
	l := r.Load
	check(t, l.HighestFrequency_Hz == 0 || l.LowestFrequency_Hz >= rig.LoadLowest_Hz && l.LowestFrequency_Hz <= l.HighestFrequency_Hz && l.HighestFrequency_Hz <= rig.LoadHighest_Hz,
		"the load switch takes %g to %g Hz", l.LowestFrequency_Hz, l.HighestFrequency_Hz)
	good := frequency(max(l.LowestFrequency_Hz, rig.LoadLowest_Hz))
	for _, c := range []struct {
		duty float64
		f    physic.Frequency
	}{
		{-0.1, good}, {100.1, good}, {math.NaN(), good}, {math.Inf(1), good}, {50, 0}, {50, -physic.Hertz},
		{50, frequency(0.98 * l.LowestFrequency_Hz)}, {50, frequency(1.02*l.HighestFrequency_Hz + 1)}, {50, physic.MegaHertz},
	} {
		check(t, l.Drive(c.duty, c.f) != nil, "the load switch takes a duty of %g %% at %v", c.duty, c.f)
	}
}

// load: a load switch can be driven and opened, with the supply off, and takes
// nothing that it may not.
func load(t T, r *rig.Rig) {
	t.Helper()
	if r.Load == nil {
		return
	}
	need(t, r.Load.Drive(100, 0), "close the load switch")
	for _, hz := range loadFrequencies(r) {
		need(t, r.Load.Drive(50, frequency(hz)), "drive the load switch")
		r.Clock.Sleep(time.Millisecond)
	}
	refusals(t, r)
	need(t, r.Load.Open(), "open the load switch")
	check(t, r.Load.HighestFrequency_Hz == 0 || r.Accuracy.LoadEdge_s > 0, "a load switch with PWM and no error of its edges")
	check(t, r.Load.FreeWheel == rig.FreeWheelDiode || r.Load.FreeWheel == rig.FreeWheelNone, "free-wheel path %q", r.Load.FreeWheel)
}

// told: position and the wire to the load switch come at their pace, read what
// they can, and the wire more often when asked.
func told(t T, r *rig.Rig) {
	t.Helper()
	pacer, can := r.Sampler.(rig.NodePacer)
	level := r.Load != nil && r.Load.Level != nil
	check(t, can || !level, "the sampler cannot be asked to read the wire to the load switch more often")
	check(t, !can || pacer.PaceNode(0) == level, "the sampler says that it has such a wire: %v, the load switch: %v", !level, level)
	check(t, r.Position == (r.PositionBy != ""), "position %v, by %q", r.Position, r.PositionBy)
	if !r.Position && !level {
		return
	}
	a := r.Accuracy
	switch r.PositionBy {
	case rig.PositionByVoltage:
		check(t, a.PositionGain > 0 && a.PositionOffset_V > 0 && a.PositionStep_V > 0, "accuracy %+v states nothing of the position", a)
	case rig.PositionByPWM:
		check(t, a.PositionEdge_s > 0, "accuracy %+v states nothing of the position's edges", a)
	}
	need(t, r.Sampler.Start(), "start")
	second := func() (positions, nodes int) {
		t.Helper()
		var s rig.Sample
		for end := r.Clock.Now() + time.Second; r.Clock.Now() < end; {
			need(t, r.Sampler.Next(&s), "next")
			if !math.IsNaN(s.Position) {
				positions++
				most := 100.0
				if r.PositionBy == rig.PositionByVoltage {
					most = 70 // beyond every supply and a tenth
				}
				check(t, s.Position >= -1 && s.Position <= most, "a position of %g", s.Position)
			}
			if !math.IsNaN(s.Node_V) {
				nodes++
				check(t, math.Abs(s.Node_V) < 0.5, "%g V at the wire to the load switch with the supply off", s.Node_V)
			}
		}
		return positions, nodes
	}
	positions, nodes := second()
	check(t, positions >= 15 == r.Position, "%d positions in a second", positions)
	check(t, nodes >= 15 == level, "%d readings of the wire to the load switch in a second", nodes)
	if level && can {
		pacer.PaceNode(time.Millisecond)
		_, more := second()
		check(t, more > nodes*3/2, "asked for 1,000 readings of the wire to the load switch a second %d came, without %d", more, nodes)
		pacer.PaceNode(0)
	}
}
