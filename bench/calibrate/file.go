package calibrate

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"dutybench/bench/rig"
	"dutybench/profiles/strict"
)

// Format is the version of calibration files.
const Format = 1

// Day is a date, written such as "2026-11-26"; zero is none, written "".
type Day struct{ time.Time }

const dayLayout = "2006-01-02"

// UnmarshalText reads a date.
func (d *Day) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = Day{}
		return nil
	}
	t, err := time.Parse(dayLayout, string(b))
	if err != nil {
		return fmt.Errorf("%q is no date: write year, month and day, such as \"2026-11-26\"", b)
	}
	*d = Day{t}
	return nil
}

// MarshalText writes it.
func (d Day) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// String is the date.
func (d Day) String() string {
	if d.IsZero() {
		return ""
	}
	return d.Format(dayLayout)
}

// Example is how it is written.
func (Day) Example() string { return "2026-11-26" }

// over says that the day has passed at a time.
func (d Day) over(now time.Time) bool { return !d.IsZero() && !now.Before(d.AddDate(0, 0, 1)) }

// The quantities that are calibrated.
const (
	Current = "current" // A
	Voltage = "voltage" // V, at the unit's plug
)

// Reference is the meter that was calibrated against, as it stands in a file.
type Reference struct {
	Name        string       `toml:"name" comment:"what it is"`
	Serial      string       `toml:"serial"`
	Certificate string       `toml:"certificate" comment:"its number"`
	Issued      Day          `toml:"issued"`
	Due         Day          `toml:"due" comment:"of the certificate"`
	Gain        strict.Share `toml:"gain" min:"0" max:"0.09" comment:"expanded uncertainty in proportion to the reading"`
	Offset      float64      `toml:"offset" min:"0" comment:"expanded uncertainty whatever the reading, A or V"`
	K           float64      `toml:"k" min:"0" max:"4" comment:"coverage factor of both; 0: limits of a data sheet, taken as uniform"`
	Digit       float64      `toml:"digit" min:"0" comment:"smallest step shown, A or V"`
}

// Meter is what counts of it.
func (r Reference) Meter() Meter {
	return Meter{Gain: float64(r.Gain), Offset: r.Offset, K: r.K, Digit: r.Digit}
}

// filePoint is one point in a file.
type filePoint struct {
	Reading   float64 `toml:"reading"`
	U         float64 `toml:"u" min:"0"`
	DoF       float64 `toml:"dof" min:"0"`
	Reference float64 `toml:"reference"`
	Zero      bool    `toml:"zero"`
}

// fileLine is the result, for people; it must follow from the points.
type fileLine struct {
	Gain       float64 `toml:"gain" comment:"reading = offset + gain·value"`
	GainU      float64 `toml:"gain_expanded" min:"0" comment:"half the 95 % interval"`
	Offset     float64 `toml:"offset" comment:"A or V"`
	OffsetU    float64 `toml:"offset_expanded" min:"0" comment:"half the 95 % interval"`
	Covariance float64 `toml:"covariance"`
	ResidualSD float64 `toml:"residual_sd" min:"0"`
	DoF        int     `toml:"dof" min:"1"`
}

// Calibration is one calibration of one quantity.
type Calibration struct {
	Quantity    string         `toml:"quantity" oneof:"current|voltage"`
	Date        Day            `toml:"date"`
	Due         Day            `toml:"due" comment:"of this calibration"`
	By          string         `toml:"by"`
	Temperature strict.Celsius `toml:"temperature" min:"-40" max:"85" comment:"of the bench's surroundings"`
	Wiring      string         `toml:"wiring" comment:"what was calibrated"`
	Identity    string         `toml:"identity" comment:"of that wiring"`
	Note        string         `toml:"note,omitempty"`
	Remarks     []string       `toml:"remarks,omitempty"`
	Reference   Reference      `toml:"reference"`
	Points      []filePoint    `toml:"point" inline:"true"`
	Result      fileLine       `toml:"result"`

	line *Line
}

// New makes a calibration of a line on a rig.
func New(quantity string, d *rig.Description, l *Line, r Reference, now time.Time) *Calibration {
	c := &Calibration{Quantity: quantity, Date: Day{now.UTC().Truncate(24 * time.Hour)}, Reference: r, line: l}
	c.Wiring, c.Identity = Identity(d, quantity)
	for _, p := range l.Points {
		dof := p.DoF
		if math.IsInf(dof, 0) {
			dof = 0
		}
		c.Points = append(c.Points, filePoint{p.Reading, p.U, dof, p.Reference, p.Zero})
	}
	for _, m := range l.Remarks() {
		c.Remarks = append(c.Remarks, m.Text)
	}
	c.Result = resultOf(l)
	return c
}

func resultOf(l *Line) fileLine {
	return fileLine{l.Gain.Value, l.Gain.Half, l.Offset.Value, l.Offset.Half, l.Covariance, l.ResidualSD, l.DoF}
}

// Line is the calibration's line.
func (c *Calibration) Line() *Line { return c.line }

// File is a rig's calibrations, the oldest first.
type File struct {
	Format int           `toml:"format" min:"1" max:"1"`
	Rig    string        `toml:"rig"`
	List   []Calibration `toml:"calibration,omitempty"`
}

const heading = `# Calibrations of a bench, the oldest first; dutybench rig calibrate adds to
# them. The latest of a quantity counts, as long as the rig file states the same
# wiring. Values are in A for currents and in V for voltages.
`

// Path is where a rig file's calibrations lie: beside it.
func Path(rigFile string) string {
	return strings.TrimSuffix(rigFile, ".toml") + ".calibration.toml"
}

var format = strict.Format{Package: "calibrate", Thing: "calibration file"}

// Parse reads a calibration file. Each result is worked out again from its
// points, and one that does not follow from them is refused.
func Parse(data []byte, source string) (*File, error) {
	f := &File{}
	if err := format.Decode(data, source, f); err != nil {
		return nil, err
	}
	for i := range f.List {
		c := &f.List[i]
		var points []Point
		for _, p := range c.Points {
			points = append(points, Point(p))
		}
		var err error
		if c.line, err = Fit(points, c.Reference.Meter()); err != nil {
			return nil, fmt.Errorf("calibrate: %s: calibration %d: %w", source, i+1, err)
		}
		if got := resultOf(c.line); !near(got, c.Result) {
			return nil, fmt.Errorf("calibrate: %s: calibration %d states a gain of %.7g, but its points give %.7g: the file was changed after it was written; bring it back from a copy, or calibrate again", source, i+1, c.Result.Gain, got.Gain)
		}
	}
	return f, nil
}

// near allows for another machine's rounding.
func near(a, b fileLine) bool {
	ok := func(x, y, scale float64) bool { return math.Abs(x-y) <= 1e-6*math.Abs(scale) }
	return ok(a.Gain, b.Gain, a.Gain) && ok(a.GainU, b.GainU, a.GainU) && ok(a.Offset, b.Offset, a.OffsetU) && ok(a.OffsetU, b.OffsetU, a.OffsetU)
}

// Load reads the calibrations beside a rig file; none when there is no such
// file.
func Load(rigFile string) (*File, error) {
	path := Path(rigFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &File{Format: Format}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("calibrate: %w: check its permissions", err)
	}
	return Parse(data, path)
}

// Encode writes the file.
func (f *File) Encode() ([]byte, error) {
	data, err := strict.Encode(heading, "", f)
	if err != nil {
		return nil, fmt.Errorf("calibrate: the calibration cannot be written: %w", err)
	}
	if _, err := Parse(data, "calibration to be written"); err != nil {
		return nil, err
	}
	return data, nil
}

// Add puts a calibration at the end of the file beside a rig file; what stands
// there is kept. The file on the disk is the old one or the new one, never a
// half.
func Add(rigFile, name string, c *Calibration) error {
	path := Path(rigFile)
	tmp := path + ".new"
	// The new file is also the lock against a second program.
	out, err := os.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("calibrate: %s exists: another program is writing, or one died while it did; when none runs, remove that file", tmp)
	}
	if err != nil {
		return fmt.Errorf("calibrate: %w: the folder must be writable for who calibrates", err)
	}
	err = func() error {
		f, err := Load(rigFile)
		if err != nil {
			return err
		}
		f.Rig = name
		f.List = append(slices.Clone(f.List), *c)
		data, err := f.Encode()
		if err != nil {
			return err
		}
		if _, err := out.Write(data); err != nil {
			return err
		}
		return out.Sync()
	}()
	if err = errors.Join(err, out.Close()); err == nil {
		if err = os.Rename(tmp, path); err == nil {
			return syncFolder(filepath.Dir(path))
		}
	}
	return errors.Join(fmt.Errorf("calibrate: %s is not written: %w", path, err), os.Remove(tmp))
}

func syncFolder(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("calibrate: %w", err)
	}
	return errors.Join(f.Sync(), f.Close())
}
