package coil

import "math"

// Numbers of the model's parameters: those at rest first.
const (
	pFinal        = iota // where the current goes, A
	pOnset               // s
	pRate                // ln of R/L at rest, 1/s
	pCubic               // iron at the scale flux, share of the scale current
	pNinth               // the same, ninth power
	pEddy                // current of eddies, share of the scale current
	pDiffuse             // ln of the diffusion time, s
	pEnd                 // of the motion, s
	pLength              // ln of the motion's length, s
	pGain                // ln of the inductance after it over that before
	pSpeed               // ln of the speed at the end of each part of the motion but the last, over that at its end
	allParameters = pSpeed + parts - 1
)

const restParameters = pEnd

// parameters of one edge, rest and motion.
type parameters [allParameters]float64

// parts is how many straight lines the plunger's speed over time has at most;
// a motion is sought with fewer of them.
const (
	parts    = 8
	fewParts = 4
)

// way is the share of the plunger's way (of ln L) by the share of its time.
type way struct {
	parts       int
	power       float64 // of time, for no parts at all
	speed, done [parts + 1]float64
}

func makeWay(p *parameters, parts int) (w way) {
	w.parts = parts
	if parts == 0 {
		w.power = math.Exp(p[pSpeed])
		return w
	}
	for n := 1; n < parts; n++ {
		w.speed[n] = math.Exp(p[pSpeed+n-1])
	}
	w.speed[parts] = 1
	for n := range parts {
		w.done[n+1] = w.done[n] + (w.speed[n]+w.speed[n+1])/float64(2*parts)
	}
	all := 1 / w.done[parts]
	for n := range w.speed {
		w.speed[n] *= all
		w.done[n] *= all
	}
	return w
}

// at is the share at u between 0 and 1.
func (w *way) at(u float64) float64 {
	if w.parts == 0 {
		return math.Pow(u, w.power)
	}
	u *= float64(w.parts)
	n := min(int(u), w.parts-1)
	f := u - float64(n)
	return w.done[n] + f*(w.speed[n]+f/2*(w.speed[n+1]-w.speed[n]))/float64(w.parts)
}

// model is an edge of a coil whose resistance stays: with the flux linkage
// over resistance λ (A·s) it is dλ/dt = final - i, and the current is what
// drives that flux through gap, iron and eddies:
//
//	i = λ·ρ(t) + c3·λ³ + c9·λ⁹ + eddy
//
// ρ = R/L is the reluctance of the gap. It stays until the plunger moves. The
// terms in λ are iron that saturates: its share depends on the flux only,
// wherever the plunger stands. The eddies are those of flux that diffuses
// into a plate: for a harmonic n, dλ/dt passed through a lag T/n² with gain
// 1/n² (from the series of √(sT)·coth√(sT), as in texts on solid poles).
type model struct {
	start   float64 // current before the edge, A
	scale_A float64
	flux    float64 // scale of λ, A·s
	parts   int     // of the motion's speed; 0 for a power of time
}

// eddyRest is what the harmonics above the second add, without a lag of their own.
const eddyRest = math.Pi*math.Pi/6 - 1 - 0.25

// equilibrium is the flux of a standing current.
func (m *model) equilibrium(p *parameters, rho, current float64) float64 {
	lambda := current / rho
	if p[pCubic] == 0 && p[pNinth] == 0 || current == 0 {
		return lambda
	}
	lambda = min(lambda, m.flux)
	iron := m.scale_A / m.flux
	for range 30 {
		x2 := lambda / m.flux * lambda / m.flux
		c, n := iron*p[pCubic]*x2, iron*p[pNinth]*x2*x2*x2*x2
		slope := rho + 3*c + 9*n
		if !(slope > 0) {
			return math.NaN()
		}
		step := (current - lambda*(rho+c+n)) / slope
		lambda += step
		if math.Abs(step) < 1e-12*m.flux {
			break
		}
	}
	return lambda
}

// growth is (1-exp(-z))/z: a series for a small part of z, then doubled.
func growth(z float64) float64 {
	if z > 40 {
		return 1 / z
	}
	doublings := 0
	for ; z > 0.5 || z < -0.5; z /= 2 {
		doublings++
		if doublings > 12 {
			return math.NaN()
		}
	}
	g := 1 - z*(1./2-z*(1./6-z*(1./24-z*(1./120-z*(1./720-z/5040)))))
	for ; doublings > 0; doublings-- {
		g *= 1 - z*g/2
		z *= 2
	}
	return g
}

// current fills out with the current at the times t. The steps are those of
// an exponential integrator: exact for a coil at rest without iron, so that a
// step may be as long as the time constant.
func (m *model) current(p *parameters, t, out []float64, moving bool) {
	rho0 := math.Exp(p[pRate])
	final, onset := p[pFinal], p[pOnset]
	length := math.Exp(p[pLength])
	begin, inverse, gain := p[pEnd]-length, 1/length, p[pGain]
	if !moving {
		gain = 0
	}
	w := makeWay(p, m.parts)
	after := rho0 * math.Exp(-gain)
	eddy := p[pEddy]
	part := 1 / (1 + eddy*eddyRest)
	diffuse := math.Exp(-p[pDiffuse])
	lambda := m.equilibrium(p, rho0, m.start)
	scale := 1 / (m.flux * m.flux)
	iron := m.scale_A / m.flux
	cubic, ninth := iron*p[pCubic], iron*p[pNinth]
	var lag1, lag2 float64
	at := onset
	for k, next := range t {
		if next <= onset {
			out[k] = m.start
			continue
		}
		h := next - at
		mid := at + h/2
		rho, rhoNext := rho0, rho0
		if gain != 0 && next > begin {
			if u := (mid - begin) * inverse; u >= 1 {
				rho = after
			} else if u > 0 {
				rho = rho0 * math.Exp(-gain*w.at(u))
			}
			if u := (next - begin) * inverse; u >= 1 {
				rhoNext = after
			} else {
				rhoNext = rho0 * math.Exp(-gain*w.at(u))
			}
		}
		x2 := lambda * lambda * scale
		c, n := cubic*x2, ninth*x2*x2*x2*x2
		i := lambda * (rho + c + n)
		if eddy != 0 {
			i += eddy * (eddyRest*final + lag1 + lag2)
		}
		drive := final - i*part
		flow := drive * growth((rho+3*c+9*n)*part*h)
		lambda += flow * h
		if eddy != 0 {
			z := h * diffuse
			lag1 += (flow - lag1) * z * growth(z)
			z *= 4
			lag2 += (flow/4 - lag2) * z * growth(z)
		}
		x2 = lambda * lambda * scale
		i = lambda * (rhoNext + x2*(cubic+ninth*x2*x2*x2))
		if eddy != 0 {
			i += eddy * (eddyRest*final + lag1 + lag2)
		}
		out[k] = i * part
		at = next
	}
}
