package sim

import "time"

// steady is the integral of voltages that a calibrator holds.
type steady struct {
	volt, sum_Vs [4]float64
	since        time.Duration
}

func (s *steady) move(now time.Duration) {
	for i, v := range s.volt {
		s.sum_Vs[i] += v * float64(now-s.since) * 1e-9
	}
	s.since = now
}

// CalibrateINA226 takes the chip's inputs from the bench and puts them on a
// calibrator; the returned function sets its voltages.
func (b *Bench) CalibrateINA226() (apply func(shunt_V, bus_V float64)) {
	var s steady
	now := b.INA226.now
	b.INA226.input = func() (float64, float64) {
		s.move(now())
		return s.sum_Vs[0], s.sum_Vs[1]
	}
	b.INA226.Reset()
	return func(shunt_V, bus_V float64) {
		s.move(now())
		s.volt = [4]float64{shunt_V, bus_V}
	}
}

// CalibrateADS1115 does the same for the inputs AIN0 to AIN3.
func (b *Bench) CalibrateADS1115() (apply func(ain [4]float64)) {
	var s steady
	now := b.ADS1115.now
	b.ADS1115.input = func(ain int) float64 {
		s.move(now())
		return s.sum_Vs[ain]
	}
	b.ADS1115.Reset()
	return func(ain [4]float64) {
		s.move(now())
		s.volt = ain
	}
}
