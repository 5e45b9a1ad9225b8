package main

import (
	"fmt"
	"math"
	"strings"

	"dutybench/bench/plot"
	"dutybench/bench/report"
	"dutybench/bench/rig"
	"dutybench/signal/stat"
	"dutybench/signal/wire"
)

// simulatedWords say that the signal is invented, so that nobody takes it for
// that of a wire.
func (f *listenFlags) simulatedWords() string {
	switch {
	case f.trace != "":
		return ""
	case f.rig == rig.Sim:
		return "Simulated bench; name yours with --rig FILE."
	case f.simulate:
		return "Simulated bench: the signal is invented."
	}
	return ""
}

// text is the reading for people: words first, then figures, then one period.
func (l *listened) text(o report.TextOptions) string {
	if o.Width == 0 {
		o.Width = textWidth
	}
	var b strings.Builder
	plain := func(s string) string {
		if o.Unicode {
			return s
		}
		return plainLetters.Replace(plainSigns.Replace(s))
	}
	fill := func(b *strings.Builder, key, words string, column, width int) {
		fill(b, key, plain(words), column, width)
	}
	if l.simulated != "" {
		fill(&b, "", l.simulated, 0, o.Width)
	}
	for i, s := range l.Words {
		key := ""
		if i == 0 {
			key = titles[l.Kind]
		}
		fill(&b, key, s, keyColumn, o.Width)
	}
	for _, s := range l.to {
		fill(&b, "", s, keyColumn, o.Width)
	}
	b.WriteByte('\n')
	row := func(key string, q stat.Quantity, unit string) {
		if finiteNumber(q.Value) {
			half, _ := q.Expanded(0.95)
			fill(&b, key, fmt.Sprintf("%s %s%s", plot.Short(q.Value, 4), unit, halfWidth(half, unit)), keyColumn, o.Width)
		}
	}
	row("Low", l.Low_V, "V")
	row("High", l.High_V, "V")
	row("Meter shows", l.Mean_V, "V")
	row("Frequency", l.Frequency_Hz, "Hz")
	row("Duty", l.Duty_pct, "%")
	if l.DutyChanges() {
		fill(&b, "Duty", fmt.Sprintf("changes from %s to %s %%; %d periods", plot.Short(l.DutyLow_pct, 3), plot.Short(l.DutyHigh_pct, 3), l.Periods), keyColumn, o.Width)
	}
	if l.Kind == wire.PWM && !l.DutyChanges() {
		fill(&b, "Jitter", fmt.Sprintf("%s of the period, %s of the high time (standard deviations); %d periods", micro(l.PeriodJitter_s), micro(l.HighJitter_s), l.Periods), keyColumn, o.Width)
	}
	row("Source", l.Source_Ohm, "ohm")
	if finiteNumber(l.Fastest_Hz) {
		fill(&b, "Input", fmt.Sprintf("shows PWM of up to %s Hz", plot.Short(l.Fastest_Hz, 2)), keyColumn, o.Width)
	}
	if len(l.told) > 0 || l.by != nil {
		b.WriteString("\nThe unit's own word, which is no measurement and decides nothing:\n")
		unknown := 0
		for _, x := range l.told {
			if l.by.Unknown(x) {
				if unknown++; unknown > 1 {
					continue
				}
			}
			fill(&b, "", l.by.Sentence(x), 2, o.Width)
			if x.Code != wire.NoCode && l.by.Codes[x.Code].Hint != "" {
				fill(&b, "", "Its maker's table names as cause: "+l.by.Codes[x.Code].Hint+".", 2, o.Width)
			}
		}
		if unknown > 1 {
			fill(&b, "", fmt.Sprintf("%d more times it reports something that its table does not know.", unknown-1), 2, o.Width)
		}
		if len(l.told) == 0 {
			b.WriteString("  It said nothing.\n")
		}
	}
	if l.Kind == wire.PWM && !l.DutyChanges() {
		b.WriteByte('\n')
		b.WriteString(l.drawing(o))
	}
	b.WriteByte('\n')
	for _, s := range l.Limits {
		fill(&b, "Limit", s, keyColumn, o.Width)
	}
	if l.note != "" {
		fill(&b, "Bench", l.note, keyColumn, o.Width)
	}
	return b.String()
}

// plainLetters says units in plain letters.
var plainLetters = strings.NewReplacer("µ", "u", "Ω", "ohm")

// titles name the kinds for people.
var titles = map[wire.Kind]string{
	wire.PWM: "PWM", wire.Low: "LOW", wire.High: "HIGH", wire.DrivenHigh: "DRIVEN HIGH", wire.PullUp: "PULL-UP", wire.Floating: "FLOATING",
	wire.Bus: "A BUS", wire.Analogue: "A LEVEL", wire.TooFast: "TOO FAST", wire.MeanOnly: "MEAN ONLY", wire.Unclear: "UNCLEAR",
}

func finiteNumber(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func halfWidth(half float64, unit string) string {
	if !finiteNumber(half) || half == 0 {
		return ""
	}
	return fmt.Sprintf(" ± %s %s", plot.Short(half, 2), unit)
}

func micro(s float64) string { return plot.Short(s*1e6, 2) + " µs" }

// drawing is one period and a half, from a rising edge, with levels and times.
func (l *listened) drawing(o report.TextOptions) string {
	const left = 10 // column of the levels' names
	width := min(o.Width, widest) - left - 2
	period := int(float64(width) / 1.5)
	high := min(max(int(math.Round(float64(period)*l.Duty_pct.Value/100)), 1), period-1)
	signs := []string{"┌", "┐", "└", "┘", "─", "│"}
	if !o.Unicode {
		signs = []string{"+", "+", "+", "+", "-", "|"}
	}
	var top, middle, bottom strings.Builder
	for x := range width {
		// Column x lies at the start of the stretch that begins there.
		at := x % period
		switch {
		case at == 0:
			top.WriteString(signs[0])
			middle.WriteString(signs[5])
			bottom.WriteString(signs[3])
		case at == high:
			top.WriteString(signs[1])
			middle.WriteString(signs[5])
			bottom.WriteString(signs[2])
		case at < high:
			top.WriteString(signs[4])
			middle.WriteByte(' ')
			bottom.WriteByte(' ')
		default:
			top.WriteByte(' ')
			middle.WriteByte(' ')
			bottom.WriteString(signs[4])
		}
	}
	level := func(q stat.Quantity, else_ string) string {
		if !finiteNumber(q.Value) {
			return else_
		}
		return plot.Short(q.Value, 3) + " V"
	}
	T := 1e3 / l.Frequency_Hz.Value
	times := []rune(strings.Repeat(" ", width))
	put := func(at int, s string) {
		for i, c := range s {
			if at+i < len(times) {
				times[at+i] = c
			}
		}
	}
	put(0, "0")
	put(period, plot.Short(T, 4)+" ms")
	if s := plot.Short(T*l.Duty_pct.Value/100, 3); high > 2 && high+len(s)+1 < period {
		put(high, s)
	}
	line := func(name, s string) string {
		return strings.TrimRight(fmt.Sprintf("%*s  %s", left-2, name, s), " ") + "\n"
	}
	return line(level(l.High_V, "high"), top.String()) + line("", middle.String()) + line(level(l.Low_V, "low"), bottom.String()) + line("", string(times))
}

// listenObject is a reading as scripts get it; null is not measured.
type listenObject struct {
	Schema       int             `json:"schema"`
	Source       string          `json:"source"`
	Simulated    bool            `json:"simulated"` // the signal is invented
	Signal       wire.Kind       `json:"signal"`
	Words        []string        `json:"words"`
	Limits       []string        `json:"limits"`
	Low_V        *listenQuantity `json:"low_V"`
	High_V       *listenQuantity `json:"high_V"`
	Mean_V       *listenQuantity `json:"mean_V"`
	Frequency_Hz *listenQuantity `json:"frequency_Hz"`
	Duty_pct     *listenQuantity `json:"duty_pct"`
	DutyFrom_pct *float64        `json:"duty_from_pct"` // where it changes; null where it stays
	DutyTo_pct   *float64        `json:"duty_to_pct"`
	Source_Ohm   *listenQuantity `json:"source_ohm"`
	PeriodJitter *float64        `json:"period_jitter_s"`
	HighJitter   *float64        `json:"high_jitter_s"`
	Periods      int             `json:"periods"`
	LostEdges    int             `json:"lost_edges"`
	Bit_s        *float64        `json:"bit_s"`
	Hum_V        *float64        `json:"hum_V"`
	Fastest_Hz   *float64        `json:"fastest_Hz"`
	Profile      []string        `json:"profile,omitempty"`
	Reports      []listenReport  `json:"unit_reports,omitempty"`
}

type listenQuantity struct {
	Value       float64  `json:"value"`
	Uncertainty *float64 `json:"uncertainty"` // expanded
	K           *float64 `json:"k"`
}

type listenReport struct {
	From_s    float64  `json:"from_s"`
	To_s      float64  `json:"to_s"`
	Code      string   `json:"code"` // empty: none that the table knows
	Meaning   string   `json:"meaning"`
	Cause     string   `json:"cause,omitempty"`
	Duty      *float64 `json:"duty_pct"`
	Frequency *float64 `json:"frequency_Hz"`
	Length    *float64 `json:"length_s"`
	Speed     *float64 `json:"speed_per_min"`
}

func (l *listened) object() listenObject {
	q := func(x stat.Quantity) *listenQuantity {
		if !finiteNumber(x.Value) {
			return nil
		}
		half, k := x.Expanded(0.95)
		return &listenQuantity{x.Value, finite(&half), finite(&k)}
	}
	o := listenObject{Schema: 1, Source: l.source, Simulated: l.simulated != "", Signal: l.Kind, Words: list(l.Words), Limits: list(l.Limits),
		Low_V: q(l.Low_V), High_V: q(l.High_V), Mean_V: q(l.Mean_V), Frequency_Hz: q(l.Frequency_Hz), Duty_pct: q(l.Duty_pct), DutyFrom_pct: finite(&l.DutyLow_pct), DutyTo_pct: finite(&l.DutyHigh_pct), Source_Ohm: q(l.Source_Ohm),
		PeriodJitter: finite(&l.PeriodJitter_s), HighJitter: finite(&l.HighJitter_s), Periods: l.Periods, LostEdges: l.Lost,
		Bit_s: finite(&l.Bit_s), Hum_V: finite(&l.Hum_V), Fastest_Hz: finite(&l.Fastest_Hz), Profile: l.to}
	for _, x := range l.told {
		r := listenReport{From_s: x.From_s, To_s: x.To_s, Duty: finite(&x.Duty_pct), Frequency: finite(&x.Frequency_Hz), Length: finite(&x.Length_s), Speed: finite(&x.Speed_per_min)}
		if x.Code != wire.NoCode {
			c := l.by.Codes[x.Code]
			r.Code, r.Meaning, r.Cause = c.Name, c.Meaning, c.Hint
		}
		o.Reports = append(o.Reports, r)
	}
	return o
}
