package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"dutybench/profiles"
)

// profileEntry is a built-in profile in a list, for scripts.
type profileEntry struct {
	Name        string  `json:"name"`
	Kind        string  `json:"kind"`
	Title       string  `json:"title"`
	Revision    int     `json:"revision"`
	SHA256      string  `json:"sha256"`
	Nominal_V   float64 `json:"supply_nominal_V"`
	Units       int     `json:"units"`
	Provisional bool    `json:"provisional"`
	Invented    bool    `json:"invented"`
}

func newProfilesList(a *app) *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use: "list", Short: "List the built-in profiles", Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.listProfiles(asJSON) }),
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object a line")
	return c
}

func (a *app) listProfiles(asJSON bool) error {
	for _, name := range profiles.Builtins() {
		p, _, err := loadProfile(name)
		if err != nil {
			return err
		}
		if asJSON {
			e := profileEntry{p.Name, p.Kind, p.Title, p.Revision, p.SHA256, p.Supply.Nominal_V, len(p.Good), p.Learned.Provisional, p.Invented}
			if err := writeJSON(a.stdout, e); err != nil {
				return err
			}
			continue
		}
		if _, err := fmt.Fprintf(a.stdout, "%-24s %-10s  rev. %d  %4g V  %s%s\n    %s\n",
			p.Name, p.Kind, p.Revision, p.Supply.Nominal_V, unitsWords(len(p.Good)), standing(p), p.Title); err != nil {
			return fmt.Errorf("writing the list: %w", err)
		}
	}
	return nil
}

func unitsWords(n int) string {
	switch n {
	case 0:
		return "no good units"
	case 1:
		return "1 good unit"
	}
	return fmt.Sprintf("%d good units", n)
}

// standing says how far a profile is to be trusted.
func standing(p *profiles.Profile) string {
	s := ""
	if p.Invented {
		s += ", invented"
	}
	if p.Learned.Provisional {
		s += ", provisional"
	}
	return s
}
