package profiles

import (
	"math"

	"dutybench/profiles/strict"
)

// file is a profile as it stands in TOML. Tags say how each key is read,
// checked and written; see strict.
type file struct {
	Format       int      `toml:"format" comment:"version of this format"`
	Name         string   `toml:"name" comment:"small letters, digits and hyphens"`
	Revision     int      `toml:"revision" min:"1" comment:"raise it with every change"`
	Kind         string   `toml:"kind" comment:"names the kind's own section below"`
	Title        string   `toml:"title,omitempty"`
	PartRevision string   `toml:"part_revision,omitempty" comment:"revision of the part that this holds for"`
	Invented     bool     `toml:"invented,omitempty" comment:"no real unit stands behind it"`
	Notes        []string `toml:"notes,omitempty"`

	Command   fileCommand   `toml:"command" comment:"How the unit is told what to do. Duty is the command in percent; line duty is\nwhat is on the wire, the share of a period at high level."`
	Supply    fileSupply    `toml:"supply" comment:"The supply at the unit's terminals: what it is tested at, and the range in which\na test may run."`
	Limits    fileLimits    `toml:"limits" comment:"What the guard keeps. Anything beyond cuts the supply."`
	Section   any           `toml:"-" comment:"What only this kind of unit has."`
	Connector fileConnector `toml:"connector,omitempty" comment:"The unit's plug: what lies in each cavity, and the least wire for it."`
	Return    fileReturn    `toml:"return,omitempty" comment:"How the unit reports on itself."`
	Position  filePosition  `toml:"position,omitempty" comment:"How the unit tells where it stands."`
	Fixture   fileFixture   `toml:"fixture,omitempty" comment:"Where the good units were measured."`
	Learned   fileLearned   `toml:"learned,omitempty" comment:"How the good units' rows below came about."`
	Stated    []fileLimit   `toml:"limit,omitempty" comment:"Limits stated by hand; each replaces the one that good units would give."`
	Good      []fileGood    `toml:"good,omitempty" comment:"The good units: mean current at each duty of the grid, rising and falling, and\nwhat else they measured. A dash is one not measured."`
}

type fileCommand struct {
	Type      string      `toml:"type" oneof:"pwm|switched"`
	Frequency Hertz       `toml:"frequency" min:"0" max:"100000"`
	Tolerance Share       `toml:"tolerance" min:"0" max:"0.5" comment:"on the frequency, either way"`
	Inverted  bool        `toml:"inverted,omitempty" comment:"a higher line duty asks for less"`
	Drive     string      `toml:"drive,omitempty" oneof:"open-drain|push-pull"`
	PullUp    Ohm         `toml:"pull_up,omitempty" min:"0" max:"10000000" comment:"of the unit itself"`
	PullUpTo  Volt        `toml:"pull_up_voltage,omitempty" min:"0" max:"60" comment:"on the open wire at nominal supply"`
	Stop      Percent     `toml:"stop" min:"0" max:"100" comment:"duty at which it stands still"`
	Wake      Percent     `toml:"wake" min:"0" max:"100" comment:"duty from which it starts"`
	Full      Percent     `toml:"full" min:"0" max:"100" comment:"duty from which it runs at full"`
	Reserved  []Window    `toml:"reserved,omitempty" comment:"line duty that a test keeps out of, but to stop"`
	Law       []lawPoint  `toml:"law,omitempty" inline:"true" comment:"line duty and the command that it means, straight between these points"`
	Missing   fileMissing `toml:"missing,omitempty" comment:"What it does without a valid command: full, stop or hold. Left out: not known,\nand not tested. Open is a cut wire, low and high a wire stuck at that level."`
}

type lawPoint struct {
	Line    Percent `toml:"line" min:"0" max:"100"`
	Command Percent `toml:"command" min:"0" max:"100"`
}

type fileMissing struct {
	Open string `toml:"open,omitempty" oneof:"full|stop|hold"`
	Low  string `toml:"low,omitempty" oneof:"full|stop|hold"`
	High string `toml:"high,omitempty" oneof:"full|stop|hold"`
}

// Extra-low voltage only: 60 V is the usual bound for direct current that is
// safe to touch (common practice).
type fileSupply struct {
	Nominal Volt `toml:"nominal" above:"0" max:"60"`
	Low     Volt `toml:"low" above:"0" max:"60"`
	High    Volt `toml:"high" above:"0" max:"60"`
}

type fileLimits struct {
	Current      Ampere   `toml:"current" above:"0" max:"1000" comment:"not above this for longer than time"`
	Time         Seconds  `toml:"time" above:"0" max:"3600"`
	Peak         Ampere   `toml:"peak" above:"0" max:"1000" comment:"at no time above this, but for the charging peak"`
	Continuous   Ampere   `toml:"continuous,omitempty" min:"0" max:"1000" comment:"that it bears without end"`
	Heat         AmpereSq `toml:"heat,omitempty" min:"0" max:"1e9" comment:"that it may take beyond that: current squared less that of continuous, over time"`
	Stall        Ampere   `toml:"stall,omitempty" min:"0" max:"1000" comment:"not above this for longer than stall_time without motion"`
	StallTime    Seconds  `toml:"stall_time,omitempty" min:"0" max:"3600"`
	Charge       Coulomb  `toml:"charge,omitempty" min:"0" max:"100" comment:"that the charging peak at switch-on may take"`
	ChargeTime   Seconds  `toml:"charge_time,omitempty" min:"0" max:"10" comment:"and how long it may last"`
	DryRun       Seconds  `toml:"dry_run,omitempty" min:"0" max:"86400" comment:"longest run without water"`
	Rest         Seconds  `toml:"rest,omitempty" min:"0" max:"86400" comment:"between two tests"`
	StartTimeout Seconds  `toml:"start_timeout,omitempty" min:"0" max:"3600" comment:"longest wait for a start"`
}

type fileFixture struct {
	Type        string              `toml:"type" oneof:"loop|bucket|vice"`
	Bore        Millimetre          `toml:"bore,omitempty" min:"0" max:"1000"`
	Lift        Metre               `toml:"lift,omitempty" min:"-100" max:"100" comment:"from the unit up to the outlet"`
	Fluid       string              `toml:"fluid,omitempty"`
	Temperature strict.CelsiusRange `toml:"temperature,omitempty"`
	Remount     Share               `toml:"remount,omitempty" min:"0" max:"0.5" comment:"standard deviation of current from one mounting to the next, by a gauge study"`
	Description string              `toml:"description,omitempty"`
}

type fileLearned struct {
	On          string          `toml:"on,omitempty" comment:"year-month-day"`
	Units       int             `toml:"units" min:"0" max:"10000"`
	Provisional bool            `toml:"provisional,omitempty" comment:"too few units for firm limits"`
	Rate        Hertz           `toml:"rate,omitempty" min:"0" max:"1e9" comment:"lowest sampling rate"`
	Supply      Volt            `toml:"supply,omitempty" min:"0" max:"60" comment:"mean supply they ran at"`
	Rigs        []string        `toml:"rigs,omitempty" comment:"that measured them"`
	GainU       Share           `toml:"gain_uncertainty,omitempty" min:"0" max:"0.5" comment:"of their current, standard, the largest of them"`
	Days        int             `toml:"days,omitempty" min:"0" max:"10000" comment:"on which they were measured"`
	Fillings    int             `toml:"fillings,omitempty" min:"0" max:"10000" comment:"of the loop"`
	Parts       []string        `toml:"part_revisions,omitempty"`
	Own         strict.Values   `toml:"own,omitempty" comment:"standard uncertainty of one measurement, which the spread of the units holds"`
	Program     string          `toml:"program,omitempty"`
	Statement   []string        `toml:"statement,omitempty"`
	Grid        strict.Percents `toml:"grid,omitempty" min:"0" max:"100" comment:"duties of the currents below"`
}

type fileLimit struct {
	Finding string           `toml:"finding"`
	Low     *strict.Quantity `toml:"low,omitempty"`
	High    *strict.Quantity `toml:"high,omitempty"`
	Source  string           `toml:"source,omitempty"`
}

type fileGood struct {
	Unit   string         `toml:"unit"`
	Trace  string         `toml:"trace,omitempty"`
	Up     strict.Amperes `toml:"up,omitempty" min:"-1000" max:"1000"`
	Down   strict.Amperes `toml:"down,omitempty" min:"-1000" max:"1000"`
	Values strict.Values  `toml:"values,omitempty"`
}

// profile turns what was read into what the program uses.
func (f *file) profile() *Profile {
	c, l, x, n := f.Command, f.Limits, f.Fixture, f.Learned
	p := &Profile{
		Format: f.Format, Name: f.Name, Revision: f.Revision, Kind: f.Kind, Title: f.Title,
		PartRevision: f.PartRevision, Invented: f.Invented, Notes: f.Notes,
		Command: Command{
			Type: c.Type, Frequency_Hz: float64(c.Frequency), Tolerance: float64(c.Tolerance), Inverted: c.Inverted,
			Drive: c.Drive, PullUp_Ohm: float64(c.PullUp), PullUp_V: float64(c.PullUpTo),
			Stop_pct: float64(c.Stop), Wake_pct: float64(c.Wake), Full_pct: float64(c.Full),
			Reserved: c.Reserved, Missing: Missing(c.Missing),
		},
		Supply: Supply{float64(f.Supply.Nominal), float64(f.Supply.Low), float64(f.Supply.High)},
		Limits: Limits{
			Current_A: float64(l.Current), Time: l.Time.Duration(), Peak_A: float64(l.Peak),
			Continuous_A: float64(l.Continuous), Heat_A2s: float64(l.Heat), Stall_A: float64(l.Stall), StallTime: l.StallTime.Duration(),
			Charge_C: float64(l.Charge), ChargeTime: l.ChargeTime.Duration(), DryRun: l.DryRun.Duration(),
			Rest: l.Rest.Duration(), StartTimeout: l.StartTimeout.Duration(),
		},
		Fixture: Fixture{
			Type: x.Type, Bore_mm: float64(x.Bore), Lift_m: float64(x.Lift), Fluid: x.Fluid,
			LowTemp_C: x.Temperature.Low, HighTemp_C: x.Temperature.High, Remount: float64(x.Remount), Description: x.Description,
		},
		Learned: Learned{
			On: n.On, Units: n.Units, Provisional: n.Provisional, Rate_Hz: float64(n.Rate),
			Supply_V: float64(n.Supply), Rigs: n.Rigs, GainU: float64(n.GainU), Days: n.Days, Fillings: n.Fillings,
			PartRevisions: n.Parts, Own: valuesOf(n.Own), Program: n.Program, Statement: n.Statement,
		},
		Grid: n.Grid, Section: f.Section, Connector: f.Connector.connector(), Return: f.Return.held(), Position: f.Position.position(),
	}
	for _, q := range c.Law {
		p.Command.Law = append(p.Command.Law, LawPoint{float64(q.Line), float64(q.Command)})
	}
	for _, s := range f.Stated {
		limit := Limit{Finding: s.Finding, Low: math.NaN(), High: math.NaN(), Source: s.Source}
		if s.Low != nil {
			limit.Low, limit.Unit = s.Low.X, s.Low.Unit
		}
		if s.High != nil {
			limit.High, limit.Unit = s.High.X, s.High.Unit
		}
		p.Stated = append(p.Stated, limit)
	}
	for _, g := range f.Good {
		p.Good = append(p.Good, GoodUnit{Unit: g.Unit, Trace: g.Trace, Up: g.Up, Down: g.Down, Values: valuesOf(g.Values)})
	}
	return p
}

// fileOf is the reverse of profile.
func fileOf(p *Profile) *file {
	c, l, x, n := p.Command, p.Limits, p.Fixture, p.Learned
	f := &file{
		Format: Format, Name: p.Name, Revision: p.Revision, Kind: p.Kind, Title: p.Title,
		PartRevision: p.PartRevision, Invented: p.Invented, Notes: p.Notes,
		Command: fileCommand{
			Type: c.Type, Frequency: Hertz(c.Frequency_Hz), Tolerance: Share(c.Tolerance), Inverted: c.Inverted,
			Drive: c.Drive, PullUp: Ohm(c.PullUp_Ohm), PullUpTo: Volt(c.PullUp_V),
			Stop: Percent(c.Stop_pct), Wake: Percent(c.Wake_pct), Full: Percent(c.Full_pct),
			Reserved: c.Reserved, Missing: fileMissing(c.Missing),
		},
		Supply: fileSupply{Volt(p.Supply.Nominal_V), Volt(p.Supply.Low_V), Volt(p.Supply.High_V)},
		Limits: fileLimits{
			Current: Ampere(l.Current_A), Time: SecondsOf(l.Time), Peak: Ampere(l.Peak_A),
			Continuous: Ampere(l.Continuous_A), Heat: AmpereSq(l.Heat_A2s), Stall: Ampere(l.Stall_A), StallTime: SecondsOf(l.StallTime),
			Charge: Coulomb(l.Charge_C), ChargeTime: SecondsOf(l.ChargeTime), DryRun: SecondsOf(l.DryRun),
			Rest: SecondsOf(l.Rest), StartTimeout: SecondsOf(l.StartTimeout),
		},
		Section:   p.Section,
		Connector: fileConnectorOf(p.Connector), Return: fileReturnOf(p.Return), Position: filePositionOf(p.Position),
		Fixture: fileFixture{
			Type: x.Type, Bore: Millimetre(x.Bore_mm), Lift: Metre(x.Lift_m), Fluid: x.Fluid,
			Temperature: strict.CelsiusRange{Low: x.LowTemp_C, High: x.HighTemp_C}, Remount: Share(x.Remount), Description: x.Description,
		},
		Learned: fileLearned{
			On: n.On, Units: n.Units, Provisional: n.Provisional, Rate: Hertz(n.Rate_Hz),
			Supply: Volt(n.Supply_V), Rigs: n.Rigs, GainU: Share(n.GainU), Days: n.Days, Fillings: n.Fillings,
			Parts: n.PartRevisions, Own: valuesFor(n.Own), Program: n.Program, Statement: n.Statement, Grid: p.Grid,
		},
	}
	for _, q := range c.Law {
		f.Command.Law = append(f.Command.Law, lawPoint{Percent(q.Line_pct), Percent(q.Command_pct)})
	}
	for _, s := range p.Stated {
		limit := fileLimit{Finding: s.Finding, Source: s.Source}
		if !math.IsNaN(s.Low) {
			limit.Low = &strict.Quantity{X: s.Low, Unit: s.Unit}
		}
		if !math.IsNaN(s.High) {
			limit.High = &strict.Quantity{X: s.High, Unit: s.Unit}
		}
		f.Stated = append(f.Stated, limit)
	}
	for _, g := range p.Good {
		f.Good = append(f.Good, fileGood{Unit: g.Unit, Trace: g.Trace, Up: g.Up, Down: g.Down, Values: valuesFor(g.Values)})
	}
	return f
}
