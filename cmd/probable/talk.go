package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/AlecAivazis/survey/v2/core"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"probable/engine"
)

// console is how a case is talked through: the line protocol, or prompts.
type console interface {
	// choose asks for one of the options; also are taken too, but not listed.
	choose(question string, options []string, also ...string) (string, error)
	supply(part string, drawn float64) (volts float64, known bool, err error)
	facts(facts []engine.Fact, known map[string]any) error
	// trouble says that something cannot be saved; nil is to try it again. same is
	// what was typed, or "".
	trouble(err error, same string) error
	work(s *session) error
}

// undoWord is what takes an answer back.
const undoWord = "undo"

// talk is the flags that choose a console.
type talk struct {
	pipe    bool
	plain   bool
	answers string
	meter   string
	baud    int
}

// Bounds of a serial port's speed, in bits a second.
const (
	leastBaud = 50
	mostBaud  = 4000000
)

func (t *talk) flags(fl *pflag.FlagSet) {
	fl.BoolVar(&t.pipe, "pipe", false, "speak the line protocol: one JSON object a line, in and out")
	fl.BoolVar(&t.plain, "plain", false, "plain prompts, for screen readers and simple terminals")
	fl.StringVar(&t.meter, "meter", "", "a file, pipe or serial port where a multimeter prints its readings, a line each; enter takes the next")
	fl.IntVar(&t.baud, "baud", 0, "speed of that port in bits a second, as in the meter's leaflet (default: as it is set up)")
	fl.StringVar(&t.answers, "answers", "", "take what would be typed from this file, one answer a line")
}

// open returns the console and what to call when done with it.
func (t *talk) open(c *cobra.Command) (console, func(), error) {
	out := c.OutOrStdout()
	switch {
	case t.baud != 0 && (t.baud < leastBaud || t.baud > mostBaud):
		return nil, nil, inputError(fmt.Errorf("--baud %d: want bits a second, %d to %d", t.baud, leastBaud, mostBaud))
	case t.baud != 0 && t.meter == "":
		return nil, nil, inputError(errors.New("--baud is the speed of the port of --meter: give that too"))
	}
	if t.pipe {
		return newPipe(c.InOrStdin(), out), func() {}, nil
	}
	b, done, err := t.bench(c)
	if err != nil || t.meter == "" {
		return b, done, err
	}
	if b.meter, err = openMeter(t.meter, t.baud); err != nil {
		done()
		return nil, nil, inputError(err)
	}
	return b, func() { b.meter.close(); done() }, nil
}

// bench returns the console for a person, without a meter.
func (t *talk) bench(c *cobra.Command) (*bench, func(), error) {
	out := c.OutOrStdout()
	dir, _ := c.Flags().GetString("dir")
	if t.answers != "" {
		f, err := os.Open(t.answers)
		if err != nil {
			return nil, nil, inputError(readable(err))
		}
		return &bench{out: out, dir: dir, ask: &lines{in: scanner(f), out: out, echo: true, blank: t.meter != ""}}, func() { f.Close() }, nil
	}
	if in, ok := c.InOrStdin().(*os.File); ok && !t.plain && os.Getenv("TERM") != "dumb" && term.IsTerminal(int(in.Fd())) {
		if o, ok := out.(*os.File); ok && term.IsTerminal(int(o.Fd())) {
			core.DisableColor = os.Getenv("NO_COLOR") != "" // no-color.org; survey does not look
			width, height := terminalSize(o)
			return &bench{out: out, dir: dir, ask: &prompts{in: in, out: o}, width: width, height: height}, func() {}, nil
		}
	}
	return &bench{out: out, dir: dir, ask: &lines{in: scanner(c.InOrStdin()), out: out, blank: t.meter != ""}}, func() {}, nil
}

// terminalSize returns the columns and rows of a terminal, 0 where they are not
// known.
func terminalSize(f *os.File) (width, height int) {
	width, height, err := term.GetSize(int(f.Fd()))
	if err != nil {
		return 0, 0
	}
	return width, height
}
