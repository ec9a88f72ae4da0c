package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"probable/rules"
)

func kbSchemaCommand() *cobra.Command {
	kinds := strings.Join(rules.SchemaKinds, "|")
	return &cobra.Command{
		Use:   "schema " + kinds,
		Short: "Write the JSON Schema of a kind of file, for editors",
		Long: "Write the JSON Schema (draft 2020-12) of a kind of file. An editor that is told of it completes and\n" +
			"checks while you type. It knows the kinds of parts, guides and sources that there are, those of your own\n" +
			"folder and of --kb too.\n\nExit codes: 0 written, 2 there is no such kind of file.",
		Example: "  probable kb schema guide > guide.schema.json",
		Args: usage(func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return fmt.Errorf("want one kind of file: %s", kinds)
			}
			return nil
		}),
		RunE: func(c *cobra.Command, args []string) error {
			base, err := readBase(c)
			if err != nil {
				return err
			}
			schema, err := base.Schema(args[0])
			if err != nil {
				return inputError(err)
			}
			return writeJSON(c.OutOrStdout(), schema)
		},
	}
}
