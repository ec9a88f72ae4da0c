package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"probable/kb"
	"probable/rules"
)

// layers opens the folders of knowledge that lie over the shipped one: the user's
// own, then those given with --kb. It returns what closes them.
func layers(c *cobra.Command) (over []rules.Layer, done func(), err error) {
	var roots []*os.Root
	done = func() {
		for _, r := range roots {
			r.Close()
		}
	}
	add := func(dir string, needed bool) error {
		root, err := os.OpenRoot(dir)
		switch {
		case errors.Is(err, os.ErrNotExist) && !needed:
			return nil
		case err != nil:
			return inputError(fmt.Errorf("the folder of knowledge cannot be read: %w", readable(err)))
		}
		roots = append(roots, root)
		over = append(over, rules.Layer{Name: filepath.ToSlash(filepath.Clean(dir)), Files: root.FS()})
		return nil
	}
	if dir, ok := ownBase(); ok {
		if err := add(dir, false); err != nil {
			return nil, done, err
		}
	}
	dirs, _ := c.Flags().GetStringArray("kb")
	for _, dir := range dirs {
		if err := add(dir, true); err != nil {
			return nil, done, err
		}
	}
	return over, done, nil
}

// readBase opens the shipped knowledge with the layers over it, to be read as far
// as it is used. It says what overrides what, and which guides of layers cannot be
// worked by: they stop nobody who works by another.
func readBase(c *cobra.Command) (*rules.Base, error) {
	over, done, err := layers(c)
	defer done()
	if err != nil {
		return nil, err
	}
	base, err := rules.OpenBase(kb.Files, over...)
	if err != nil {
		return nil, inputError(err)
	}
	for _, note := range base.Notes {
		fmt.Fprintln(c.ErrOrStderr(), "kb:", note)
	}
	for _, p := range problemsOf(base.Unfit) {
		fmt.Fprintf(c.ErrOrStderr(), "kb: %v; until it is mended no case is worked by this guide\n", p)
	}
	return base, nil
}

// ownBase is the user's own folder of knowledge, whether it is there or not;
// false if the user has no folder for such things.
func ownBase() (string, bool) {
	if dir := os.Getenv("XDG_CONFIG_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "probable", "kb"), true
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", false
	}
	return filepath.Join(home, ".config", "probable", "kb"), true
}
