package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dutybench/bench/plot"
)

func newWorkshop(a *app) *cobra.Command {
	c := &cobra.Command{
		Use: "workshop", Short: "Show or set who tests at this bench, for reports",
		Long: `Workshop shows which file says who tests at this bench, and what it says. Every
record takes it over when it is made, and every report names it.`,
		Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.showWorkshop() }),
	}
	c.AddCommand(&cobra.Command{
		Use: "show", Short: "Show who tests at this bench, as workshop alone does",
		Args: cobra.NoArgs,
		RunE: a.do(func(*cobra.Command, []string) error { return a.showWorkshop() }),
	}, newWorkshopSet(a))
	return c
}

func newWorkshopSet(a *app) *cobra.Command {
	var to workshopFile
	c := &cobra.Command{
		Use: "set", Short: "Set who tests at this bench, and which reports are made after each test",
		Long: `Set changes what is given and leaves the rest. An empty text takes a line away.`,
		Example: `  dutybench workshop set --name "Sample Rebuilds" --address "2 Sample Yard, Sampleton" --contact bench@rebuilds.example
  dutybench workshop set --authorised-by "C. Sample" --automatic card.pdf,claim.html
  dutybench workshop set --automatic ""`,
		Args: cobra.NoArgs,
		RunE: a.do(func(c *cobra.Command, _ []string) error { return a.setWorkshop(c, to) }),
	}
	fl := c.Flags()
	fl.StringVar(&to.Name, "name", "", "`NAME` of the workshop")
	fl.StringVar(&to.Address, "address", "", "`ADDRESS` where the bench stands")
	fl.StringVar(&to.Contact, "contact", "", "`WORDS` on how to reach it")
	fl.StringVar(&to.AuthorisedBy, "authorised-by", "", "`NAME` of who answers for reports, when run is not told")
	fl.StringSliceVar(&to.Automatic, "automatic", nil, "`REPORTS` after each test, of card.pdf, card.html, claim.pdf and claim.html")
	return c
}

func (a *app) showWorkshop() error {
	p, err := a.place()
	if err != nil {
		return err
	}
	w, err := readWorkshop(p.folder)
	if err != nil {
		return err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", workshopPath(p.folder))
	for _, x := range [][2]string{{"Name", w.Name}, {"Address", w.Address}, {"Contact", w.Contact}, {"Authorised by", w.AuthorisedBy},
		{"Automatic", strings.Join(w.Automatic, ", ")}} {
		words := plot.Plain(x[1])
		if words == "" {
			words = "not told"
			if x[0] == "Automatic" {
				words = "none; the page of each test alone"
			}
		}
		fill(&b, x[0], words, keyColumn+2, textWidth)
	}
	if _, err := fmt.Fprint(a.stdout, b.String()); err != nil {
		return fmt.Errorf("writing who the workshop is: %w", err)
	}
	return nil
}

func (a *app) setWorkshop(c *cobra.Command, to workshopFile) error {
	p, err := a.place()
	if err != nil {
		return err
	}
	w, err := readWorkshop(p.folder)
	if err != nil {
		return err
	}
	changed := false
	set := func(flag string, put func()) {
		if c.Flags().Changed(flag) {
			changed = true
			put()
		}
	}
	set("name", func() { w.Name = to.Name })
	set("address", func() { w.Address = to.Address })
	set("contact", func() { w.Contact = to.Contact })
	set("authorised-by", func() { w.AuthorisedBy = to.AuthorisedBy })
	set("automatic", func() { w.Automatic = to.Automatic })
	if !changed {
		return usage("say what to set: --name, --address, --contact, --authorised-by or --automatic")
	}
	if err := w.write(p.folder); err != nil {
		return err
	}
	return a.showWorkshop()
}
