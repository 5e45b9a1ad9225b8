package rig_test

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dutybench/bench/rig"
	"dutybench/profiles/strict"
)

// example is one of the rig files that come with the program.
func example(t testing.TB, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "cmd", "dutybench", "install", "rigs", name+".toml"))
	require.NoError(t, err)
	return string(data)
}

func TestExamplesAreRead(t *testing.T) {
	small, err := rig.ParseFile([]byte(example(t, "small")), "small.toml")
	require.NoError(t, err)
	assert.True(t, small.CutOff())
	assert.Equal(t, rig.BenchLimits{SupplyLow_V: 9, SupplyHigh_V: 16, Fuse_A: 15, Current_A: 12, SupplyLimit_A: 14}, small.Bench)
	assert.Equal(t, []rig.Contact{{Pin: "GPIO17", Settle: time.Millisecond}}, small.Switches)
	assert.Equal(t, &rig.Heartbeat{Pin: "GPIO27", Frequency_Hz: 100, Hold: 130 * time.Millisecond, PullIn: 50 * time.Millisecond}, small.Heartbeat)
	assert.Equal(t, rig.LineDrive{OpenDrain: true, Inverted: true}, small.LinePin.LineDrive)
	assert.Equal(t, 470.0, small.LinePin.Series_Ohm)
	assert.Equal(t, 588*time.Microsecond, small.Current.Conversion)
	assert.InDelta(t, 40.95875, small.Range_A(), 1e-9) // SBOS547B: 32767 × 2.5 µV over 2 mΩ

	fast, err := rig.ParseFile([]byte(example(t, "fast")), "fast.toml")
	require.NoError(t, err)
	assert.True(t, fast.CutOff())
	assert.Len(t, fast.Switches, 2)
	assert.Equal(t, 47.0, fast.PreCharge.Resistor_Ohm)
	assert.Equal(t, rig.OwnReference, fast.Temperature.Reference)
	assert.Equal(t, 450.0, fast.Flow.Pulses_per_l)
	// 3.3 V·4095/4096 less 0.2 V and the ten codes by which the converter may end
	// short, over 50 × 2 mΩ.
	assert.InDelta(t, (3.3*4085/4096-0.2)/0.1, fast.Range_A(), 1e-9)
	a := fast.Accuracy()
	assert.InDelta(t, 3.3/4096/0.1, a.CurrentStep_A, 1e-12)
	// 5 codes of 4096, 0.5 %, 0.5 % and 0.1 %, over √3 (worked out by hand).
	assert.InDelta(t, 0.0041829, a.CurrentGain, 1e-6)
}

// What is left out has its usual value.
func TestDefaultsOfAFile(t *testing.T) {
	s := example(t, "small")
	for _, line := range []string{"active = \"high\"", "drive = \"open-drain\"", "inverted = true", "series = \"470 ohm\"", "settle = \"1 ms\"", "supply_limit = \"14 A\"", "pull_in = \"50 ms\"", "active = \"high\"", "pull = \"up\""} {
		require.Contains(t, s, line)
		i := strings.Index(s, line)
		s = s[:i] + s[i+strings.IndexByte(s[i:], '\n')+1:]
	}
	d, err := rig.ParseFile([]byte(s), "x")
	require.NoError(t, err)
	assert.Equal(t, rig.LineDrive{OpenDrain: true, Inverted: true}, d.LinePin.LineDrive, "an open drain is the usual one")
	assert.Equal(t, float64(rig.Series_Ohm), d.LinePin.Series_Ohm)
	assert.False(t, d.Switches[0].ActiveLow)
	assert.Equal(t, time.Millisecond, d.Switches[0].Settle)
	assert.Zero(t, d.Bench.SupplyLimit_A)
	assert.Equal(t, rig.PullIn, d.Heartbeat.PullIn)
	assert.Equal(t, &rig.Input{Pin: "GPIO22", Pull: "up"}, d.Stop, "a broken wire stops the test")

	// Without a cut-off it is read, and known to have none.
	i, j := strings.Index(s, "[heartbeat]"), strings.Index(s, "[stop]")
	d, err = rig.ParseFile([]byte(s[:i]+s[j:]), "x")
	require.NoError(t, err)
	assert.False(t, d.CutOff())
}

// Each wrong file has its line and a next step.
func TestFileRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		file, old, new string
		says           string
		line           string // that the place must be in
	}{
		"misspelt":           {"small", "fuse = ", "fuze = ", "unknown key fuze in [bench]", "fuze"},
		"other case":         {"small", "fuse = ", "Fuse = ", "write it fuse", "Fuse"},
		"no unit":            {"small", `fuse = "15 A"`, `fuse = "15"`, "has no unit", "fuse"},
		"bare number":        {"small", `fuse = "15 A"`, `fuse = 15`, "with its unit", "fuse"},
		"wrong unit":         {"small", `shunt = "2 mohm"`, `shunt = "2 mA"`, "wrong unit", "shunt ="},
		"newer format":       {"small", "format = 1", "format = 2", "a newer one is needed", "format"},
		"pin twice":          {"small", `pin = "GPIO27"`, `pin = "GPIO17"`, "GPIO17 is the pin of switch number 1 too", "GPIO17"},
		"supply beyond 60 V": {"small", "9 V to 16 V", "9 V to 61 V", "at most 60 V", "61 V"},
		"fuse too small":     {"small", `fuse = "15 A"`, `fuse = "10 A"`, "fuse of 10 A is below the highest current of 12 A", "fuse"},
		"shunt clips":        {"small", `shunt = "2 mohm"`, `shunt = "10 mohm"`, "take a shunt of at most 6.83 mohm", "shunt ="},
		"divider too high":   {"small", "9 V to 16 V", "9 V to 48 V", "above the 3.3 V", "top"},
		"common mode":        {"small", "9 V to 16 V", "9 V to 40 V", "INA226 bears 36 V", "side"},
		"address":            {"small", "address = 0x40", "address = 0x20", "answers at 0x40 to 0x4f", "0x20"},
		"address twice":      {"small", "address = 0x40", "address = 0x48", "address 0x48 is that of the INA226 too", "0x48"},
		"other conversion":   {"small", `conversion = "588 us"`, `conversion = "600 us"`, "is not one of the INA226", "600 us"},
		"slow relay":         {"small", `hold = "130 ms"`, `hold = "1.2 s"`, "at most 1 s", "hold"},
		"hasty relay":        {"small", `hold = "130 ms"`, `hold = "15 ms"`, "less than two periods", "hold"},
		"fast bus":           {"small", `speed = "400 kHz"`, `speed = "1000 kHz"`, "up to 400 kHz", "speed"},
		"nameless bus":       {"small", `bus = "/dev/i2c-1"`, `bus = ""`, "whichever came first", "bus"},
		"channel twice":      {"small", "channel = 2", "channel = 1", "that of line_level too", "channel = 1"},
		"channel beyond":     {"small", "minus = 3", "minus = 4", "channels 0 to 3", "minus"},
		"both pin and pwm":   {"small", `pwm_chip =`, "pin = \"GPIO18\"\npwm_chip =", "both pin and pwm_chip: leave one", "[line]"},
		"neither":            {"small", `pwm_chip = "fe20c000.pwm"`, "", "needs either pin", "[line]"},
		"slow pull-in":       {"small", `pull_in = "50 ms"`, `pull_in = "501 ms"`, "at most 500 ms", "pull_in"},
		"no series":          {"small", `series = "470 ohm"`, `series = "0 ohm"`, "all that the fuse passes through the line's transistor", "series"},
		"little series":      {"small", `series = "470 ohm"`, `series = "33 ohm"`, "touches 16 V drives 0.48 A", "series"}, // 16 V over 33 ohm
		"strong pull-up":     {"fast", `pull_up = "10 kohm"`, `pull_up = "100 ohm"`, "at 32 V it puts 0.32 A into the line", "pull_up"},
		"pre-charge current": {"fast", `resistor = "47 ohm"`, `resistor = "1 ohm"`, "lets 32 A through", "resistor"},
		"pre-charge heat":    {"fast", `resistor = "47 ohm"`, `resistor = "10 ohm"`, "takes up 102 W", "resistor"}, // 32²/10
		"I2C on SPI":         {"small", `bus = "/dev/i2c-1"`, `bus = "/dev/spidev0.0"`, "is an SPI port", "bus"},
		"SPI on I2C":         {"fast", `port = "/dev/spidev0.0"`, `port = "/dev/i2c-1"`, "is an I2C bus", "port"},
		"divider, a tenth":   {"small", "9 V to 16 V", "9 V to 34 V", "at 37.4 V, the highest supply and a tenth", "top"}, // 34/11 is below 3.3 V, 37.4/11 not
		"supply's limit":     {"small", `supply_limit = "14 A"`, `supply_limit = "31 A"`, "above twice the fuse of 15 A", "supply_limit"},
		"zero above":         {"fast", `zero = "0.2 V"`, `zero = "5 V"`, "no current could be read", "zero ="},
		"no voltage chip":    {"small", "[voltage]\nchip = \"ads1115\"\naddress = 0x48", "", "add a table [voltage] with chip = \"ads1115\" and address = 0x48", "# A small"},
		"push-pull kernel":   {"small", `drive = "open-drain"`, "drive = \"push-pull\"\nhigh = \"5 V\"", "could not be let go", "[line]"},
		"no such chip":       {"small", `chip = "ina226"`, `chip = "ina227"`, `it must be ina226, ina219, mcp3204 or mcp3208`, "ina227"},
		"rate of an ina":     {"small", `side = "high"`, "side = \"high\"\nrate = \"20 kHz\"", "rate does not go with chip", "rate"},
		"no rate":            {"fast", `rate = "20 kHz"`, "", "lacks the key rate", "[current]"},
		"SPI clock":          {"fast", `speed = "1.2 MHz"`, `speed = "2 MHz"`, "at most 1261 kHz at 3.3 V", "speed"},
		"rate beyond clock":  {"fast", `rate = "20 kHz"`, `rate = "60 kHz"`, "ask for at most 50 kHz", "rate"},
		"folding":            {"fast", `anti_alias = "5 kHz"`, `anti_alias = "10 kHz"`, "not below half the rate", "anti_alias"},
		"three switches":     {"fast", "[pre_charge]", "[[switch]]\npin = \"GPIO5\"\ntype = \"relay\"\n[pre_charge]", "one, or two in series", "[[switch]]"},
		"voltage chip too":   {"fast", "[supply]", "[voltage]\nchip = \"ads1115\"\naddress = 0x48\n[supply]", "leave [voltage] out", "[voltage]"},
		"ntc and ds18b20":    {"fast", `chip = "ds18b20"`, "chip = \"ds18b20\"\nbeta = \"3380 K\"", `are of an "ntc"`, "[temperature]"},
		"name":               {"fast", `name = "fast-bench"`, `name = "Bench 1"`, "small letters", "name"},
		"simulated name":     {"small", `name = "small-bench"`, `name = "sim"`, "built-in simulated rig's", "name"},
		"closes low":         {"small", `active = "high"              # the level that closes it`, `active = "low"`, "closes at every start", "active"},
	} {
		t.Run(name, func(t *testing.T) {
			s := example(t, c.file)
			require.Contains(t, s, c.old)
			s = strings.Replace(s, c.old, c.new, 1)
			_, err := rig.ParseFile([]byte(s), "bench.toml")
			var e *strict.Error
			require.ErrorAs(t, err, &e)
			require.ErrorContains(t, err, c.says)
			assert.True(t, strings.HasPrefix(err.Error(), "rig: bench.toml:"), err)
			found := false
			for _, p := range e.Problems {
				found = found || strings.Contains(strings.Split(s, "\n")[p.Line-1], c.line)
			}
			assert.True(t, found, "no problem is at %q: %v", c.line, err)
		})
	}
}

func FuzzParseFile(f *testing.F) {
	f.Add([]byte(example(f, "small")))
	f.Add([]byte(example(f, "fast")))
	f.Add([]byte(example(f, "actuators")))
	f.Add([]byte(actuatorText(f, diode, noDiode, anyRate, "", levelTable, pwmTable)))
	f.Add([]byte("format = 1\nname = \"sim\"\n[[switch]]\n[current]\nchip = \"mcp3208\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := rig.ParseFile(data, "x")
		if err != nil {
			return
		}
		require.NoError(t, d.Check(), "what is read can be opened")
		a := d.Accuracy()
		require.Positive(t, a.CurrentStep_A)
		require.Positive(t, a.CurrentRange_A)
		require.LessOrEqual(t, d.Bench.SupplyHigh_V, 60.0)
		if l := d.Load; l != nil && l.FreeWheel == rig.FreeWheelNone {
			require.LessOrEqual(t, l.Clamp.Opening_J(d.Bench.Current_A, d.Bench.SupplyHigh_V), l.Clamp.Joule)
		}
		require.NoError(t, d.Drawing(io.Discard), "what is read can be drawn")
	})
}
