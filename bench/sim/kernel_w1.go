package sim

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"syscall"
	"time"
)

// Sensor is a DS18B20 on the kernel's one-wire bus. It feels the unit's
// temperature, in steps of 1/16 °C from -55 to +125 °C.
type Sensor struct {
	ID string
	// Fault is what is wrong with it, for so many readings; with 0 for all.
	Fault SensorFault
	For   int
	// Plain leaves out the file "temperature", which kernels before 5.8 do not
	// have.
	Plain bool
	// Takes is the simulated time of a reading. A real one takes up to 750 ms
	// at 12 bit (data sheet, table of resolutions).
	Takes time.Duration
	// Readings counts them.
	Readings int
}

// SensorFault is what is wrong with a sensor.
type SensorFault int

// The faults of a sensor.
const (
	SensorWhole SensorFault = iota
	SensorReset             // it lost its supply during the conversion: the power-on value
	SensorWeak              // too little supply for a conversion: 127.9375 °C
	SensorNoise             // a bit is wrong on the wire
	SensorLow               // the wire is stuck low: all bits zero, and so is their CRC
	SensorMute              // nothing answers
	SensorGone              // the kernel has dropped it from its list
)

// AddSensor puts a sensor on the bus, with an identity such as
// "28-0123456789ab".
func (k *Kernel) AddSensor(id string) *Sensor {
	s := &Sensor{ID: id}
	k.Sensors = append(k.Sensors, s)
	folder := "devices/w1_bus_master1/" + id
	k.links["bus/w1/devices/"+id] = folder
	k.links["bus/w1/devices/w1_bus_master1"] = "devices/w1_bus_master1"
	away := func() error {
		if s.Fault == SensorGone {
			return hidden
		}
		return nil
	}
	k.files["devices/w1_bus_master1/w1_master_slave_count"] = &kernelFile{read: func() (string, error) {
		return fmt.Sprintln(len(k.Sensors)), nil
	}}
	k.files[folder+"/name"] = &kernelFile{away: away, read: func() (string, error) { return id + "\n", nil }}
	k.files[folder+"/w1_slave"] = &kernelFile{away: away, read: func() (string, error) { return k.slave(s) }}
	k.files[folder+"/temperature"] = &kernelFile{away: func() error {
		if s.Plain {
			return hidden
		}
		return away()
	}, read: func() (string, error) { return k.temperature(s) }}
	return s
}

// RemoveSensor takes a sensor off the bus.
func (k *Kernel) RemoveSensor(id string) {
	k.Sensors = slices.DeleteFunc(slices.Clone(k.Sensors), func(s *Sensor) bool { return s.ID == id })
	delete(k.links, "bus/w1/devices/"+id)
	for name := range k.files {
		if strings.HasPrefix(name, "devices/w1_bus_master1/"+id+"/") {
			delete(k.files, name)
		}
	}
}

// convert takes one reading: the nine bytes of the scratchpad, and whether
// the kernel finds their check right.
func (k *Kernel) convert(s *Sensor) (pad [9]byte, ok bool, err error) {
	k.w.advance(k.w.now + s.Takes)
	k.w.settle(k.w.now)
	s.Readings++
	fault := s.Fault
	if fault != SensorWhole && s.For > 0 {
		if s.For--; s.For == 0 {
			s.Fault = SensorWhole
		}
	}
	raw := uint16(int16(math.Round(16 * min(max(k.w.unit.Temperature(), -55), 125))))
	// TH, TL and the configuration of 12 bit as delivered; byte 6 counts down
	// from 16 by the low bits, and stands at 0Ch after a reset.
	pad = [9]byte{byte(raw), byte(raw >> 8), 0x4B, 0x46, 0x7F, 0xFF, 0x10 - byte(raw&0xF), 0x10}
	switch fault {
	case SensorReset:
		pad[0], pad[1], pad[6] = 0x50, 0x05, 0x0C
	case SensorWeak:
		pad[0], pad[1], pad[6] = 0xFF, 0x07, 0x0C
	case SensorMute:
		return pad, false, syscall.EIO
	}
	pad[8] = crc8(pad[:8])
	switch fault {
	case SensorNoise:
		pad[0] ^= 0x04
	case SensorLow:
		pad = [9]byte{}
	}
	return pad, crc8(pad[:8]) == pad[8], nil
}

// milli is what the kernel makes of a scratchpad, in thousandths of a degree.
func milli(pad [9]byte) int { return int(int16(uint16(pad[0])|uint16(pad[1])<<8)) * 1000 / 16 }

func (k *Kernel) temperature(s *Sensor) (string, error) {
	pad, ok, err := k.convert(s)
	switch {
	case err != nil:
		return "", err
	case !ok:
		return "", syscall.EIO
	}
	return fmt.Sprintln(milli(pad)), nil
}

func (k *Kernel) slave(s *Sensor) (string, error) {
	pad, ok, err := k.convert(s)
	if err != nil {
		return "", err
	}
	verdict := "NO"
	if ok {
		verdict = "YES"
	}
	return fmt.Sprintf("% x : crc=%02x %s\n% x t=%d\n", pad[:], crc8(pad[:8]), verdict, pad[:], milli(pad)), nil
}

// crc8 is the check of one-wire parts: x⁸ + x⁵ + x⁴ + 1, low bit first.
func crc8(b []byte) (crc byte) {
	for _, x := range b {
		crc ^= x
		for range 8 {
			low := crc & 1
			crc >>= 1
			if low != 0 {
				crc ^= 0x8C
			}
		}
	}
	return crc
}
