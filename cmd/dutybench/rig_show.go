package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"dutybench/bench/rig"
)

func newRigShow(a *app) *cobra.Command {
	var path, svg string
	c := &cobra.Command{
		Use:   "show [FILE]",
		Short: "Draw a rig file's wiring, and list which wire goes where",
		Long: `Show reads a rig file and lists its wires: from where to where, what for, which
colour would do, and how thick. --svg draws them. Nothing is opened or switched.`,
		Example: `  dutybench rig show bench.toml
  dutybench rig show bench.toml --svg bench.svg`,
		Args: cobra.MaximumNArgs(1),
		RunE: a.do(func(_ *cobra.Command, args []string) error {
			file, err := rigArgument(path, args)
			if err != nil {
				return err
			}
			return a.rigShow(file, svg)
		}),
	}
	c.Flags().StringVar(&path, "rig", "", "`FILE` that describes the rig, instead of the argument")
	c.Flags().StringVar(&svg, "svg", "", "draw the wiring to `FILE`, - for standard output alone")
	return c
}

// rigArgument is the rig file named by argument or flag; the simulated rig
// when nobody names one.
func rigArgument(flag string, args []string) (string, error) {
	switch {
	case flag != "" && len(args) > 0:
		return "", usage("name the rig file once: as an argument or with --rig")
	case len(args) > 0:
		return args[0], nil
	case flag != "":
		return flag, nil
	}
	return rig.Sim, nil
}

func (a *app) rigShow(path, svg string) error {
	d, err := readRig(path)
	if err != nil {
		return err
	}
	if svg != "" {
		var b bytes.Buffer
		if err := d.Drawing(&b); err != nil {
			return err
		}
		if svg == "-" {
			_, err := a.stdout.Write(b.Bytes())
			return err
		}
		if err := writeFile(svg, b.Bytes()); err != nil {
			return err
		}
	}
	_, err = io.WriteString(a.stdout, wireTable(&d))
	return err
}

// wireTable lists a rig's wires.
func wireTable(d *rig.Description) string {
	rows := [][]string{{"from", "to", "for", "colour", "mm²", "mind"}}
	drop := 0.0
	for _, w := range d.Wires() {
		section := "thin"
		if w.Section_mm2 > 0 {
			section = fmt.Sprintf("%g", w.Section_mm2)
			drop = max(drop, w.Drop_V())
		}
		rows = append(rows, []string{w.From, w.To, w.Role.String(), w.Role.Colour(), section, w.Note})
	}
	var b strings.Builder
	name := d.Title
	if name == "" {
		name = d.Name
	}
	fmt.Fprintf(&b, "%s (%s)\n\n", name, d.Name)
	columns(&b, rows)
	fmt.Fprintf(&b, "\nA metre of the thick wire, there and back, takes %.2g V at %g A (copper at 20 °C, IEC 60028).\n", drop, d.Bench.Current_A)
	for _, l := range rig.Cautions {
		b.WriteString(l + "\n")
	}
	return b.String()
}

// columns writes rows with their columns below each other.
func columns(b *strings.Builder, rows [][]string) {
	width := make([]int, len(rows[0]))
	for _, r := range rows {
		for i, c := range r {
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	for _, r := range rows {
		line := ""
		for i, c := range r {
			line += c + strings.Repeat(" ", width[i]-utf8.RuneCountInString(c)+2)
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}
