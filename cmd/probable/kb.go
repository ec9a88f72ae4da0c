package main

import "github.com/spf13/cobra"

func kbCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "kb",
		Short: "Work on the knowledge: what it says, whether it holds, how to add to it",
		Args:  usage(cobra.NoArgs),
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(kbCheckCommand(), kbCoverageCommand(), kbSchemaCommand(), learnCommand(), newCommand(), showCommand(), tryCommand())
	return c
}
