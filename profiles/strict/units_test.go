package strict

import (
	"encoding"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Prefixes: SI brochure, 9th edition, table 7 (from memory): m 1e-3, c 1e-2,
// k 1e3, M 1e6, µ 1e-6. Each expected value is the double nearest to the
// decimal number, hence equality.
func TestUnitsRead(t *testing.T) {
	cases := []struct {
		into encoding.TextUnmarshaler
		text string
		want any
	}{
		{new(Volt), "13.5 V", Volt(13.5)},
		{new(Volt), "13.5V", Volt(13.5)},
		{new(Volt), "1.1 mV", Volt(0.0011)},
		{new(Ampere), "15 A", Ampere(15)},
		{new(Ampere), "0.7 mA", Ampere(0.0007)},
		{new(Ampere), "-3e-3 A", Ampere(-0.003)},
		{new(Ohm), "2.2 kohm", Ohm(2200)},
		{new(Ohm), "4.7 kΩ", Ohm(4700)},
		{new(Ohm), "2 mohm", Ohm(0.002)},
		{new(Ohm), "1 Mohm", Ohm(1e6)},
		{new(Hertz), "1000 Hz", Hertz(1000)},
		{new(Hertz), "1.1 kHz", Hertz(1100)},
		{new(Percent), "5 %", Percent(5)},
		{new(Share), "7 %", Share(0.07)},
		{new(Seconds), "30 s", Seconds(30)},
		{new(Seconds), "800 ms", Seconds(0.8)},
		{new(Seconds), "3 us", Seconds(3e-6)},
		{new(Seconds), "3 µs", Seconds(3e-6)},
		{new(Coulomb), "0.02 C", Coulomb(0.02)},
		{new(Coulomb), "20 mC", Coulomb(0.02)},
		{new(Celsius), "-20 °C", Celsius(-20)},
		{new(Millimetre), "1.9 cm", Millimetre(19)},
		{new(Metre), "0.5 m", Metre(0.5)},
		{new(Metre), "500 mm", Metre(0.5)},
		{new(Watt), "1.2 kW", Watt(1200)},
	}
	for _, c := range cases {
		t.Run(c.text, func(t *testing.T) {
			require.NoError(t, c.into.UnmarshalText([]byte(c.text)))
			assert.EqualValues(t, c.want, deref(c.into))
		})
	}
}

func deref(x any) any {
	switch x := x.(type) {
	case *Volt:
		return *x
	case *Ampere:
		return *x
	case *Ohm:
		return *x
	case *Hertz:
		return *x
	case *Percent:
		return *x
	case *Share:
		return *x
	case *Seconds:
		return *x
	case *Coulomb:
		return *x
	case *Celsius:
		return *x
	case *Millimetre:
		return *x
	case *Metre:
		return *x
	case *Watt:
		return *x
	}
	return nil
}

func TestUnitsRefuse(t *testing.T) {
	for _, s := range []string{
		"", " ", "V", "13,5 V", "+1 V", ".5 V", "5. V", "1_0 V", "0x1 V", "0b1 V", "Inf V", "nan V", "1 V V", "1 v", "1\tV",
		"1e V", "1e400 V", "1e99999999999 V", "1 kV", "1 V\n", "١ V", "--1 V", "1-1 V", "1 mA", "1",
	} {
		var x Volt
		err := x.UnmarshalText([]byte(s))
		require.Error(t, err, "%q", s)
		assert.Contains(t, err.Error(), "13.5 V", "says what would be right")
	}
	_, err := Volt(math.NaN()).MarshalText()
	require.ErrorContains(t, err, "finite")
	_, err = Ampere(math.Inf(1)).MarshalText()
	require.ErrorContains(t, err, "finite")
}

func TestUnitsWrite(t *testing.T) {
	for want, x := range map[string]encoding.TextMarshaler{
		"13.5 V": Volt(13.5), "0.0000001 A": Ampere(1e-7), "1e-9 A": Ampere(1e-9), "1e20 Hz": Hertz(1e20),
		"2.2 kohm": Ohm(2200), "47 ohm": Ohm(47), "800 ms": SecondsOf(800 * time.Millisecond), "30 s": Seconds(30),
		"0 s": Seconds(0), "7 %": Share(0.07), "-20 °C": Celsius(-20), "0 % to 2.5 %": PercentRange{0, 2.5},
	} {
		b, err := x.MarshalText()
		require.NoError(t, err)
		assert.Equal(t, want, string(b))
	}
}

// What is written reads back the same, whatever the number.
func TestUnitsRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		x := (r.Float64() - 0.5) * math.Pow(10, float64(r.IntN(60)-30))
		for _, u := range []unit{inVolt, inOhm, inShare, inSeconds} {
			b, err := u.text(x)
			require.NoError(t, err)
			y, err := u.parse(string(b))
			require.NoError(t, err, "%s", b)
			require.Equal(t, x, y, "%s", b)
		}
		d := time.Duration(r.Int64N(int64(24 * time.Hour)))
		var s Seconds
		b, err := SecondsOf(d).MarshalText()
		require.NoError(t, err)
		require.NoError(t, s.UnmarshalText(b))
		require.Equal(t, d, s.Duration())
	}
}

func FuzzUnit(f *testing.F) {
	for _, s := range []string{"13.5 V", "1e-3 mV", "-0 V", "1e V", "V", "9999999999999999999 V"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		x, err := inVolt.parse(s)
		if err != nil {
			return
		}
		b, err := inVolt.text(x)
		require.NoError(t, err)
		y, err := inVolt.parse(string(b))
		require.NoError(t, err)
		require.Equal(t, x, y)
	})
}
