package coil

import "math"

// Average is one edge out of several of the same coil, each with the time at which
// it was switched: its time counts from there. To each reading of the first edge
// come those of the others nearest to it in that time, on the same side of the
// switch; where one is further off than a step, none is given. So nothing is
// interpolated, every mean holds each edge once, and noise falls by the root of
// their number. The converter's step falls by the number: Known.Resolution_A wants
// to be divided so. It is for edges that repeat; see Alike.
func Average(edges []Samples, switched_s []float64) (out Samples) {
	if len(edges) == 0 || len(edges[0].Time_s) < 2 {
		return out
	}
	first := edges[0]
	last := len(first.Time_s) - 1
	step := (first.Time_s[last] - first.Time_s[0]) / float64(last)
	volts := false
	for _, s := range edges {
		volts = volts || s.Supply_V != nil
	}
	at := make([]int, len(edges))
	c := float64(len(edges))
reading:
	for k, t := range first.Time_s {
		t -= switched_s[0]
		var time, current, voltage, seen float64
		for n, s := range edges {
			off := func(j int) float64 { return math.Abs(s.Time_s[j] - switched_s[n] - t) }
			if n == 0 {
				at[0] = k
			}
			for n > 0 && at[n]+1 < len(s.Time_s) && off(at[n]+1) <= off(at[n]) {
				at[n]++
			}
			j := at[n]
			if j >= len(s.Time_s) || off(j) > step || s.Time_s[j] > switched_s[n] != (t > 0) {
				continue reading
			}
			time += s.Time_s[j] - switched_s[n]
			current += s.Current_A[j]
			if s.Supply_V != nil && !math.IsNaN(s.Supply_V[j]) {
				voltage += s.Supply_V[j]
				seen++
			}
		}
		out.Time_s, out.Current_A = append(out.Time_s, time/c), append(out.Current_A, current/c)
		if volts {
			out.Supply_V = append(out.Supply_V, voltage/seen) // NaN where none was sampled
		}
	}
	return out
}
