package main

import (
	"github.com/spf13/cobra"
)

func kbCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "kb",
		Short: "Work on the knowledge: check it, and see what it can find",
		Args:  usage(cobra.NoArgs),
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(kbCheckCommand(), kbCoverageCommand())
	return c
}
