package profiles

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParseReadsEverything(t *testing.T) {
	p, err := Parse([]byte(good), "good.toml", section)
	require.NoError(t, err)
	assert.Equal(t, Command{
		Type: "pwm", Frequency_Hz: 400, Tolerance: 0.05, Drive: "open-drain", PullUp_Ohm: 2200, PullUp_V: 12,
		Stop_pct: 5, Wake_pct: 12, Full_pct: 95, Reserved: []Window{{0, 3}, {97, 100}}, Missing: Missing{Open: "stop"},
	}, p.Command)
	assert.Equal(t, Supply{13.5, 9, 16}, p.Supply)
	assert.Equal(t, Limits{
		Current_A: 15, Time: 800 * time.Millisecond, Peak_A: 40, Charge_C: 0.02,
		ChargeTime: 2 * time.Millisecond, DryRun: 30 * time.Second,
	}, p.Limits)
	assert.Equal(t, Fixture{Type: "bucket", Bore_mm: 19, Lift_m: 0.5, Fluid: "water", LowTemp_C: 15, HighTemp_C: 30}, p.Fixture)
	assert.Equal(t, Learned{On: "2026-03-31", Units: 2, Provisional: true, Rate_Hz: 2000}, p.Learned)
	assert.Equal(t, []float64{20, 40, 90}, p.Grid)
	assert.Equal(t, []Limit{{"full current", "A", 2.8, 6, "by hand"}}, p.Stated)
	assert.Equal(t, &pumpSection{"speed", "six-step", 2, "centrifugal"}, p.Section)
	assert.Equal(t, []string{"one", "two"}, p.Notes)
	assert.Equal(t, []any{1, "aux-pump", 3, "pump", "A pump", "B", true}, []any{p.Format, p.Name, p.Revision, p.Kind, p.Title, p.PartRevision, p.Invented})

	require.Len(t, p.Good, 2)
	assert.Equal(t, []float64{0.31, 0.45, 4.71}, p.Good[0].Up)
	assert.True(t, math.IsNaN(p.Good[0].Down[1]), "a dash is not measured")
	assert.Equal(t, []Value{{"quiet", 0.021, "A"}, {"attempts", 1, ""}}, p.Good[0].Values, "in the file's order")
	assert.InDelta(t, 4.69, p.Good[1].Up[2], 0)
	assert.Nil(t, p.Good[1].Down)
	x, ok := p.Good[1].Get("quiet")
	assert.True(t, ok && math.IsNaN(x))

	sum := sha256.Sum256([]byte(good))
	assert.Equal(t, hex.EncodeToString(sum[:]), p.SHA256)
	assert.Equal(t, "good.toml", p.Source)
}

// Each case breaks one thing in good; the message must begin at that line and
// column and say what would be right.
func TestParseRefuses(t *testing.T) {
	cases := []struct{ name, old, new, at, says string }{
		{"no unit", `"13.5 V"`, `"13.5"`, "26:11", `has no unit: write a voltage with the unit V or mV, such as "13.5 V"`},
		{"wrong unit", `"13.5 V"`, `"13.5 A"`, "26:11", `wrong unit "A": write a voltage with the unit V or mV`},
		{"unit in other case", `"9000 mV"`, `"9000 MV"`, "27:7", `wrong unit "MV"`},
		{"bare number", `"13.5 V"`, `13.5`, "26:11", `nominal must be text in quotes, with its unit, such as "13.5 V"`},
		{"NaN", `"13.5 V"`, `"nan V"`, "26:11", "is not a voltage"},
		{"infinite", `"13.5 V"`, `"inf V"`, "26:11", "is not a voltage"},
		{"huge", `"13.5 V"`, `"1e999 V"`, "26:11", "too large"},
		{"hexadecimal", `"13.5 V"`, `"0x10 V"`, "26:11", "wrong unit"},
		{"negative", `"13.5 V"`, `"-13.5 V"`, "26:11", "nominal is -13.5 V: it must be above 0 V"},
		{"mains", `high = "16 V"`, `high = "230 V"`, "28:8", "high is 230 V: it must be at most 60 V"},
		{"nominal below low", `"9000 mV"`, `"14 V"`, "27:7", "low, nominal and high must rise"},
		{"nominal above high", `high = "16 V"`, `high = "13 V"`, "28:8", "low, nominal and high must rise"},
		{"frequency", `"0.4 kHz"`, `"0 Hz"`, "12:13", "frequency is 0 Hz: it must be above 0 Hz"},
		{"frequency unit", `"0.4 kHz"`, `"400 1/s"`, "12:13", "write a frequency with the unit Hz or kHz"},
		{"tolerance", `"5 %"
drive`, `"80 %"
drive`, "13:13", "tolerance is 80 %: it must be at most 50 %"},
		{"drive", `drive = "open-drain"`, `drive = "open"`, "14:9", `it must be open-drain or push-pull`},
		{"duty over 100", `"95 %"`, `"120 %"`, "19:8", "full is 120 %: it must be at most 100 %"},
		{"duty below 0", `stop = "5 %"`, `stop = "-5 %"`, "17:8", "stop is -5 %: it must be at least 0 %"},
		{"wake below stop", `"12 %"`, `"5 %"`, "18:8", "wake must be the higher"},
		{"full below wake", `"95 %"`, `"10 %"`, "19:8", "below wake, 12 %"},
		{"full in a window", `"95 %"`, `"98 %"`, "19:8", "lies in a reserved window"},
		{"window order", `"0 % to 3 %"`, `"3 % to 0 %"`, "20:13", "runs backwards"},
		{"window empty", `"0 % to 3 %"`, `"3 % to 3 %"`, "20:13", "the window is empty"},
		{"window unit", `"0 % to 3 %"`, `"0 to 3 %"`, "20:13", "has no unit"},
		{"window overlap", `"97 % to 100 %"`, `"2 % to 100 %"`, "20:27", "without overlap"},
		{"window beyond", `"97 % to 100 %"`, `"97 % to 101 %"`, "20:27", "beyond 0 % to 100 %"},
		{"missing word", `open = "stop"`, `open = "sleep"`, "23:8", "it must be full, stop or hold"},
		{"peak", `"40 A"`, `"10 A"`, "33:8", "peak is 10 A, below current, 15 A"},
		{"charge", `charge = "0.02 C"`, `charge = "0.02 °C"`, "34:10", "write a charge in coulomb with the unit C or mC"},
		{"charge alone", `charge_time = "2 ms"` + "\n", "", "34:10", "belong together"},
		{"time", `"800 ms"`, `"0 s"`, "32:8", "time is 0 s: it must be above 0 s"},
		{"minutes", `"800 ms"`, `"1 min"`, "32:8", "with the unit s, ms, us or µs"},
		{"fixture", `type = "bucket"`, `type = "tub"`, "45:8", "it must be loop, bucket or vice"},
		{"temperature", `"15 °C to 30 °C"`, `"30 °C to 15 °C"`, "49:15", "runs backwards"},
		{"temperature unit", `"15 °C to 30 °C"`, `"15 C to 30 C"`, "49:15", "with the unit °C"},
		{"date", `"2026-03-31"`, `"31.3.2026"`, "52:6", `such as "2026-03-31"`},
		{"date that is none", `"2026-03-31"`, `"2026-02-30"`, "52:6", "year-month-day"},
		{"units", `units = 2`, `units = 3`, "53:9", "units says 3, but the file holds 2 [[good]] tables"},
		{"grid not rising", `"20 40 90 %"`, `"20 90 40 %"`, "56:8", "grid does not rise at value 3"},
		{"grid twice", `"20 40 90 %"`, `"20 40 40 %"`, "56:8", "grid does not rise at value 3"},
		{"grid with a dash", `"20 40 90 %"`, `"20 - 90 %"`, "56:8", "value 2 of grid is not measured"},
		{"grid in a window", `"20 40 90 %"`, `"20 40 98 %"`, "56:8", "lies in a reserved window"},
		{"grid over 100", `"20 40 90 %"`, `"20 40 190 %"`, "56:8", "value 3 of grid is 190 %: it must be at most 100 %"},
		{"grid unit", `"20 40 90 %"`, `"20 40 90"`, "56:8", "it must end in the unit %"},
		{"row short", `"0.31 0.45 4.71 A"`, `"0.31 0.45 A"`, "66:6", "up holds 2 currents, but the grid has 3 duties"},
		{"row absent", `up = "0.31 0.45 4.71 A"` + "\n", "", "64:3", "up holds 0 currents"},
		{"down long", `"0.30 - 4.70 A"`, `"0.30 - 4.70 5 A"`, "67:8", "down holds 4 currents"},
		{"row with a word", `"0.30 - 4.70 A"`, `"0.30 x 4.70 A"`, "67:8", `value 2 of the list, "x", is no number`},
		{"row without unit", `"0.30 - 4.70 A"`, `"0.30 - 4.70"`, "67:8", "it must end in the unit A or mA"},
		{"row of nothing", `"0.30 - 4.70 A"`, `" "`, "67:8", "the list is empty"},
		{"row of a unit", `"0.30 - 4.70 A"`, `"A"`, "67:8", "holds no numbers"},
		{"current beyond sense", `"0.30 - 4.70 A"`, `"0.30 - 4700 A"`, "67:8", "value 3 of down is 4700 A: it must be at most 1000 A"},
		{"unit twice", `"g02"`, `"g01"`, "73:8", `unit "g01" stands twice`},
		{"unit without name", `"g02"`, `""`, "73:8", "give the unit a name"},
		{"hash short", hash, "e3b0", "74:9", "64 small hex digits"},
		{"hash in capitals", hash, strings.ToUpper(hash), "74:9", "64 small hex digits"},
		{"trace twice", `unit = "g01"`, `unit = "g01"` + "\ntrace = \"" + hash + `"`, "75:9", "this trace is that of [[good]] number 1 too"},
		{"value's unit differs", `"- A"`, `"- mA"`, "77:9", `quiet is in "mA" here but in "A" for unit "g01"`},
		{"value without unit", `"0.021 A"`, `"0.021"`, "69:9", "has no unit"},
		{"value NaN", `attempts = 1` + "\n\n", `attempts = nan` + "\n\n", "70:12", "plain finite number"},
		{"value of another type", `attempts = 1` + "\n\n", `attempts = true` + "\n\n", "70:12", "a number with its unit in quotes"},
		{"limit crossed", `"2.8 A"`, `"28 A"`, "60:7", "low, 28, is above high, 6"},
		{"limit units", `"2.8 A"`, `"2.8 V"`, "61:8", `high is in "A" but low in "V"`},
		{"limit empty", "low = \"2.8 A\"\nhigh = \"6 A\"\n", "", "58:3", "neither low nor high"},
		{"limit dash", `"2.8 A"`, `"- A"`, "60:7", "leave it out"},
		{"name", `name = "aux-pump"`, `name = "Aux pump"`, "2:8", "small letters, digits and single hyphens"},
		{"name with a path", `name = "aux-pump"`, `name = "../x"`, "2:8", "small letters"},
		{"revision", `revision = 3`, `revision = 0`, "3:12", "revision is 0: it must be at least 1"},
		{"revision in part", `revision = 3`, `revision = 1.7`, "3:12", "whole number without quotes"},
		{"revision beyond 32 bit", `revision = 3`, `revision = 4294967297`, "3:12", "whole number"},
		{"revision in quotes", `revision = 3`, `revision = "3"`, "3:12", "whole number without quotes"},
		{"notes", `notes = ["one", "two"]`, `notes = "one"`, "8:9", "notes must be a list"},
		{"note", `["one", "two"]`, `["one", 2]`, "8:17", "notes number 2 must be text in quotes"},
		{"invented", `invented = true`, `invented = "yes"`, "7:12", "must be true or false"},
		{"newer format", `format = 1`, `format = 2`, "1:10", "format 2 is newer than format 1, the newest that this program reads"},
		{"newest format", `format = 1`, `format = 99999999999999999999`, "1:10", ""},
		{"older format", `format = 1`, `format = 0`, "1:10", "format is 0: it must be 1"},
		{"no format", `format = 1`, ``, "1:1", "begin with format = 1"},
		{"0-10 V", `type = "pwm"`, `type = "0-10 V"`, "11:8", `command type "0-10 V" is not supported by this bench`},
		{"LIN", `type = "pwm"`, `type = "lin"`, "11:8", `command type "lin" is not supported by this bench`},
		{"CAN", `type = "pwm"`, `type = "can"`, "11:8", `command type "can" is not supported by this bench`},
		{"unknown command", `type = "pwm"`, `type = "PWM"`, "11:8", `command type "PWM" is not known`},
		{"unknown kind", `kind = "pump"`, `kind = "fan"`, "4:8", "the kinds are pump, coil and lamp"},
		{"other kind's section", `[pump]`, `[coil]`, "38:2", `the table [coil] belongs to the kind "coil", but this profile's kind is "pump"`},
		{"no kind's section", `[pump]`, `[engine]`, "38:2", "the kinds are pump, coil and lamp"},
		{"section in other case", `[pump]`, `[Pump]`, "38:2", "write it [pump]"},
		{"section's word", `regulation = "speed"`, `regulation = "torque"`, "39:14", "it must be speed, voltage, power or unknown"},
		{"section's number", `pole_pairs = 2`, `pole_pairs = 0`, "41:14", "pole_pairs is 0: it must be at least 1"},
		{"section's key", `hydraulics =`, `hydraulic =`, "38:2", "[pump] lacks the key hydraulics"},
		{"section is no table", "[pump]\n", "[[pump]]\n", "38:3", "[pump] must be a table"},
		{"key lacking", `nominal = "13.5 V"` + "\n", "", "25:2", `[supply] lacks the key nominal: add nominal = "13.5 V"`},
		{"table lacking", "[supply]\nnominal = \"13.5 V\"\nlow = \"9000 mV\"\nhigh = \"16 V\"\n", "", "1:1", "lacks the key supply: add the table [supply]"},
		{"other case", `nominal =`, `Nominal =`, "26:1", "unknown key Nominal in [supply]: write it nominal, keys match exactly in case"},
		{"other case of a table", `[limits]`, `[Limits]`, "30:2", "write it limits"},
		{"unknown key", `nominal =`, `typical = "1 V"` + "\nnominal =", "26:1", "unknown key typical in [supply]: the keys here are nominal, low, high"},
		{"twice", `low = "9000 mV"`, `nominal = "9 V"`, "27:1", "not valid TOML"},
		{"table twice", `[limits]`, `[supply]`, "30:2", "table supply already exists"},
		{"syntax", `low = "9000 mV"`, `low = 9 V`, "27:9", "not valid TOML"},
		{"open string", `low = "9000 mV"`, `low = "9000 mV`, "27:", "not valid TOML"},
		{"column after °", `temperature = "15 °C to 30 °C"`, `temperature = "15 °C to 30 °C" x`, "49:32", "not valid TOML"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parse([]byte(edit(t, c.old, c.new)), "p.toml", section)
			require.Error(t, err)
			var e *Error
			require.ErrorAs(t, err, &e)
			assert.Contains(t, err.Error(), "profiles: p.toml:"+c.at)
			assert.Contains(t, err.Error(), c.says)
		})
	}
}

func TestParseListsAllProblems(t *testing.T) {
	text := strings.NewReplacer(`low = "9000 mV"`, "lowest = \"9 V\"\nLow = \"9 V\"", `"15 A"`, `"15"`, "[fixture]", "colour = \"red\"\n[fixture]").Replace(good)
	_, err := Parse([]byte(text), "p.toml", section)
	require.Error(t, err)
	lines := strings.Split(err.Error(), "\n")
	require.Len(t, lines, 4)
	assert.Contains(t, lines[0], "p.toml:27:1: unknown key lowest")
	assert.Contains(t, lines[1], "p.toml:28:1: unknown key Low in [supply]: write it low")
	assert.Contains(t, lines[2], "p.toml:32:11: current")
	assert.Contains(t, lines[3], "p.toml:45:1: unknown key colour in [pump]")
}

func TestParseWrapsTheKindsError(t *testing.T) {
	for _, text := range []string{edit(t, `kind = "pump"`, `kind = "fan"`), edit(t, "[pump]", "[fan]")} {
		_, err := Parse([]byte(text), "p.toml", section)
		require.ErrorIs(t, err, errNoKind)
	}
}

func TestParseSections(t *testing.T) {
	coil := func(body string) string {
		return strings.NewReplacer(`kind = "pump"`, `kind = "coil"`, `[pump]
regulation = "speed"
drive = "six-step"
pole_pairs = 2
hydraulics = "centrifugal"
`, body).Replace(good)
	}
	p, err := Parse([]byte(coil("[coil]\npull = \"2500 mA\"\nfactor = 1\n[[coil.point]]\nat = \"2 cm\"\nwork = \"1 W\"\n")), "p", section)
	require.NoError(t, err)
	assert.Equal(t, &coilSection{Pull: 2.5, Factor: 1, Points: []coilRow{{20, 1}}}, p.Section)

	p, err = Parse([]byte(coil("")), "p", section)
	require.NoError(t, err)
	assert.Nil(t, p.Section, "the kind decides whether it can do without")

	for body, says := range map[string]string{
		"[coil]\npull = \"2.5 V\"\n":                    "p:39:8: pull: \"2.5 V\" has the wrong unit \"V\": write a current with the unit A or mA",
		"[coil]\npull = \"60 A\"\n":                     "p:39:8: pull is 60 A: it must be at most 50 A",
		"[coil]\npull = \"6 A\"\nhold = \"7 A\"\n":      "p:40:8: hold: it is above pull",
		"[coil]\npull = \"6 A\"\nStroke = \"7 mm\"\n":   "p:40:1: unknown key Stroke",
		"[coil]\npull = \"6 A\"\nfactor = \"1\"\n":      "p:40:10: factor must be a plain finite number",
		"[coil]\npull = \"6 A\"\nfactor = inf\n":        "p:40:10: factor must be a plain finite number",
		"[coil]\npull = \"6 A\"\npoint = [{at=\"\"}]\n": "p:40:10: [[coil.point]] number 1 lacks the key work",
	} {
		_, err = Parse([]byte(coil(body)), "p", section)
		require.ErrorContains(t, err, says)
	}

	lamp := strings.Replace(good, `kind = "pump"`, `kind = "lamp"`, 1)
	_, err = Parse([]byte(lamp), "p", section)
	require.ErrorContains(t, err, `the table [pump] belongs to the kind "pump", but this profile's kind is "lamp"`)
	_, err = Parse([]byte(strings.Replace(lamp, "[pump]", "[lamp]", 1)), "p", section)
	require.ErrorContains(t, err, `the kind "lamp" has no section`)
}

func TestParseLaw(t *testing.T) {
	law := func(inverted, points string) string {
		return edit(t, "\n[command.missing]", inverted+"law = ["+points+"]\n[command.missing]")
	}
	for _, c := range []struct{ inverted, points, says string }{
		{"", `{line = "0 %", command = "0 %"}, {line = "100 %", command = "100 %"}`, ""},
		{"", `{line = "0 %", command = "0 %"}`, "must lead from"},
		{"", `{line = "1 %", command = "0 %"}, {line = "100 %", command = "100 %"}`, "must lead from"},
		{"", `{line = "0 %", command = "0 %"}, {line = "0 %", command = "5 %"}, {line = "100 %", command = "100 %"}`, "points must rise in line duty"},
		{"", `{line = "0 %", command = "100 %"}, {line = "100 %", command = "0 %"}`, "it must rise, or inverted be true"},
		{"inverted = true\n", `{line = "0 %", command = "0 %"}, {line = "100 %", command = "100 %"}`, "it must fall, or inverted be false"},
		{"", `{line = "0 %"}, {line = "100 %", command = "101 %"}`, "lacks the key command"},
		{"", `{line = "0 %", command = "0 V"}, {line = "100 %", command = "100 %"}`, "write a percentage"},
	} {
		_, err := Parse([]byte(law(c.inverted, c.points)), "p", section)
		if c.says == "" {
			require.NoError(t, err)
		} else {
			require.ErrorContains(t, err, c.says)
		}
	}
}
