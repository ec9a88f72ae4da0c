package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"probable/engine"
	"probable/engine/casefile"
)

func noteCommand() *cobra.Command {
	var photo string
	c := &cobra.Command{
		Use:     "note CASE [TEXT]",
		Short:   "Keep a remark, or where a picture is, with a case",
		Example: "  probable note 2026-11-25-1 the crimp at f1 looks green --photo f1.jpg",
		Args:    usage(cobra.MinimumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			text := strings.TrimSpace(strings.Join(args[1:], " "))
			if text == "" && photo == "" {
				return inputError(errors.New("there is nothing to keep: give a text, or --photo FILE"))
			}
			var records []casefile.Record
			if text != "" {
				records = append(records, casefile.Record{Kind: casefile.KindNote, Time: time.Now(), Note: text})
			}
			if photo != "" {
				path, err := picture(photo)
				if err != nil {
					return inputError(err)
				}
				records = append(records, casefile.Record{Kind: casefile.KindNote, Time: time.Now(), Photo: path})
			}
			return addTo(c, args[0], func([]casefile.Record) ([]casefile.Record, error) { return records, nil })
		},
	}
	c.Flags().StringVar(&photo, "photo", "", "a picture; its path is kept, the picture stays where it is")
	return c
}

// picture returns the full path of a picture that is there.
func picture(file string) (string, error) {
	path, err := filepath.Abs(file)
	if err == nil {
		_, err = os.Stat(path)
	}
	if err != nil {
		return "", fmt.Errorf("no picture there: %w", readable(err))
	}
	return path, nil
}

func closeCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "close CASE",
		Short: "Give a case up; resume and undo take it up again",
		Args:  usage(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			return addTo(c, args[0], func(records []casefile.Record) ([]casefile.Record, error) {
				if end := casefile.End(records); end != nil {
					return nil, fmt.Errorf("case %s is closed already: %s", args[0], end.Status)
				}
				e := casefile.Record{Kind: casefile.KindEvent, Time: time.Now(), Event: &casefile.Event{Kind: engine.GivenUp}}
				if stood := casefile.Stood(records); stood != nil {
					now := *stood
					now.Status = engine.Quit
					e.Stands = &now
				}
				return []casefile.Record{e, {Kind: casefile.KindClosed, Time: time.Now(),
					Closed: &casefile.Closed{Status: engine.Quit}}}, nil
			})
		},
	}
}

// addTo adds records to a case without working it.
func addTo(c *cobra.Command, id string, what func([]casefile.Record) ([]casefile.Record, error)) error {
	dir, err := caseDir(c)
	if err != nil {
		return err
	}
	journal, records, err := casefile.Open(dir, id)
	if err != nil {
		return caseError(err)
	}
	defer journal.Close()
	more, err := what(records)
	if err != nil {
		return inputError(err)
	}
	for _, r := range more {
		if err := journal.Append(r); err != nil {
			return err
		}
	}
	return nil
}
