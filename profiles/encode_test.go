package profiles

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// random is a whole profile with random contents and parts left out at random.
func random(r *rand.Rand) *Profile {
	yes := func() bool { return r.IntN(2) == 0 }
	number := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	word := func(of ...string) string { return of[r.IntN(len(of))] }
	text := func() string {
		all := []rune("abc äΩ°\"'\\#=[]{}\n\t\r\x00\x7f\u2028🙂,.-0")
		out := make([]rune, 1+r.IntN(30))
		for i := range out {
			out[i] = all[r.IntN(len(all))]
		}
		return string(out)
	}
	row := func(n int) []float64 {
		list := make([]float64, n)
		for i := range list {
			if list[i] = number(-1, 20); r.IntN(8) == 0 {
				list[i] = math.NaN()
			}
		}
		return list
	}
	duration := func(most time.Duration) time.Duration { return 1 + time.Duration(r.Int64N(int64(most))) }

	p := &Profile{Format: Format, Name: word("a", "aux-pump-20w", "0-1-2"), Revision: 1 + r.IntN(1000), Kind: "pump", Invented: yes()}
	if yes() {
		p.Title, p.PartRevision, p.Notes = text(), text(), []string{text(), text()}
	}
	stop := number(0, 30)
	p.Command = Command{
		Type: "pwm", Frequency_Hz: number(1, 1e5), Tolerance: number(0, 0.5), Inverted: yes(), Drive: word("open-drain", "push-pull"),
		Stop_pct: stop, Wake_pct: stop + number(0.1, 20), Full_pct: number(60, 100),
		Missing: Missing{word("", "full", "stop", "hold"), word("", "full"), word("", "stop")},
	}
	if yes() {
		p.Command.PullUp_Ohm, p.Command.PullUp_V = number(1, 1e5), number(0, 60)
	}
	if yes() {
		p.Command.Law = []LawPoint{{0, 0}, {number(1, 50), number(0, 100)}, {100, 100}}
		if p.Command.Inverted {
			p.Command.Law[0].Command_pct, p.Command.Law[2].Command_pct = 100, 0
		}
	} else if yes() {
		p.Command.Reserved = []Window{{30.5, number(31, 40)}} // below the grid
		if p.Command.Inverted {
			p.Command.Reserved = []Window{{60.5, number(61, 70)}}
		}
	}
	nominal := number(5, 30)
	p.Supply = Supply{nominal, nominal - number(0, 4), nominal + number(0, 30)}
	p.Limits = Limits{Current_A: number(0.1, 30), Time: duration(time.Hour), Peak_A: number(30, 100), DryRun: time.Duration(r.IntN(1e9))}
	if yes() {
		p.Limits.Charge_C, p.Limits.ChargeTime = number(1e-6, 1), duration(time.Second)
		p.Limits.Rest, p.Limits.StartTimeout = duration(time.Hour), duration(time.Minute)
	}
	if yes() {
		p.Return = Return{Wire: OwnWire, Codes: []ReturnCode{
			{Name: "a", Meaning: text(), Cause: text(), Duty: Window{number(0, 10), number(20, 40)}},
			{Name: "b-2", Meaning: text(), Duty: Window{number(50, 60), 100}, Frequency: HertzRange{Low_Hz: number(0, 10), High_Hz: number(10, 1e5)}},
		}, SpeedByFrequency: []SpeedPoint{{number(0, 5), number(0, 1e5)}, {number(6, 1000), number(0, 1e6)}}}
	} else if yes() {
		p.Return = Return{Wire: CommandWire, Codes: []ReturnCode{{Name: "c", Meaning: text(), Length: SecondsRange{Low_s: number(0, 0.5), High_s: number(0.6, 3600)}}}}
	}
	if yes() {
		low := number(-20, 50)
		p.Fixture = Fixture{word("loop", "bucket"), number(1, 100), number(-1, 5), text(), low, low + number(0, 30), number(0, 0.02), text()}
	}
	if yes() {
		p.Section = &pumpSection{word("speed", "voltage"), word("sine", "unknown"), 1 + r.IntN(10), word("centrifugal", "peripheral")}
	}
	for i := range r.IntN(4) {
		l := Limit{Finding: fmt.Sprintf("finding %d", i), Unit: word("", "A", "V/A", "%"), Low: number(-1, 1), High: number(1, 2), Source: text()}
		if yes() {
			l.High = math.NaN()
		}
		p.Stated = append(p.Stated, l)
	}
	if n := r.IntN(4); n > 0 {
		for x := number(40.5, 45); x <= p.Command.Full_pct && len(p.Grid) < 12; x += number(1, 5) {
			p.Grid = append(p.Grid, x)
		}
		p.Learned = Learned{On: word("", "2026-01-31"), Units: n, Provisional: yes(), Rate_Hz: number(0, 20000), Supply_V: number(0, 30), Program: text(), Statement: []string{text()}}
		if yes() {
			p.Learned.Rigs, p.Learned.GainU, p.Learned.Days, p.Learned.Fillings, p.Learned.PartRevisions = []string{text()}, number(0, 0.01), r.IntN(5), r.IntN(5), []string{text()}
			p.Learned.Own = []Value{{"zeta", number(0, 1), "A"}}
		}
		for i := range n {
			g := GoodUnit{Unit: fmt.Sprintf("unit %d", i)}
			if len(p.Grid) > 0 {
				g.Up = row(len(p.Grid))
				if yes() {
					g.Down = row(len(p.Grid))
				}
			}
			if yes() {
				g.Trace = fmt.Sprintf("%064x", i+1)
			}
			g.Values = []Value{{"zeta", number(-1e9, 1e9), "A"}, {"alpha beta", number(0, 1) * 1e-12, ""}, {"n", float64(r.IntN(5)), ""}, {"none", math.NaN(), word("s")}, {"nothing", math.NaN(), ""}}
			p.Good = append(p.Good, g)
		}
	}
	return p
}

// plainText is a profile as text: it holds NaN equal to NaN, and every digit.
func plainText(p *Profile) string {
	c := *p
	c.Source, c.SHA256, c.Section = "", "", nil
	return fmt.Sprintf("%#v %#v", c, p.Section)
}

func TestRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		p := random(r)
		data, err := Encode(p)
		require.NoError(t, err)
		q, err := Parse(data, "x", section)
		require.NoError(t, err, "%s", data)
		require.Equal(t, plainText(p), plainText(q), "%s", data)
		again, err := Encode(q)
		require.NoError(t, err)
		require.Equal(t, string(data), string(again), "the same bytes for the same profile")
	}
}

func TestEncodeIsCommented(t *testing.T) {
	p, err := Parse([]byte(good), "x", section)
	require.NoError(t, err)
	data, err := Encode(p)
	require.NoError(t, err)
	lines := strings.Split(string(data), "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, "[") && l != "[good.values]" && !(l == "[[good]]" && lines[i-1] == "") {
			assert.True(t, strings.HasPrefix(lines[i-1], "# "), "%s is headed by a comment", l)
		}
	}
	assert.Contains(t, string(data), "\nup = \"0.31 0.45 4.71 A\"\ndown = \"0.3 - 4.7 A\"\n")
}

func TestEncodeRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(p *Profile)
		says  string
	}{
		"newer format":     {func(p *Profile) { p.Format = 2 }, "cannot write format 2"},
		"NaN":              {func(p *Profile) { p.Supply.Nominal_V = math.NaN() }, "finite"},
		"infinite row":     {func(p *Profile) { p.Good[0].Up[0] = math.Inf(1) }, "Inf"},
		"infinite value":   {func(p *Profile) { p.Good[0].Values[0].X = math.Inf(-1) }, "quiet"},
		"unit of words":    {func(p *Profile) { p.Good[0].Values[0].Unit = "A at rest" }, "one word"},
		"unit of a number": {func(p *Profile) { p.Good[0].Values[0].Unit = ".5" }, "one word"},
		"value twice":      {func(p *Profile) { p.Good[0].Values[1].Name = "quiet" }, "stands twice"},
		"row length":       {func(p *Profile) { p.Good[0].Up = p.Good[0].Up[:1] }, "it would be refused"},
		"not UTF-8":        {func(p *Profile) { p.Title = "\xff" }, "not UTF-8"},
		"note not UTF-8":   {func(p *Profile) { p.Notes = []string{"\xff"} }, "not UTF-8"},
		"name":             {func(p *Profile) { p.Name = "Ä" }, "small letters"},
		"no limit":         {func(p *Profile) { p.Stated[0].Low, p.Stated[0].High = math.NaN(), math.NaN() }, "neither low nor high"},
		"section":          {func(p *Profile) { p.Section = 3 }, "section"},
		"section's range":  {func(p *Profile) { p.Section.(*pumpSection).PolePairs = 0 }, "pole_pairs is 0"},
		"command":          {func(p *Profile) { p.Command.Type = "lin" }, "not supported"},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := Parse([]byte(good), "x", section)
			require.NoError(t, err)
			c.spoil(p)
			_, err = Encode(p)
			require.ErrorContains(t, err, c.says)
		})
	}
}
