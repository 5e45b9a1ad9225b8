package ds18b20

import (
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

var (
	// ErrCheck marks a reading that was damaged on the wire.
	ErrCheck = errors.New("the check of the reading is wrong")
	// ErrPowerOn marks the value that a sensor holds before its first
	// conversion, or after one with too little supply.
	ErrPowerOn = errors.New("the sensor lost its supply: this is no measured temperature")
	// ErrRange marks a value that the part cannot measure.
	ErrRange = errors.New("the sensor cannot measure that")
	// ErrFormat marks a file that does not hold what the kernel writes.
	ErrFormat = errors.New("not what the kernel writes")
)

// What the part measures (data sheet, Table 1), in its steps of 1/16 °C.
const (
	stepsPerDegree = 16
	lowest         = -55 * stepsPerDegree
	highest        = 125 * stepsPerDegree
	powerOn        = 85 * stepsPerDegree
)

// millidegrees reads the file "temperature". The kernel makes raw·1000/16 of
// the register, cut to whole thousandths; this gives the register back, so
// that 25062 is 25.0625 °C again.
func millidegrees(text string) (raw int, err error) {
	text = strings.TrimSpace(text)
	milli, err := strconv.Atoi(text)
	if err != nil || milli < -1000_000 || milli > 1000_000 {
		// It is empty while a bulk conversion runs, too.
		return 0, fmt.Errorf("%.30q: %w", text, ErrFormat)
	}
	raw = int(math.Round(float64(milli) * stepsPerDegree / 1000))
	if raw*1000/stepsPerDegree != milli {
		return 0, fmt.Errorf("%d thousandths of a degree are no multiple of the part's step, 1/16 °C: %w", milli, ErrFormat)
	}
	return raw, inRange(raw)
}

// inRange refuses what the part cannot measure, such as the -127 °C that some
// programs and converters put in place of an error.
func inRange(raw int) error {
	switch {
	case raw == 0x07FF:
		return fmt.Errorf("127.9375 °C: %w", ErrPowerOn)
	case raw < lowest || raw > highest:
		return fmt.Errorf("%g °C: %w", float64(raw)/stepsPerDegree, ErrRange)
	}
	return nil
}

// Scratchpad is what the part holds, with its CRC last.
type Scratchpad [9]byte

// ParseScratchpad reads the file "w1_slave". The error says what is wrong
// with the file or with the bytes' CRC.
func ParseScratchpad(text string) (Scratchpad, error) {
	var pad Scratchpad
	line, _, _ := strings.Cut(text, "\n")
	bytes, verdict, ok := strings.Cut(line, ":")
	fields := strings.Fields(bytes)
	words := strings.Fields(verdict)
	if !ok || len(fields) != len(pad) || len(words) != 2 || !strings.HasPrefix(words[0], "crc=") {
		return pad, fmt.Errorf("%.60q: %w", line, ErrFormat)
	}
	for i, f := range fields {
		b, err := hex.DecodeString(f)
		if err != nil || len(b) != 1 {
			return pad, fmt.Errorf("%.60q: byte %d: %w", line, i, ErrFormat)
		}
		pad[i] = b[0]
	}
	if crc := CRC(pad[:8]); words[1] != "YES" || crc != pad[8] {
		return pad, fmt.Errorf("% x: the ninth byte should be %02x, and the kernel says %.10s: %w", pad[:], crc, words[1], ErrCheck)
	}
	return pad, nil
}

// Bits is the resolution that the sensor is set to, 9 to 12.
func (s *Scratchpad) Bits() int { return 9 + int(s[4]>>5&3) }

// raw is the register in steps of 1/16 °C, without the low bits that the
// resolution leaves undefined.
func (s *Scratchpad) raw() (int, error) {
	// Configuration register: 0 R1 R0 1 1 1 1 1 (data sheet, figure of it).
	if s[4]&0x9F != 0x1F {
		return 0, fmt.Errorf("% x: the fifth byte, %02x, cannot be: %w: the wire may be stuck low", s[:], s[4], ErrCheck)
	}
	raw := int(int16(uint16(s[0]) | uint16(s[1])<<8))
	if s[6] == 0x0C && raw == powerOn {
		return 0, fmt.Errorf("85 °C with byte 6 at 0Ch: %w", ErrPowerOn)
	}
	raw &^= 1<<(12-s.Bits()) - 1
	return raw, inRange(raw)
}

// CRC is the one-wire check: x⁸ + x⁵ + x⁴ + 1, low bit first, from 0. Over
// bytes and their CRC together it is 0.
func CRC(b []byte) (crc byte) {
	for _, x := range b {
		crc ^= x
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0x8C
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}
