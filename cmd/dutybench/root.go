package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
)

// Exit statuses beside those of a result.
const (
	exitError = 1
	exitUsage = 2
)

// usageError is a command line that says nothing the program could do.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

func usage(format string, args ...any) error {
	return &usageError{fmt.Sprintf(format, args...)}
}

// app is one call of the program.
type app struct {
	env
	store   string // --store
	started bool   // a command has begun: what fails now is no wrong usage
	status  int
	afterwards
}

// execute runs a command line and gives the exit status.
func execute(e env, args []string) (status int) {
	a := &app{env: e}
	defer func() {
		if p := recover(); p != nil {
			fmt.Fprintf(e.stderr, "dutybench: program error: %s; please report it with what follows\n%s", plot.Plain(fmt.Sprint(p)), debug.Stack())
			status = exitError
		}
	}()
	defer a.handOverAfter() // when all is told
	root := newRoot(a)
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(context.Background())
	if err == nil {
		return a.status
	}
	complain(e.stderr, err)
	var wrong *usageError
	if !a.started || errors.As(err, &wrong) {
		fmt.Fprintf(e.stderr, "Try %s --help.\n", cmd.CommandPath())
		return exitUsage
	}
	return exitError
}

// complain writes an error, one line for each of its lines. Errors quote files
// and databases from elsewhere, which must not steer the terminal.
func complain(w io.Writer, err error) {
	for line := range strings.Lines(plainly(err)) {
		fmt.Fprintln(w, "dutybench:", plot.Plain(strings.TrimRight(line, "\r\n")))
	}
}

// newRoot is the command tree.
func newRoot(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "dutybench",
		Short: "Test electric pumps and actuators that have a control board of their own",
		Long: `dutybench tests a unit on a bench and says whether it is good and, if not,
which side has failed: its control board, its mechanics, the hydraulics around
it, or the bench's own wiring.

Exit status: 0 pass; 3 fail; 4 undecided; 5 undecided because the bench or its
wiring is at fault; 1 error; 2 wrong usage. For several units the worst, in the
order 2, 1, 5, 3, 4, 0.

For units taken off the vehicle only, at 12 or 24 V DC. Not a safety device:
fuse and limit the supply, and keep clear of rotating parts and hot coolant.`,
		Example: "  dutybench run\n  dutybench judge --profile aux-pump-60w trace.csv",
		Version: version(), SilenceErrors: true, SilenceUsage: true,
	}
	root.SetVersionTemplate("{{.Version}}\n")
	root.SetIn(a.stdin)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	root.CompletionOptions.HiddenDefaultCmd = true
	root.PersistentFlags().StringVar(&a.store, "store", "", "`DIR` where records live, or postgres://… for many benches (default: DUTYBENCH_STORE, else your data directory)")
	group(root, a)
	root.AddCommand(newRun(a), newLot(a), newJudge(a), newProfiles(a), newRecords(a), newRig(a), newBench(a), newWorkshop(a), newListen(a), newGuard(a), newPinout(a), newVersion(a))
	return root
}

// group makes a command that only holds others: alone, or with a word that is
// none of them, it is wrong usage.
func group(c *cobra.Command, a *app) {
	c.Args = cobra.ArbitraryArgs
	c.SuggestionsMinimumDistance = 2
	c.RunE = func(c *cobra.Command, args []string) error {
		var names []string
		for _, sub := range c.Commands() {
			if sub.IsAvailableCommand() && sub.Name() != "help" {
				names = append(names, sub.Name())
			}
		}
		if len(args) == 0 {
			return usage("say what to do: %s", strings.Join(names, ", "))
		}
		if near := c.SuggestionsFor(args[0]); len(near) > 0 {
			return usage("there is no command %q; did you mean %s?", args[0], strings.Join(near, " or "))
		}
		return usage("there is no command %q; there are %s", args[0], strings.Join(names, ", "))
	}
}

// do marks that the command line was understood.
func (a *app) do(f func(*cobra.Command, []string) error) func(*cobra.Command, []string) error {
	return func(c *cobra.Command, args []string) error {
		a.started = true
		return f(c, args)
	}
}

// some wants at least one argument, and says what it is.
func some(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return usage("say which: give at least one %s", what)
		}
		return nil
	}
}

// one wants exactly one argument.
func one(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != 1 {
			return usage("give one %s; %d were given", what, len(args))
		}
		return nil
	}
}
