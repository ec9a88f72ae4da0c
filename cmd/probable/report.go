package main

import (
	"github.com/spf13/cobra"

	"probable/engine/casefile"
	"probable/engine/report"
)

func reportCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "report CASE",
		Short: "Write the fault report of a case, as Markdown",
		Args:  usage(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			dir, err := caseDir(c)
			if err != nil {
				return err
			}
			records, err := casefile.Read(dir, args[0])
			if err != nil {
				return caseError(err)
			}
			base, err := readBase(c)
			if err != nil {
				return err
			}
			s, err := restore(base, args[0], records)
			if err != nil {
				return err
			}
			o := s.opened
			return report.Markdown(c.OutOrStdout(), s.course, report.About{
				Case: args[0], Harness: o.Harness, HarnessDigest: o.Digest, Symptom: o.Symptom, Guide: o.Guide,
				Tool: o.Tool, BaseDigest: o.Base, BaseChanged: o.Base != base.Digest,
				Opened: records[0].Time, Last: records[len(records)-1].Time, Facts: o.Facts, Supply: o.Supply,
			})
		},
	}
}
