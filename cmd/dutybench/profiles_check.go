package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

func newProfilesCheck(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "check FILE...", Short: "Read profiles strictly and say what is wrong",
		Args: some("profile file"),
		RunE: a.do(func(_ *cobra.Command, files []string) error { return a.checkProfiles(files) }),
	}
}

func (a *app) checkProfiles(files []string) error {
	for _, file := range files {
		line := ""
		p, _, err := loadProfile(file)
		switch {
		case err != nil:
			a.status = exitError
			line = err.Error()
		case len(p.Good) == 0 && len(p.Stated) == 0:
			line = fmt.Sprintf("%s: ok, but it holds neither good units nor stated limits, so nothing can be judged by it", file)
		default:
			line = fmt.Sprintf("%s: ok (%s, revision %d, %s, %s)", file, p.Name, p.Revision, p.Kind, unitsWords(len(p.Good)))
		}
		if _, err := fmt.Fprintln(a.stdout, line); err != nil {
			return fmt.Errorf("writing what was found: %w", err)
		}
	}
	return nil
}
