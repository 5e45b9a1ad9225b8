package main

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"dutybench/bench/calibrate"
	"dutybench/bench/kinds"
	"dutybench/bench/record"
	"dutybench/bench/rig"
	"dutybench/bench/run"
	"dutybench/bench/sim"
	"dutybench/profiles"
)

// rigFlags say which rig, and how it is opened.
type rigFlags struct {
	rig      string // "sim", or a rig file
	simulate bool   // play the rig file's bench on a simulated board, in real time
	attended bool   // a person stands by a bench without a hardware cut-off
	seed     uint64 // draws the simulated unit and chips
	fault    string // simulated, NAME[:SEVERITY]
	// What a simulated unit and test differ by from others of the same bench;
	// see kinds.Simulated. Zero: nothing.
	unitSeed, again, fillingSeed uint64
}

// openBench is an open rig with what it was made from.
type openBench struct {
	*rig.Rig
	description rig.Description
	board       rig.Board
	simulated   *sim.Bench         // nil on a machine
	armed       sim.Armed          // the fault that a simulated bench will have
	calibrated  *calibrate.Applied // nil on a simulated board
	files       []record.File      // the rig file's text and the calibration's, as they were
}

// openBench opens the rig that the flags name. On a simulated board the
// profile says which unit is in the socket; nil: none.
func (a *app) openBench(f rigFlags, p *profiles.Profile) (*openBench, error) {
	d, sum, err := readRigFile(f.rig)
	if err != nil {
		return nil, err
	}
	if p != nil && f.rig != rig.Sim {
		if err := errors.Join(suits(&d, p.Command.Drive), hears(&d, p), run.Bears(d.Name, d.Bench, p)); err != nil {
			return nil, err
		}
	}
	texts, err := rigTexts(f, sum)
	if err != nil {
		return nil, err
	}
	if f.rig == rig.Sim || f.simulate {
		b, err := a.openSimulated(f, d, sum, p)
		if err == nil {
			b.files = texts
		}
		return b, err
	}
	b, err := a.openMachine(f, d, sum, p)
	if err != nil {
		return nil, err
	}
	file, err := calibrate.Load(f.rig)
	if err != nil {
		return nil, errors.Join(err, b.Close())
	}
	b.calibrated, b.files = calibrate.Apply(b.Rig, &d, file), texts
	return b, nil
}

// hears refuses a unit that tells its position in another way than the rig reads.
// A rig that reads none at all is refused by the run.
func hears(d *rig.Description, p *profiles.Profile) error {
	if d.Position == nil || p.Position.By == "" {
		return nil
	}
	have := rig.PositionByVoltage
	if d.Position.Sense == nil {
		have = rig.PositionByPWM
	}
	if have == p.Position.By {
		return nil
	}
	return fmt.Errorf("a unit of profile %q tells its position by %s, and rig %s reads one by %s: wire the unit's output to an input that does, and state it as [position] in the rig file", p.Name, p.Position.By, d.Name, have)
}

// rigTexts are the texts of a rig file, whose SHA-256 is sum, and of the
// calibration beside it, for the record.
func rigTexts(f rigFlags, sum string) ([]record.File, error) {
	if f.rig == rig.Sim {
		return nil, nil
	}
	data, err := os.ReadFile(f.rig)
	if err != nil {
		return nil, fmt.Errorf("rig file %s cannot be read again for the record: %w", f.rig, err)
	}
	if fmt.Sprintf("%x", sha256.Sum256(data)) != sum {
		return nil, fmt.Errorf("rig file %s was changed while it was in use: start again", f.rig)
	}
	out := []record.File{{Name: record.RigFile, Data: data}}
	if f.simulate {
		return out, nil // a simulated board has no calibration
	}
	data, err = os.ReadFile(calibrate.Path(f.rig))
	if errors.Is(err, fs.ErrNotExist) {
		return out, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the calibration of %s cannot be read: %w: check its permissions", f.rig, err)
	}
	return append(out, record.File{Name: record.CalibrationFile, Data: data}), nil
}

// readRig reads a rig file; rig.Sim is built in.
func readRig(path string) (rig.Description, error) {
	d, _, err := readRigFile(path)
	return d, err
}

// readRigFile reads a rig file and gives the SHA-256 of its text.
func readRigFile(path string) (d rig.Description, sum string, err error) {
	if path == rig.Sim {
		return rig.Default(), "", nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return d, "", fmt.Errorf("rig file %s cannot be read: %w; give the path of one, or take the simulated one with --rig %s", path, err, rig.Sim)
	}
	d, err = rig.ParseFile(data, path)
	return d, fmt.Sprintf("%x", sha256.Sum256(data)), err
}

// unit_A is the highest current that a profile lets its unit take; 0: no profile.
func unit_A(p *profiles.Profile) float64 {
	if p == nil {
		return 0
	}
	return p.Limits.Current_A
}

// openSimulated opens a rig on a simulated board. The built-in one's time
// stands still between samples; that of a rig file keeps to real time.
func (a *app) openSimulated(f rigFlags, d rig.Description, sum string, p *profiles.Profile) (*openBench, error) {
	o := sim.Options{Seed: f.seed}
	if p != nil {
		fault, severity, err := parseFault(f.fault, p.Kind)
		if err != nil {
			return nil, err
		}
		if o, err = kinds.Bench(p, kinds.Simulated{Seed: f.seed, Unit: f.unitSeed, Again: f.again, Filling: f.fillingSeed, Fault: fault, Severity: severity}); err != nil {
			return nil, err
		}
	}
	if f.rig == rig.Sim {
		if p != nil {
			d = kinds.Wiring(p, &o)
		}
		b := sim.NewBench(o)
		r, err := rig.New(rig.Sim, b, d, rig.Options{Stands: true})
		if err != nil {
			return nil, err
		}
		return &openBench{Rig: r, description: d, board: b, simulated: b, armed: o.Fault}, nil
	}
	lines, err := a.simulatedLines(&d)
	if err != nil {
		return nil, err
	}
	b, built, err := simulatedBoard(d, o, lines.Lines)
	if err == nil {
		err = b.Unarmed
	}
	if err != nil {
		return nil, errors.Join(err, lines.remove())
	}
	sw, err := a.holdSwitch(&d, f.rig, sum, lines)
	if err != nil {
		return nil, errors.Join(err, lines.remove())
	}
	r, err := rig.New(d.Name, b, built, rig.Options{Switch: sw, Stated: &d, Unit_A: unit_A(p),
		Facts: append([]rig.Fact{{Key: "board", Value: "simulated, in real time"}, {Key: "cut-off", Value: d.CutOffWords()}}, sw.facts()...)})
	if err != nil {
		return nil, errors.Join(err, sw.let(), lines.remove())
	}
	release := r.Close
	r.Close = func() error { return errors.Join(release(), sw.let(), lines.remove()) }
	b.Pace()
	return &openBench{Rig: r, description: built, board: b, simulated: b, armed: o.Fault}, nil
}

// allowed refuses a bench that nothing cuts off, unless somebody stands by it.
func (f rigFlags) allowed(d *rig.Description) error {
	if f.rig == rig.Sim || f.simulate || f.attended || d.CutOff() {
		return nil
	}
	return usage("rig %s has nothing that cuts the supply when this computer hangs: fit a heartbeat relay and state it in the rig file (an alert that opens the switch at too much current counts too, but covers no hang at a usual current), or stand by the supply for the whole test and say so with --attended, each time", d.Name)
}

// openMachine opens a rig on this machine.
func (a *app) openMachine(f rigFlags, d rig.Description, sum string, p *profiles.Profile) (*openBench, error) {
	if f.fault != "" {
		return nil, usage("--fault is for simulated rigs only")
	}
	if err := f.allowed(&d); err != nil {
		return nil, err
	}
	board, err := rig.OpenHost()
	if err != nil {
		return nil, err
	}
	sw, err := a.holdSwitch(&d, f.rig, sum, nil)
	if err != nil {
		return nil, errors.Join(err, board.Close())
	}
	facts := []rig.Fact{{Key: "board", Value: board.String()}, {Key: "priority", Value: rig.Prioritise()}, {Key: "cut-off", Value: d.CutOffWords()}}
	facts = append(facts, sw.facts()...)
	if f.attended {
		facts = append(facts, rig.Fact{Key: "attended", Value: "a person stands by the supply"})
	}
	r, err := rig.New(d.Name, board, d, rig.Options{Switch: sw, Unit_A: unit_A(p), Facts: facts})
	if err != nil {
		return nil, errors.Join(err, sw.let(), board.Close())
	}
	release := r.Close
	r.Close = func() error { return errors.Join(release(), sw.let(), board.Close()) }
	return &openBench{Rig: r, description: d, board: board}, nil
}
