package main

import (
	"bufio"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/profiles"
)

// pinoutFlags are the readings, where a script has them.
type pinoutFlags struct {
	cavities, readings, meter, side string
}

// pinoutCaution stands before the first reading.
const pinoutCaution = `Before the first reading:
- The unit is off the vehicle, with nothing on its plug and no supply near it.
- Its capacitor is empty: put 1 kohm between each two cavities for ten seconds.
- The meter's range gives at most 1 V open and 10 mA shorted; its manual says so,
  or a second meter across its leads. Many diode ranges give 2 to 3 V: not those.
- Needle probes from the mating side bend no pin and spread no socket.
Type what the meter shows after five seconds: 0.55 V (diode range), 12 kohm
(ohms), ol when open, rise while it climbs.
`

func newPinout(a *app) *cobra.Command {
	var f pinoutFlags
	c := &cobra.Command{
		Use:   "pinout",
		Short: "Find supply, ground and line of an unknown plug with a meter",
		Long: `Pinout asks for readings of a meter of at most 1 V and 10 mA between the
cavities of a unit's plug, both ways, and proposes which are supply, ground and
line, with reasons and with what stays open. It prints a [connector] to paste
into a profile. Nothing is energised. A proposal is no wiring diagram: before
power the pre-test of run still looks for a short and a reversed plug.`,
		Example: `  dutybench pinout --cavities 1,2,3
  dutybench pinout --cavities A,B,C --meter "0.9 V, 1 mA" --readings "A>B=rise,B>A=0.58V,A>C=12k,C>A=12k,B>C=0.6V,C>B=ol"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage("pinout takes no argument %q; the cavities are named with --cavities", args[0])
			}
			return nil
		},
		RunE: a.do(func(*cobra.Command, []string) error { return a.pinout(f) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.cavities, "cavities", "", "`LABELS` of the cavities, with commas, in the order in which they lie")
	fl.StringVar(&f.side, "side", profiles.MatingSide, "`SIDE` from which they are named: mating side, or wire side")
	fl.StringVar(&f.meter, "meter", "", "`\"V, mA\"`: open voltage and shorted current of the meter's range")
	fl.StringVar(&f.readings, "readings", "", "`READINGS` for scripts: plus cavity, >, minus cavity, =, what the meter shows; with commas")
	return c
}

func (a *app) pinout(f pinoutFlags) error {
	if f.side != profiles.MatingSide && f.side != profiles.WireSide {
		return usage("--side %q: it is %q or %q", f.side, profiles.MatingSide, profiles.WireSide)
	}
	in := bufio.NewScanner(a.stdin)
	line := func(question string) (string, error) {
		fmt.Fprint(a.stderr, question+" ")
		if !in.Scan() {
			fmt.Fprintln(a.stderr)
			return "", fmt.Errorf("the answers ended before the last question; give them with --cavities, --meter and --readings")
		}
		return strings.TrimSpace(in.Text()), nil
	}
	fmt.Fprint(a.stderr, pinoutCaution)
	var err error
	if f.cavities == "" {
		if f.cavities, err = line("Labels of the cavities, with commas:"); err != nil {
			return err
		}
	}
	labels, err := cavityLabels(f.cavities)
	if err != nil {
		return err
	}
	if f.meter == "" {
		if f.meter, err = line("Open voltage and shorted current of the meter's range, such as 0.9 V, 1 mA:"); err != nil {
			return err
		}
	}
	if err := checkMeter(f.meter); err != nil {
		return err
	}
	var got map[probe]reading
	if f.readings != "" {
		got, err = readReadings(f.readings, labels)
	} else {
		got, err = a.askReadings(labels, line)
	}
	if err != nil {
		return err
	}
	p := propose(labels, got)
	for _, s := range p.reasons {
		fmt.Fprintln(a.stderr, s)
	}
	for _, s := range p.open {
		fmt.Fprintln(a.stderr, "Open:", s)
	}
	if len(p.function) == 0 {
		a.status = exitError
		return nil
	}
	for _, l := range labels {
		if p.function[l] == "" {
			fmt.Fprintf(a.stderr, "Open: cavity %s is left out below; add it when it is known.\n", l)
		}
	}
	c := p.connector(labels, f.side)
	text, err := profiles.ConnectorTOML(c)
	if err != nil {
		return err
	}
	fmt.Fprint(a.stderr, connectorText(c))
	if _, err := fmt.Fprint(a.stdout, strings.TrimLeft(text, "\n")); err != nil {
		return fmt.Errorf("writing the connector: %w", err)
	}
	return nil
}

// cavityLabels reads labels such as 1,2,3.
func cavityLabels(s string) ([]string, error) {
	var out []string
	for _, l := range strings.Split(s, ",") {
		l = strings.TrimSpace(l)
		switch {
		case l == "" || strings.ContainsAny(l, ">="):
			return nil, usage("--cavities %q: give each cavity a label without > and =, with commas between", s)
		case slices.Contains(out, l):
			return nil, usage("--cavities: %s stands twice", l)
		}
		out = append(out, l)
	}
	if len(out) < 2 || len(out) > 12 {
		return nil, usage("--cavities: %d cavities; two to twelve can be told", len(out))
	}
	return out, nil
}

// checkMeter refuses a range that could harm a board or turn a wrong diode on.
func checkMeter(s string) error {
	volt, milli, ok := strings.Cut(strings.ToLower(strings.ReplaceAll(s, " ", "")), ",")
	v, err := strconv.ParseFloat(strings.TrimSuffix(volt, "v"), 64)
	i, ierr := strconv.ParseFloat(strings.TrimSuffix(milli, "ma"), 64)
	switch {
	case !ok || err != nil || ierr != nil || !(v > 0) || !(i > 0):
		return usage("--meter %q: give open voltage and shorted current of the range, such as \"0.9 V, 1 mA\"", s)
	case v > meterMost_V || i > meterMost_mA:
		return usage("--meter %q: at most %g V and %g mA may go to a board that nobody knows; take another range or meter", s, meterMost_V, meterMost_mA)
	}
	return nil
}

// askReadings asks for each pair, both ways; a reading that is none is asked
// for again.
func (a *app) askReadings(labels []string, line func(string) (string, error)) (map[probe]reading, error) {
	got := map[probe]reading{}
	for i, x := range labels {
		for _, y := range labels[i+1:] {
			for _, p := range []probe{{x, y}, {y, x}} {
				for {
					s, err := line(fmt.Sprintf("Plus on %s, minus on %s:", p.plus, p.minus))
					if err != nil {
						return nil, err
					}
					r, err := parseReading(s)
					if err == nil {
						got[p] = r
						break
					}
					fmt.Fprintln(a.stderr, err)
				}
			}
		}
	}
	return got, nil
}

// readReadings reads all readings of a script; none may be missing.
func readReadings(s string, labels []string) (map[probe]reading, error) {
	got := map[probe]reading{}
	for _, part := range strings.Split(s, ",") {
		where, value, ok := strings.Cut(part, "=")
		plus, minus, pair := strings.Cut(where, ">")
		p := probe{strings.TrimSpace(plus), strings.TrimSpace(minus)}
		if !ok || !pair || p.plus == p.minus || !slices.Contains(labels, p.plus) || !slices.Contains(labels, p.minus) {
			return nil, usage("--readings: %q is none: write plus cavity, >, minus cavity, =, reading, such as 1>2=0.55V", strings.TrimSpace(part))
		}
		if _, twice := got[p]; twice {
			return nil, usage("--readings: %s>%s stands twice", p.plus, p.minus)
		}
		r, err := parseReading(value)
		if err != nil {
			return nil, usage("--readings: %s>%s: %v", p.plus, p.minus, err)
		}
		got[p] = r
	}
	for _, x := range labels {
		for _, y := range labels {
			if _, ok := got[probe{x, y}]; x != y && !ok {
				return nil, usage("--readings: %s>%s is missing: each pair is read both ways", x, y)
			}
		}
	}
	return got, nil
}
