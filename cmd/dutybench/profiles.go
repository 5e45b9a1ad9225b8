package main

import "github.com/spf13/cobra"

func newProfiles(a *app) *cobra.Command {
	c := &cobra.Command{
		Use:   "profiles",
		Short: "List, show, check, learn and try what good units do",
	}
	group(c, a)
	c.AddCommand(newProfilesList(a), newProfilesShow(a), newProfilesCheck(a), newProfilesLearn(a), newProfilesTrial(a))
	return c
}
