package main

import "github.com/spf13/cobra"

func newRig(a *app) *cobra.Command {
	c := &cobra.Command{
		Use:   "rig",
		Short: "Look at the bench itself: check it, show its wiring, calibrate it",
	}
	group(c, a)
	c.AddCommand(newRigCheck(a), newRigShow(a), newRigCalibrate(a))
	return c
}
