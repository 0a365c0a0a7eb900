package main

import "github.com/spf13/cobra"

func (a *app) holdCommand(c *cobra.Command) {
	a.fieldCommand(c, nil)
	c.MarkFlagsOneRequired("reason", "dropped")
}
