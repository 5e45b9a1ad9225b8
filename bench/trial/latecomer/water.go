package latecomer

// point is one point of a pump curve, each number over its value at the best
// point.
type point struct{ flow, head, power float64 }

// curve is a radial pump of low specific speed; see the package comment.
var curve = [...]point{
	{0, 1.25, 0.52},
	{0.25, 1.24, 0.66},
	{0.5, 1.20, 0.79},
	{0.75, 1.12, 0.91},
	{1, 1.00, 1.00},
	{1.25, 0.84, 1.07},
}

// at is head and power at a flow, with straight lines between the points.
func at(flow float64) (head, power float64) {
	k := 1
	for k < len(curve)-1 && curve[k].flow < flow {
		k++
	}
	a, b := curve[k-1], curve[k]
	x := (flow - a.flow) / (b.flow - a.flow)
	return a.head + x*(b.head-a.head), a.power + x*(b.power-a.power)
}

// meet is the flow at which a loop of head resistance·flow² meets the curve.
// It lies between 0 and the last point of the curve.
func meet(resistance float64) float64 {
	low, high := 0.0, curve[len(curve)-1].flow
	for range 40 {
		mid := (low + high) / 2
		if head, _ := at(mid); resistance*mid*mid < head {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// loaded is the shaft power with that loop, over that at the best point. By
// the affinity laws it holds at any speed.
func loaded(resistance float64) float64 {
	_, power := at(meet(resistance))
	return power
}
