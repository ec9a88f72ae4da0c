package main

import (
	"bytes"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"probable/engine/circuit"
	"probable/engine/drawing"
)

// Bounds of --width in px.
const (
	narrowest = 300
	widest    = 20000
)

func drawCommand() *cobra.Command {
	return drawingCommand(&cobra.Command{
		Use:     "draw FILE",
		Short:   "Draw the wiring of a harness file, as SVG",
		Example: "  probable harness draw testdata/harness/cart-tail.yaml -o cart-tail.svg",
	}, drawing.Page.Harness)
}

func labelsCommand() *cobra.Command {
	return drawingCommand(&cobra.Command{
		Use:     "labels FILE",
		Short:   "Draw the pin-out of every connector, each half from both sides, as SVG",
		Example: "  probable harness labels testdata/harness/cart-throttle.yaml -o plug.svg",
	}, drawing.Page.Labels)
}

// drawingCommand completes a verb that writes a drawing of a harness file.
func drawingCommand(c *cobra.Command, draw func(drawing.Page, io.Writer, *circuit.Harness) error) *cobra.Command {
	var out string
	var page drawing.Page
	c.Args = usage(oneFile)
	c.RunE = func(c *cobra.Command, args []string) error {
		if !(page.Width >= narrowest && page.Width <= widest) {
			return inputError(fmt.Errorf("--width %g: want %d to %d px", page.Width, narrowest, widest))
		}
		h, _, err := readHarness(c, args[0])
		if err != nil {
			return err
		}
		var svg bytes.Buffer // whole, before a file is touched
		if err := draw(page, &svg, h); err != nil {
			return err
		}
		if out != "" {
			return readable(os.WriteFile(out, svg.Bytes(), 0o644))
		}
		_, err = svg.WriteTo(c.OutOrStdout())
		return err
	}
	c.Flags().StringVarP(&out, "out", "o", "", "file to write (default: standard output)")
	c.Flags().Float64Var(&page.Width, "width", drawing.DefaultWidth, "width of the page in px, 96 to the inch")
	return c
}
