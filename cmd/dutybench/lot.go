package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/kind"
	"dutybench/bench/lot"
	"dutybench/bench/rig"
)

// lotFlags are what a person says about a lot.
type lotFlags struct {
	runFlags
	tries    int
	faults   string // simulated, in turn
	summary  bool
	page     string
	explicit func(flag string) bool // the person gave it
}

func newLot(a *app) *cobra.Command {
	var f lotFlags
	c := &cobra.Command{
		Use:   "lot NAME",
		Short: "Test a pallet of returned cores, one after the other, and sort them",
		Long: `Lot tests one core after the other: scan or type a serial, the test runs, a
word that is read across the room says into which bin the unit goes, and the next
is asked for. A scanner that types a serial and Enter is all it needs: lot card
prints the control words as barcodes.

What a lot has come to follows from its records alone. lot NAME again goes on
where it stopped, after END or after a power cut, with the profile and settings
of its last record; what is given anew holds from then on. --summary tells what
it came to.

Bins: 1 good as it is; 2 control board good; 3 mechanics not found at fault, with
a mark where no test showed them turning; 4 no side known to be good; 5 to be
tested again; 6 doubtful. A unit that is undecided is tested once more after its
next step is done, and is doubtful if it is undecided again (--tries). A pass after a fail is doubtful, never good. A test that the bench
itself kept from deciding does not count; after two in a row the lot waits until
the bench is mended.

Exit status: 0 when the lot ended, whatever its units came to.`,
		Example: `  dutybench lot pallet-7 --profile aux-pump-60w --rig rig.toml --operator M.
  dutybench lot pallet-7
  dutybench lot pallet-7 --summary --page pallet-7.html
  dutybench lot card --complaint "no heat" --out card.html`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usage("name one lot, such as pallet-7; %d were given (lot list shows those that there are)", len(args))
			}
			return nil
		},
		RunE: a.do(func(c *cobra.Command, args []string) error {
			f.explicit = c.Flags().Changed
			return a.lot(c.Context(), args[0], f)
		}),
	}
	fl := c.Flags()
	fl.StringVar(&f.profile, "profile", defaultProfile, "`PROFILE` that the units are judged against, by name or file")
	fl.StringVar(&f.rig, "rig", rig.Sim, "`RIG`: a rig file, or sim for the built-in simulated rig")
	fl.BoolVar(&f.simulate, "simulate", false, "play the rig file's bench on a simulated board, in real time")
	fl.BoolVar(&f.attended, "attended", false, "your word that somebody stands by the supply for every test, for a bench without a hardware cut-off")
	fl.StringVar(&f.faults, "fault", "", "simulated faults for the units in turn, as `NAME[:SEVERITY],…`; none for a good one")
	fl.Uint64Var(&f.seed, "seed", 1, "`N` draws the first simulated unit, N+1 the second")
	fl.StringVar(&f.number, "part-number", "", "`NUMBER` of the part, for all units")
	fl.StringVar(&f.complaint, "complaint", "", "`WORDS` of complaint, for units of which no other is told")
	fl.StringVar(&f.revision, "revision", "", "`REVISION` of the part, for units of which no other is told")
	fl.StringVar(&f.code, "date-code", "", "`CODE` of the date of make, for units of which no other is told")
	fl.StringVar(&f.customer, "customer", "", "`NAME` of the customer")
	fl.StringVar(&f.contact, "customer-contact", "", "`WORDS` on how to reach the customer")
	fl.StringVar(&f.order, "order", "", "`NUMBER` of the job or order")
	fl.StringVar(&f.operator, "operator", "", "`NAME` of who runs the tests")
	fl.StringVar(&f.fixture, "fixture", "", "`WORDS` on what the units are mounted in")
	fl.StringVar(&f.fluid, "fluid", "", "`WORDS` on what they run in, such as water")
	fl.StringVar(&f.filling, "filling", "", "`WORDS` that name this filling of the loop")
	fl.BoolVar(&f.primed, "primed", false, "your word that the loop is primed, bled and open for every unit")
	fl.StringVar(&f.note, "note", "", "`WORDS` for every record")
	purposeFlag(c, &f.purpose)
	fl.BoolVar(&f.full, "full", false, "run the whole plan for every unit")
	fl.BoolVar(&f.inspect, "inspect", false, "ask for the inspection on a simulated rig too; a real one asks always")
	fl.StringVar(&f.inspection, "inspection", "", "`ANSWERS` that hold for every unit, such as seal=good,pins=good; a leak is asked for each time")
	fl.IntVar(&f.tries, "tries", lot.DefaultTries, "`N` undecided tests make a unit doubtful, 1 to 5")
	fl.BoolVar(&f.summary, "summary", false, "tell what the lot came to, and test nothing")
	fl.StringVar(&f.page, "page", "", "write the summary as a page to `FILE`, at the end or with --summary")
	fl.BoolVar(&f.json, "json", false, "print one JSON object a test, or the summary as one")
	textFlags(c, &f.width, &f.ascii)
	c.AddCommand(newLotList(a), newLotCard(a))
	return c
}

// check refuses what cannot be, before anything is opened.
func (f *lotFlags) check(name string) error {
	switch {
	case cleanSerial(name) != nil || strings.TrimSpace(name) == "":
		return usage("%q is no name for a lot: give up to %d letters, figures and signs", name, maxSerial)
	case f.tries < 1 || f.tries > lot.MaxTries:
		return usage("--tries %d: it is 1 to %d; more would let a unit at the edge pass by accident", f.tries, lot.MaxTries)
	case f.page == "-":
		return usage("--page - is not possible, standard output is for the results; give the page a file")
	}
	if f.page != "" {
		if err := writable(f.page); err != nil {
			return err
		}
	}
	if _, err := purposeOf(f.purpose); err != nil {
		return err
	}
	if err := checkTexts(f); err != nil {
		return err
	}
	return checkWidth(f.width)
}

// checkTexts refuses texts with control characters: they go into every record.
func checkTexts(f *lotFlags) error {
	for flag, text := range map[string]string{"complaint": f.complaint, "revision": f.revision, "date-code": f.code, "part-number": f.number,
		"operator": f.operator, "customer": f.customer, "customer-contact": f.contact, "order": f.order} {
		if text != "" && cleanText(text) != nil {
			return usage("--%s %q: %v", flag, text, cleanText(text))
		}
	}
	return nil
}

// defaults are what a lot is taken for where nobody says.
func (f *lotFlags) defaults() {
	f.pace = "fast"
	if f.purpose == "" {
		f.purpose = string(kind.Core)
	}
}

// checkFaults refuses faults that are none before the first unit is scanned.
func (f *lotFlags) checkFaults() error {
	p, _, err := loadProfile(f.profile)
	if err != nil {
		return err
	}
	for n := range strings.Count(f.faults, ",") + 1 {
		f.fault = f.faultOf(n)
		if _, _, err := parseFault(f.fault, p.Kind); err != nil {
			return err
		}
		if err := f.runFlags.check(); err != nil {
			return err
		}
	}
	f.fault = ""
	return nil
}

// faultOf is the simulated fault of the n-th unit, from 0.
func (f *lotFlags) faultOf(n int) string {
	if f.faults == "" {
		return ""
	}
	all := strings.Split(f.faults, ",")
	if s := strings.TrimSpace(all[n%len(all)]); s != "none" {
		return s
	}
	return ""
}

// plural is a count with its word.
func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
