package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dutybench/bench/rig"
	"dutybench/bench/run"
	"dutybench/bench/sim"
	"dutybench/profiles"
	"dutybench/signal/trace"
	"dutybench/signal/wire"
)

// listenFlags are what a person says about one listening.
type listenFlags struct {
	rig, signal, trace, mapping, profile string
	simulate, returned, json, ascii      bool
	last                                 time.Duration
	filter                               time.Duration
	supply_V, open_V                     float64
	load                                 float64 // Ω
	unloaded_V                           float64
	seed                                 uint64
	width                                int
}

// heard is what a source has of a wire.
type heard struct {
	source string
	edges  *wire.Edges  // nil: no edge input
	levels *wire.Levels // nil: no converter
}

// source is something to listen with.
type source interface {
	Listen(ctx context.Context, d time.Duration) (heard, error)
	Close() error
}

func newListen(a *app) *cobra.Command {
	var f listenFlags
	names, words := sim.Signals()
	var invented strings.Builder
	for i, n := range names {
		fmt.Fprintf(&invented, "  %-12s %s\n", n, words[i])
	}
	c := &cobra.Command{
		Use:   "listen",
		Short: "Say what is on a signal wire",
		Long: `Listen says what is on a signal wire: low and high level, frequency, duty with
its jitter, the mean as a meter would show it, and what that is: driven PWM, a
pull-up only, stuck low, floating, or no PWM at all: a bus.

It drives nothing: the bench's supply is off and its line released. Listen
through the rig's high-impedance, fused, isolated input, at an unplugged
connector, and never on a restraint, ignition or high-voltage circuit. Leave a
bus alone.

Without a rig file it listens to an invented signal on a simulated bench:
` + invented.String(),
		Example: `  dutybench listen --signal pwm
  dutybench listen --rig bench.toml --for 5s --supply 12.6
  dutybench listen --rig bench.toml --profile aux-pump-60w
  dutybench listen --trace recorded.csv --json`,
		Args: cobra.NoArgs,
		RunE: a.do(func(c *cobra.Command, _ []string) error { return a.listen(c.Context(), f) }),
	}
	fl := c.Flags()
	fl.StringVar(&f.rig, "rig", rig.Sim, "`FILE` that describes the rig, or sim")
	fl.BoolVar(&f.simulate, "simulate", false, "play the rig file's bench on a simulated board")
	fl.StringVar(&f.signal, "signal", "", "`NAME` of the invented signal on a simulated bench (default pwm)")
	fl.Uint64Var(&f.seed, "seed", 1, "`N` draws the invented signal")
	fl.DurationVar(&f.last, "for", 2*time.Second, "`TIME` to listen, edges first and then levels, such as 500ms or 10s")
	fl.StringVar(&f.profile, "profile", "", "`PROFILE` by name or file: say what its unit would make of the signal")
	fl.BoolVar(&f.returned, "return", false, "the wire is the unit's return signal: read it by the profile's table")
	fl.StringVar(&f.trace, "trace", "", "read line_V of a recorded trace in `FILE` instead of a rig")
	fl.StringVar(&f.mapping, "map", "", "`FILE` that says how to read a foreign recording")
	fl.DurationVar(&f.filter, "filter", 0, "`TIME` constant of the low-pass that the recording was made through")
	fl.Float64Var(&f.supply_V, "supply", 0, "`VOLT` that the other end of the wire runs on")
	fl.Float64Var(&f.open_V, "open", 0, "`VOLT` that the input shows with nothing connected")
	fl.Float64Var(&f.load, "load", 0, "load test: `OHM` of a resistor that now lies from the wire to ground")
	fl.Float64Var(&f.unloaded_V, "unloaded", 0, "load test: `VOLT` that the wire had without it")
	fl.BoolVar(&f.json, "json", false, "print the reading as one JSON object")
	textFlags(c, &f.width, &f.ascii)
	return c
}

func (f *listenFlags) check() error {
	switch {
	case f.last < time.Millisecond || f.last > 10*time.Minute:
		return usage("--for %v: give 1ms to 10m", f.last)
	case f.trace != "" && (f.rig != rig.Sim || f.simulate || f.signal != ""):
		return usage("--trace reads a recording: leave --rig, --simulate and --signal out")
	case f.trace == "" && (f.mapping != "" || f.filter != 0):
		return usage("--map and --filter are for a recording: name it with --trace")
	case f.filter < 0:
		return usage("--filter %v: a time constant is not below zero", f.filter)
	case f.rig == rig.Sim && f.simulate:
		return usage("--simulate is for a rig file: name it with --rig")
	case f.signal != "" && f.rig != rig.Sim && !f.simulate:
		return usage("--signal is invented and for a simulated bench: leave it out, or add --simulate")
	case f.returned && f.profile == "":
		return usage("--return needs the table of a profile: name it with --profile")
	case (f.load != 0) != (f.unloaded_V != 0):
		return usage("--load and --unloaded belong together: first listen without the resistor, then with it")
	case !(f.load >= 0 && f.unloaded_V >= 0 && f.supply_V >= 0 && f.open_V >= 0) || math.IsInf(f.load+f.unloaded_V+f.supply_V+f.open_V, 0):
		return usage("--load, --unloaded, --supply and --open are numbers, not below zero")
	case f.supply_V > 60 || f.unloaded_V > 60:
		return usage("extra-low voltage only: --supply and --unloaded are at most 60 V; do not listen on this wire")
	}
	return checkWidth(f.width)
}

func (a *app) listen(ctx context.Context, f listenFlags) error {
	if err := f.check(); err != nil {
		return err
	}
	var p *profiles.Profile
	if f.profile != "" {
		var err error
		if p, _, err = loadProfile(f.profile); err != nil {
			return err
		}
		if f.returned && run.ReturnTable(p) == nil {
			return usage("profile %s has no [return] table: leave --return out, or add what the type's sheet states", p.Name)
		}
	}
	s, err := a.listenSource(&f)
	if err != nil {
		return err
	}
	ctx, stop := a.interrupt(ctx)
	defer stop()
	h, err := s.Listen(ctx, f.last)
	if err = errors.Join(err, s.Close()); err != nil {
		return err
	}
	r, err := f.reading(h, p)
	if err != nil {
		return err
	}
	r.simulated = f.simulatedWords()
	if f.json {
		if r.simulated != "" {
			fmt.Fprintln(a.stderr, r.simulated)
		}
		return writeJSON(a.stdout, r.object())
	}
	if _, err := a.stdout.Write([]byte(r.text(a.textOptions(f.width, f.ascii)))); err != nil {
		return fmt.Errorf("writing the reading: %w", err)
	}
	return nil
}

// listened is a reading with what a profile says to it.
type listened struct {
	heard
	wire.Reading
	// simulated says so where the signal is invented; empty where it is not.
	simulated string
	note      string   // on who was driven
	to        []string // what the profile's unit would make of it
	told      []wire.Told
	by        *wire.Table
}

// reading turns what was heard into words.
func (f *listenFlags) reading(h heard, p *profiles.Profile) (listened, error) {
	l := listened{heard: h, note: "Nothing was driven: the bench's supply is off and its line released."}
	if f.trace != "" {
		l.note = ""
	}
	s := wire.Surroundings{Supply_V: f.supply_V, Open: f.open_V > 0, Open_V: f.open_V}
	var err error
	if f.load > 0 {
		if h.levels == nil {
			return l, usage("--load: a load test needs levels, and this rig's listening input has none")
		}
		first, err := wire.Read(nil, h.levels, wire.Surroundings{})
		if err != nil {
			return l, err
		}
		s.Load = &wire.Load{Ohm: f.load, Without: f.unloaded_V, With: first.Mean_V.Value, U_V: first.Mean_V.U()}
	}
	if l.Reading, err = wire.Read(h.edges, h.levels, s); err != nil {
		return l, err
	}
	if p == nil {
		return l, nil
	}
	if !f.returned {
		l.to = against(l.Reading, p)
		return l, nil
	}
	l.by = run.ReturnTable(p)
	e := h.edges
	if e == nil {
		if e = h.levels.Edges(); e == nil {
			l.to = append(l.to, "The return signal cannot be read: no edge was heard and the level has no two values.")
			return l, nil
		}
	}
	l.told, err = l.by.Decode(e)
	return l, err
}

// against says what a unit of the profile would make of the signal.
func against(r wire.Reading, p *profiles.Profile) []string {
	c := p.Command
	if r.Kind != wire.PWM {
		return []string{fmt.Sprintf("A unit of profile %s is commanded by PWM of %g Hz; this is none.", p.Name, c.Frequency_Hz)}
	}
	var out []string
	half, _ := r.Frequency_Hz.Expanded(0.95)
	off := math.Abs(r.Frequency_Hz.Value/c.Frequency_Hz - 1)
	switch {
	case off+half/c.Frequency_Hz <= c.Tolerance:
		out = append(out, fmt.Sprintf("The frequency is the one that profile %s states, %g Hz ± %.3g %%.", p.Name, c.Frequency_Hz, 100*c.Tolerance))
	case off-half/c.Frequency_Hz > c.Tolerance:
		out = append(out, fmt.Sprintf("The frequency lies outside what profile %s states, %g Hz ± %.3g %%: a unit of this type may not take it as a command.", p.Name, c.Frequency_Hz, 100*c.Tolerance))
	default:
		out = append(out, fmt.Sprintf("The frequency is too close to the end of what profile %s states, %g Hz ± %.3g %%, to tell.", p.Name, c.Frequency_Hz, 100*c.Tolerance))
	}
	if r.DutyChanges() {
		asks := []float64{c.CommandOf(r.DutyLow_pct), c.CommandOf(r.DutyHigh_pct)}
		return append(out, fmt.Sprintf("A line duty of %.3g to %.3g %% asks a unit of this type for %.3g to %.3g %%, reserved windows aside.", r.DutyLow_pct, r.DutyHigh_pct, asks[0], asks[1]))
	}
	d := r.Duty_pct.Value
	if c.Reserves(d) {
		return append(out, fmt.Sprintf("A line duty of %.3g %% lies in a reserved window of this type.", d))
	}
	return append(out, fmt.Sprintf("A line duty of %.3g %% asks a unit of this type for %.3g %%.", d, c.CommandOf(d)))
}

// listenSource opens what the flags name.
func (a *app) listenSource(f *listenFlags) (source, error) {
	if f.trace != "" {
		m, err := readMapping(f.mapping)
		if err != nil {
			return nil, err
		}
		kept := &recordTraces{app: a}
		defer kept.done()
		t, err := kept.read(new(trace.Reader), f.trace, m, a.stdin)
		if err != nil {
			return nil, err
		}
		return &recording{t, f.filter}, nil
	}
	d, err := readRig(f.rig)
	if err != nil {
		return nil, err
	}
	var board rig.Board
	let := func() error { return nil }
	switch {
	case f.rig != rig.Sim && !f.simulate:
		host, err := rig.OpenHost()
		if err != nil {
			return nil, err
		}
		board, let = host, host.Close
	default:
		name := f.signal
		if name == "" {
			name = "pwm"
		}
		s, err := sim.NewSignal(name, f.seed)
		if err != nil {
			return nil, usage("--signal: %v", err)
		}
		o := sim.Options{Seed: f.seed, Signal: s}
		if f.rig == rig.Sim {
			d.Listen = &rig.Listen{Pin: "LISTEN", Sense: d.LineLevel}
		}
		// The simulated bench has one sense wire for both.
		if d.Listen != nil && d.Listen.Sense != nil {
			d.LineLevel = nil
		}
		if f.rig == rig.Sim {
			board = sim.NewBench(o)
		} else {
			if board, d, err = simulatedBoard(d, o, nil); err != nil {
				return nil, err
			}
			if l := d.Listen; l != nil { // the simulated pin follows the wire
				d.Listen = &rig.Listen{Pin: l.Pin, Sense: l.Sense}
			}
		}
	}
	ear, err := rig.OpenEar(board, &d)
	if err != nil {
		return nil, errors.Join(err, let())
	}
	fmt.Fprintf(a.stderr, "Listening for %s. Nothing is driven: the bench's supply is off, its line released.\n", duration(f.last))
	return &earSource{ear, d.Name, let}, nil
}

// earSource listens with a rig's input: edges first, then levels, as one
// goroutine owns the rig.
type earSource struct {
	*rig.Ear
	name string
	let  func() error
}

func (s *earSource) Close() error { return errors.Join(s.Ear.Close(), s.let()) }

func (s *earSource) Listen(ctx context.Context, d time.Duration) (heard, error) {
	h := heard{source: "rig " + s.name}
	edges, levels := s.Hears()
	if edges {
		r, err := s.Edges(ctx, d)
		if err != nil {
			return h, err
		}
		h.edges = edgesOf(r)
	}
	if levels {
		r, err := s.Levels(ctx, d)
		if err != nil {
			return h, err
		}
		if len(r.V) > 0 {
			h.levels = levelsOf(r)
		}
	}
	if h.edges == nil && h.levels == nil {
		return h, errors.New("stopped before anything was heard")
	}
	return h, nil
}

// clockU is the relative standard uncertainty of a board's clock. Chosen: a
// usual crystal is within 100 ppm (common practice, no source).
const clockU = 100e-6 / 1.7320508

// comparatorSkew_s is the largest difference between a comparator's or an
// optocoupler's delays at rising and falling edges. Chosen: a usual
// optocoupler with a resistor of a few kilohm is off some microseconds later
// than on (common practice, no source).
const comparatorSkew_s = 10e-6

func edgesOf(r rig.EdgeRecord) *wire.Edges {
	e := &wire.Edges{Start_s: r.Start.Seconds(), End_s: r.End.Seconds(), StartHigh: r.StartHigh, High: r.High,
		Resolution_s: r.Resolution.Seconds(), Skew_s: comparatorSkew_s, Clock: clockU, At_s: make([]float64, len(r.At))}
	for i, t := range r.At {
		e.At_s[i] = t.Seconds()
	}
	return e
}

func levelsOf(r rig.LevelRecord) *wire.Levels {
	l := &wire.Levels{V: r.V, Filter_s: r.Filter.Seconds(), Aperture_s: r.Aperture.Seconds(), Step_V: r.Step_V, Gain: r.Gain, Offset_V: r.Offset_V,
		Clock: clockU, At_s: make([]float64, len(r.At))}
	for i, t := range r.At {
		l.At_s[i] = t.Seconds()
	}
	return l
}

// recording is a trace's line level.
type recording struct {
	t      *trace.Trace
	filter time.Duration
}

func (s *recording) Close() error { return nil }

func (s *recording) Listen(context.Context, time.Duration) (heard, error) {
	h := heard{source: s.t.Source}
	v, at := s.t.Values(trace.ColLine), s.t.Time()
	l := &wire.Levels{Filter_s: s.filter.Seconds()}
	if s.filter == 0 && slices.ContainsFunc(s.t.Meta, func(e trace.Entry) bool { return e.Key == trace.KeyRig }) {
		l.Filter_s = rig.MeanFilter.Seconds() // a bench's own trace
	}
	for i, x := range v {
		if !math.IsNaN(x) {
			l.At_s, l.V = append(l.At_s, at[i]), append(l.V, x)
		}
	}
	if len(l.V) == 0 {
		return h, fmt.Errorf("%s: there is no level in a column %s: name the column with a mapping (--map)", s.t.Source, trace.ColLine)
	}
	// The smallest step between two values is the converter's only where there
	// are many: two levels tell nothing of it.
	if c := s.t.Column(trace.ColLine); c != nil && c.Resolution < 0.05 {
		l.Step_V = c.Resolution
	}
	h.levels = l
	return h, nil
}
