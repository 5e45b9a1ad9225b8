package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"periph.io/x/conn/v3/gpio"

	"dutybench/bench/rig"
	"dutybench/bench/run"
)

// checkFlags are what a person says about one check.
type checkFlags struct {
	rigFlags
	profile              string
	yes, noStop, noClose bool
	json                 bool
	seconds              float64
}

func newRigCheck(a *app) *cobra.Command {
	var f checkFlags
	c := &cobra.Command{
		Use:   "check [FILE]",
		Short: "Look whether a rig file's bench is ready for a test",
		Long: `Check looks for everything that a rig file names and says what is missing and
what to do: buses, pins, converters and what they say they are, the kernel's
PWM. With the supply off it measures noise, zero, the real sample rate and lost
samples. Then it closes each contact of the supply switch for less than a second,
with nothing in the socket, and proves by measurement that off is off; and it
asks for the stop input to be pressed.

It asks first whether the socket is empty; --yes is your word for that. Where
nobody can be asked it leaves both out and says so.

Exit status: 0 ready, perhaps with something to know; 5 something is missing or
wrong; 1 error.

--simulate plays the bench on a simulated board, or tries a built-in one when no
file is named.`,
		Example: `  dutybench rig check bench.toml
  dutybench rig check bench.toml --profile aux-pump-60w
  dutybench rig check bench.toml --yes --no-stop --json`,
		Args: cobra.MaximumNArgs(1),
		RunE: a.do(func(c *cobra.Command, args []string) error {
			var err error
			if f.rig == "" && len(args) == 0 && !f.simulate {
				return usage("name the rig file, or give --simulate to try it")
			}
			if f.rig, err = rigArgument(f.rig, args); err != nil {
				return err
			}
			if !(f.seconds >= 0.1 && f.seconds <= 600) {
				return usage("--seconds %g: give 0.1 to 600", f.seconds)
			}
			return a.rigCheck(c.Context(), f)
		}),
	}
	fl := c.Flags()
	fl.StringVar(&f.rig, "rig", "", "`FILE` that describes the rig, instead of the argument")
	fl.BoolVar(&f.simulate, "simulate", false, "play the rig file's bench on a simulated board, in real time")
	fl.Uint64Var(&f.seed, "seed", 1, "`N` draws the simulated bench")
	fl.StringVar(&f.profile, "profile", "", "`PROFILE` whose peak the shunt must not clip")
	fl.BoolVar(&f.yes, "yes", false, "your word that the socket is empty: do not ask")
	fl.BoolVar(&f.noStop, "no-stop", false, "leave out pressing the stop input")
	fl.BoolVar(&f.noClose, "no-close", false, "leave out closing the supply switch")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a line")
	fl.Float64Var(&f.seconds, "seconds", 2, "measure the floor for `S` seconds")
	return c
}

func (a *app) rigCheck(ctx context.Context, f checkFlags) error {
	d, err := readRig(f.rig)
	if err != nil {
		return err
	}
	k := &check{app: a, f: f, relay: d.LookRelay()}
	onBench := f.rig != rig.Sim && !f.simulate
	k.head(&d, onBench)
	if f.profile != "" {
		p, _, err := loadProfile(f.profile)
		if err != nil {
			return err
		}
		k.add(d.LookPeak(p.Name, p.Limits.Peak_A))
		if f.rig != rig.Sim { // the built-in one is wired to each profile
			k.add(lookUnit(&d, p)...)
		}
		if err := run.Bears(d.Name, d.Bench, p); err != nil && f.rig != rig.Sim {
			k.add(rig.LookAt("bench's limits", "", err))
		}
		if err := suits(&d, p.Command.Drive); err != nil && f.rig != rig.Sim {
			k.add(rig.Look{What: "line's driver", State: rig.Missing, Found: err.Error(), Next: "Change the driver, or test that unit on another bench."})
		}
	}
	if onBench {
		if err := k.parts(&d); err != nil {
			return err
		}
	}
	if !k.missing {
		// A bench without a cut-off may be checked: nothing is in the socket.
		f.attended = true
		b, err := a.openBench(f.rigFlags, nil)
		if err != nil {
			k.add(rig.LookAt("rig", "", err))
		} else if err := k.measure(ctx, b, onBench); errors.Is(err, context.Canceled) {
			if err := b.Close(); err != nil {
				k.add(rig.LookAt("rig", "", err))
			}
			return k.stopped()
		} else if err := errors.Join(err, b.Close()); err != nil {
			k.add(rig.LookAt("rig", "", err))
		}
	}
	if k.relay != nil {
		k.add(*k.relay)
	}
	return k.end()
}

// check is one check under way.
type check struct {
	*app
	f         checkFlags
	attention int
	missing   bool
	relay     *rig.Look // what to say of the heartbeat's relay while it is not measured
	failed    error     // of printing
}

// head says which bench this is.
func (k *check) head(d *rig.Description, onBench bool) {
	what, name := "bench", d.Name
	if d.Title != "" {
		name += ", " + d.Title
	}
	if !onBench {
		what = "simulated board"
	}
	if k.f.json {
		k.add(rig.Look{What: what, State: rig.OK, Found: name})
		return
	}
	_, k.failed = fmt.Fprintf(k.stdout, "%s: %s\n\n", strings.ToUpper(what[:1])+what[1:], name)
}

// add prints what was found, as it comes.
func (k *check) add(list ...rig.Look) {
	for _, l := range list {
		k.missing = k.missing || l.State == rig.Missing
		if l.State == rig.Attention {
			k.attention++
		}
		if l.IsCutOff() {
			k.relay = nil
		}
		k.print(l)
	}
}

func (k *check) print(l rig.Look) {
	var b strings.Builder
	if k.f.json {
		line, err := json.Marshal(l)
		if err != nil && k.failed == nil {
			k.failed = fmt.Errorf("rig check: %w", err)
		}
		b.Write(append(line, '\n'))
	} else {
		width, terminal := k.isTerminal(k.stdout)
		if !terminal || width < 60 {
			width = textWidth
		}
		fill(&b, fmt.Sprintf("%-9s %s", l.State, l.What), l.Found, checkColumn, width)
		if l.Next != "" {
			fill(&b, "", "→ "+l.Next, checkColumn, width)
		}
	}
	if _, err := k.stdout.Write([]byte(b.String())); k.failed == nil {
		k.failed = err
	}
}

// parts looks at this machine, and at each part of the bench alone.
func (k *check) parts(d *rig.Description) error {
	board, err := rig.OpenHost()
	if err != nil {
		return err
	}
	k.add(rig.Look{What: "computer", State: rig.OK, Found: board.String()})
	k.add(d.Looks(board.Tree())...)
	k.add(rig.TryParts(board, d)...)
	return board.Close()
}

// measure looks at the open rig.
func (k *check) measure(ctx context.Context, b *openBench, onBench bool) error {
	ctx, stop := k.interrupt(ctx)
	defer stop()
	d := &b.description
	if !onBench {
		k.add(d.Looks(b.board.Tree())...)
	}
	for _, fact := range b.Facts {
		if fact.Key == "priority" && strings.HasPrefix(fact.Value, "usual") {
			k.add(rig.Look{What: "priority", State: rig.Attention, Found: fact.Value, Next: "Allow it as said, where samples are lost."})
		}
	}
	floor, err := b.MeasureFloor(d, time.Duration(k.f.seconds*float64(time.Second)))
	if err != nil {
		return err
	}
	k.add(floor.Looks(d)...)
	if ctx.Err() != nil {
		return context.Canceled
	}
	if floor.Supply_V < 0.5 || floor.Supply_V != floor.Supply_V {
		if err := k.close(ctx, b, floor.Zero_A); err != nil {
			return err
		}
	}
	if d.Stop != nil {
		return k.press(ctx, b)
	}
	return nil
}

// close proves the contacts, when the socket is empty by somebody's word. The
// built-in rig's is.
func (k *check) close(ctx context.Context, b *openBench, zero_A float64) error {
	const what = "supply switch, closed"
	_, terminal := k.isTerminal(k.stdin)
	sure := k.f.yes || k.f.rig == rig.Sim || k.f.simulate
	switch {
	case k.f.noClose:
		k.add(rig.Look{What: what, State: rig.Attention, Found: "not looked at", Next: "Check again without --no-close, the socket empty."})
		return nil
	case !sure && !terminal:
		k.add(rig.Look{What: what, State: rig.Attention, Found: "not looked at: nobody could be asked whether the socket is empty", Next: "Take the unit out and give --yes."})
		return nil
	case !sure:
		if k.ask(ctx, "Each contact of the supply switch will be closed for less than a second. Is the socket empty? y or n: ") != "y" {
			if ctx.Err() != nil {
				return context.Canceled
			}
			k.add(rig.Look{What: what, State: rig.Attention, Found: "not looked at: the socket is not empty", Next: "Take the unit out and check again."})
			return nil
		}
	}
	list, err := b.Prove(&b.description, zero_A)
	k.add(list...)
	if err == nil && ctx.Err() != nil {
		err = context.Canceled
	}
	return err
}

// press asks for the stop input; the simulator presses its own.
func (k *check) press(ctx context.Context, b *openBench) error {
	const what = "stop input, pressed"
	if b.Stop.Read() == gpio.Low {
		k.add(rig.Look{What: "stop input", State: rig.Missing, Found: "it reads pressed", Next: "Release it, or check its wire and active in the rig file."})
		return nil
	}
	if s := b.simulated; s != nil && !k.f.noStop {
		s.Stop.Pressed = true
		seen := b.Stop.Read() == gpio.Low
		s.Stop.Pressed = false
		l := rig.Look{What: what, State: rig.OK, Found: "it is seen; the simulator pressed it"}
		if !seen {
			l = rig.Look{What: what, State: rig.Missing, Found: "the simulator pressed it, and nothing came", Next: "Report this with the rig file: it is this program's error."}
		}
		k.add(l)
		return nil
	}
	_, terminal := k.isTerminal(k.stdin)
	if k.f.noStop || !terminal {
		k.add(rig.Look{What: what, State: rig.Attention, Found: "released; pressing it was left out", Next: "Check again at a terminal, without --no-stop."})
		return nil
	}
	const long = 15 * time.Second
	fmt.Fprintf(k.stderr, "Press the stop input within %v …\n", long)
	end := k.now().Add(long)
	for b.Stop.Read() != gpio.Low {
		if ctx.Err() != nil {
			return context.Canceled
		}
		if k.now().After(end) {
			k.add(rig.Look{What: what, State: rig.Missing, Found: "nothing came", Next: "Check its wire and pin: until it works nobody can stop a test with it."})
			return nil
		}
		k.sleep(5 * time.Millisecond)
	}
	fmt.Fprintln(k.stderr, "Pressed. Release it.")
	k.add(rig.Look{What: what, State: rig.OK, Found: "it is seen"})
	return nil
}

// ask puts a question on standard error; the answer is empty when there is
// none, or the person or the system ends the program.
func (k *check) ask(ctx context.Context, question string) string {
	fmt.Fprint(k.stderr, question)
	select {
	case answer := <-readKeys(k.stdin):
		return answer
	case <-ctx.Done():
		return ""
	}
}

// end says what it came to and sets the exit status.
func (k *check) end() error {
	if k.missing {
		k.status = exitBench
	}
	if k.f.json || k.failed != nil {
		return k.failed
	}
	words := "\nReady.\n"
	switch {
	case k.missing:
		words = "\nNot ready: do what is missing, then check again.\n"
	case k.attention > 0:
		words = fmt.Sprintf("\nReady, with %d to know.\n", k.attention)
	}
	_, err := fmt.Fprint(k.stdout, words)
	return err
}

// stopped ends a check that somebody stopped.
func (k *check) stopped() error {
	k.status = exitError
	fmt.Fprintln(k.stderr, "Stopped by you; the supply is off. Nothing is said about what was not looked at.")
	return k.failed
}

// exitBench is a bench that is not ready, as a verdict's is that it spoilt.
const exitBench = 5

// checkColumn is where words begin beside what was looked at.
const checkColumn = 43
