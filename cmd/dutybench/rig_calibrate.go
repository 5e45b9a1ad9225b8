package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"dutybench/bench/calibrate"
	"dutybench/bench/rig"
	"dutybench/profiles/strict"
)

// calibrateFlags are what a person says about one calibration.
type calibrateFlags struct {
	rigFlags
	quantity, reference, points string
	by, note, due               string
	temperature                 float64
	low, top                    float64
	levels                      int
	yes, ascii                  bool
}

func newRigCalibrate(a *app) *cobra.Command {
	var f calibrateFlags
	c := &cobra.Command{
		Use:   "calibrate",
		Short: "Calibrate current or voltage against a reference meter",
		Long: `Calibrate leads through the calibration of a rig's current or voltage against
a reference meter, lays a straight line through the points, shows its
uncertainty and what the points leave, and asks before it stores the result
beside the rig file, as NAME.calibration.toml. Earlier calibrations are kept.

For the current, put a load resistor or an electronic load in the unit's place
and the reference meter in series with it. The first point and the last are the
zero, with the supply off. For the voltage, put the reference meter's leads on
the contacts of the unit's plug. Readings are taken only while they stand still.
At each point type what the reference shows, or s to skip it, b to take the last
one again, o to switch the supply off and on, q to end.

A load resistor gets hot: 10 A at 12 V are 120 W. Use one that bears it, on a
surface that does not burn, and let it cool. The supply goes off as soon as
anything fails, and at the end.

The reference meter stands in a file, with what its certificate says:

  name = "bench multimeter, range 10 A"
  serial = "4711"
  certificate = "K-2026-0417"
  issued = "2026-04-17"
  due = "2027-04-17"
  gain = "0.1 %"       # expanded uncertainty in proportion to the reading
  offset = 0.002       # expanded uncertainty whatever the reading, A or V
  k = 2                # 0: the two are limits of a data sheet
  digit = 0.001        # smallest step shown, A or V

--points takes pairs from a CSV file instead, with the columns reading_A,
reference_A (or _V), and if wanted u_A, the standard uncertainty of the reading;
a line with 0 for the reference is the zero with the socket open.`,
		Example: `  dutybench rig calibrate --simulate
  dutybench rig calibrate --rig bench.toml --quantity voltage --reference meter.toml --by "A. Technician"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage("rig calibrate takes no argument %q; the rig is named with --rig", args[0])
			}
			return nil
		},
		RunE: a.do(func(c *cobra.Command, _ []string) error { return a.calibrate(c.Context(), f) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.rig, "rig", rig.Sim, "`RIG`: a rig file, or sim")
	fl.BoolVar(&f.simulate, "simulate", false, "on a simulated board, with a simulated load, meter and person")
	fl.BoolVar(&f.attended, "attended", false, "you stand by a rig that has no hardware cut-off")
	fl.Uint64Var(&f.seed, "seed", 1, "`N` draws the simulated bench and meter")
	fl.StringVar(&f.quantity, "quantity", calibrate.Current, "`WHAT`: current, or voltage at the plug")
	fl.StringVar(&f.reference, "reference", "", "`FILE` of the reference meter")
	fl.StringVar(&f.points, "points", "", "`FILE` of pairs, in CSV, instead of measuring")
	fl.IntVar(&f.levels, "levels", 5, "`N` values from low to top, up and then down again")
	fl.Float64Var(&f.low, "low", 0, "`X` lowest value, A or V (default: what fits the rig)")
	fl.Float64Var(&f.top, "top", 0, "`X` highest value, A or V (default: what fits the rig, 10 A at most)")
	fl.Float64Var(&f.temperature, "temperature", 23, "`°C` around the bench")
	fl.StringVar(&f.by, "by", "", "`NAME` of who calibrates")
	fl.StringVar(&f.due, "due", "", "`DATE` of the next calibration (default: in a year)")
	fl.StringVar(&f.note, "note", "", "`WORDS` for the file")
	fl.BoolVar(&f.yes, "yes", false, "store without asking, unless the line is not fit")
	fl.BoolVar(&f.ascii, "ascii", false, "plain letters and signs only")
	return c
}

func (f *calibrateFlags) check() error {
	switch {
	case f.quantity != calibrate.Current && f.quantity != calibrate.Voltage:
		return usage("--quantity %q: it is current or voltage", f.quantity)
	case f.levels < 3 || f.levels > 50:
		return usage("--levels %d: give 3 to 50", f.levels)
	case f.low < 0 || f.top < 0 || f.top > 0 && f.low >= f.top:
		return usage("--low %g --top %g: give values from nought up, low below top", f.low, f.top)
	case f.reference == "" && !f.simulate:
		return usage("--reference FILE is missing: the reference meter with its certificate, as the help shows")
	case f.points != "" && f.simulate:
		return usage("--points and --simulate do not go together")
	case !(f.temperature >= -40 && f.temperature <= 85):
		return usage("--temperature %g: give that of the room in °C", f.temperature)
	}
	return nil
}

// unit is that of a quantity.
func (f *calibrateFlags) unit() string {
	if f.quantity == calibrate.Voltage {
		return "V"
	}
	return "A"
}

// calibrate is the whole of `rig calibrate`.
func (a *app) calibrate(ctx context.Context, f calibrateFlags) error {
	if err := f.check(); err != nil {
		return err
	}
	now := a.now()
	due := calibrate.Day{Time: now.AddDate(1, 0, 0)}
	if f.due != "" {
		if err := due.UnmarshalText([]byte(f.due)); err != nil {
			return usage("--due: %v", err)
		}
	}
	if now.Year() < 2025 {
		return errors.New("the computer's clock is not set, so the calibration would bear a wrong date: set it")
	}
	ref, err := f.meter()
	if err != nil {
		return err
	}
	if !ref.Due.IsZero() && now.After(ref.Due.AddDate(0, 0, 1)) {
		fmt.Fprintf(a.stderr, "dutybench: the certificate of %s ran out on %s; every record will say so\n", ref.Name, ref.Due)
	}
	d, err := readRig(f.rig)
	if err != nil {
		return err
	}
	keys := readKeys(a.stdin)
	var points []calibrate.Point
	if f.points != "" {
		points, err = readPoints(f.points, f.unit(), stepOf(&d, f.quantity))
	} else {
		points, err = a.guide(ctx, f, ref.Meter(), keys)
	}
	if err != nil {
		return err
	}
	line, err := a.lay(f, points, ref.Meter(), keys)
	if err != nil {
		return err
	}
	c := calibrate.New(f.quantity, &d, line, ref, now)
	c.Due, c.By, c.Note, c.Temperature = due, f.by, f.note, strict.Celsius(f.temperature)
	return a.storeCalibration(f, d.Name, line, c, keys)
}

// lay lays the line and shows it; a point that lies off may be left out by who
// calibrates.
func (a *app) lay(f calibrateFlags, points []calibrate.Point, m calibrate.Meter, keys <-chan string) (*calibrate.Line, error) {
	for {
		line, err := calibrate.Fit(points, m)
		if err != nil {
			return nil, err
		}
		fmt.Fprintln(a.stdout)
		if err := line.WriteText(a.stdout, f.unit(), f.ascii || !a.unicode()); err != nil {
			return nil, fmt.Errorf("writing the result: %w", err)
		}
		odd := 0
		for _, r := range line.Remarks() {
			if r.Refuses && r.Point > 0 {
				odd = r.Point
			}
		}
		if odd == 0 || f.yes {
			return line, nil
		}
		fmt.Fprintf(a.stdout, "Leave point %d out? y or n: ", odd)
		if answer := <-keys; answer != "y" && answer != "yes" {
			fmt.Fprintln(a.stdout)
			return line, nil
		}
		points = append(points[:odd-1:odd-1], points[odd:]...)
	}
}

// storeCalibration asks, and puts the calibration beside the rig file.
func (a *app) storeCalibration(f calibrateFlags, name string, line *calibrate.Line, c *calibrate.Calibration, keys <-chan string) error {
	if err := line.Refused(); err != nil {
		fmt.Fprintln(a.stdout, "Nothing is stored.")
		return err
	}
	if f.rig == rig.Sim || f.simulate {
		fmt.Fprintln(a.stdout, "This was a simulated bench, so nothing is stored.")
		return nil
	}
	if !f.yes {
		fmt.Fprintf(a.stdout, "Store this in %s? y or n: ", calibrate.Path(f.rig))
		if answer := <-keys; answer != "y" && answer != "yes" {
			fmt.Fprintln(a.stdout, "\nNothing is stored.")
			return nil
		}
	}
	if err := calibrate.Add(f.rig, name, c); err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "Stored in %s; due on %s.\n", calibrate.Path(f.rig), c.Due)
	return nil
}

// meter reads the reference's file; a simulated calibration has its own.
func (f *calibrateFlags) meter() (calibrate.Reference, error) {
	var ref calibrate.Reference
	if f.reference == "" {
		ref = calibrate.Reference{Name: "simulated meter", Serial: "none", Certificate: "none", Gain: 0.001, Offset: 0.002, K: 2, Digit: 0.001}
		return ref, nil
	}
	data, err := os.ReadFile(f.reference)
	if err != nil {
		return ref, fmt.Errorf("reference meter: %w; give its file as the help shows", err)
	}
	if err := (strict.Format{Package: "reference", Thing: "file of the reference meter"}).Decode(data, f.reference, &ref); err != nil {
		return ref, err
	}
	return ref, nil
}

// stepOf is the rig's own step in a quantity.
func stepOf(d *rig.Description, quantity string) float64 {
	if quantity == calibrate.Voltage {
		return d.Accuracy().VoltageStep_V
	}
	return d.Accuracy().CurrentStep_A
}
