package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"probable/engine"
	"probable/engine/circuit"
	"probable/rules"
)

func harnessCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "harness",
		Short: "Work on a harness file: check it, draw it, write what its pins should read",
		Args:  usage(cobra.NoArgs),
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(
		harnessCheckCommand(),
		harnessExpectCommand(),
		drawCommand(),
		labelsCommand(),
	)
	return c
}

// oneFile wants the name of one harness file.
func oneFile(_ *cobra.Command, args []string) error {
	if len(args) != 1 {
		return fmt.Errorf("want the name of one harness file, not %d", len(args))
	}
	return nil
}

// readHarness reads a harness file with the knowledge there is.
func readHarness(c *cobra.Command, file string) (h *circuit.Harness, data []byte, err error) {
	base, err := readBase(c)
	if err != nil {
		return nil, nil, err
	}
	return harnessOf(base, file)
}

// harnessOf reads a harness file with this knowledge.
func harnessOf(base *rules.Base, file string) (h *circuit.Harness, data []byte, err error) {
	if data, err = os.ReadFile(file); err != nil {
		return nil, nil, inputError(readable(err))
	}
	h, err = base.Harness(file, data)
	return h, data, inputError(err)
}

// writeJSON writes a value as indented JSON.
func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// outFinding is a finding as JSON.
type outFinding struct {
	File     string `json:"file"`
	Line     int    `json:"line"`
	Column   int    `json:"column"`
	Severity string `json:"severity"`
	Where    string `json:"where,omitempty"`
	Text     string `json:"text"`
	Right    string `json:"right,omitempty"`
}

// String writes the finding in lines that fit on paper.
func (f outFinding) String() string {
	const indent = "    "
	s := fold(paper-len(indent), "", fmt.Sprintf("%s:%d:%d: %s: %s", f.File, f.Line, f.Column, f.Severity, f.Text))
	s = strings.ReplaceAll(s, "\n", "\n"+indent)
	if f.Right != "" {
		s += "\n" + fold(paper, indent+"right would be: ", f.Right)
	}
	return s
}

func harnessCheckCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "check FILE",
		Short: "Say what is wrong, or looks wrong, with a harness file",
		Long: "Say what is wrong, or looks wrong, with a harness file: first whether it can be read, then\n" +
			"whether the circuit in it makes sense.\n\nExit codes: 0 fine or warnings only, 2 errors.",
		Example: "  probable harness check testdata/harness/cart-tail.yaml",
		Args:    usage(oneFile),
		RunE: func(c *cobra.Command, args []string) error {
			out := c.OutOrStdout()
			h, data, err := readHarness(c, args[0])
			if found := unreadable(err); asJSON && found != nil {
				if err := writeJSON(out, found); err != nil {
					return err
				}
				return &exitError{code: exitInput}
			}
			if err != nil {
				return err
			}
			findings := place(h.Review(), args[0], data)
			errs := 0
			for _, f := range findings {
				if f.Severity == string(circuit.Error) {
					errs++
				}
			}
			if asJSON {
				if err := writeJSON(out, findings); err != nil {
					return err
				}
			} else {
				for _, f := range findings {
					fmt.Fprintln(out, f)
				}
				fmt.Fprintf(out, "%s: %s, %s\n", args[0], count(errs, "error"), count(len(findings)-errs, "warning"))
			}
			if errs > 0 {
				return &exitError{code: exitInput}
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

// unreadable returns the problems of a file that cannot be read as findings, or
// nil where the error is another.
func unreadable(err error) []outFinding {
	var problems rules.Problems
	if !errors.As(err, &problems) {
		return nil
	}
	found := []outFinding{}
	for _, p := range problems {
		found = append(found, outFinding{File: p.File, Line: p.Line, Column: p.Column, Severity: string(circuit.Error), Text: p.Text})
	}
	return found
}

// place gives findings their line; one about the whole file stands at its start.
func place(found []circuit.Finding, file string, data []byte) []outFinding {
	at := rules.Places(file, data)
	out := []outFinding{}
	for _, f := range found {
		p, ok := at[f.Where]
		if !ok {
			p = rules.Place{File: file, Line: 1, Column: 1}
		}
		out = append(out, outFinding{p.File, p.Line, p.Column, string(f.Severity), f.Where, f.Text, f.Right})
	}
	return out
}

// count writes a number of things in English.
func count(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

func harnessExpectCommand() *cobra.Command {
	var asJSON, asCSV bool
	c := &cobra.Command{
		Use:   "expect FILE",
		Short: "Write what every pin reads on the healthy vehicle",
		Long: "Write what every pin that a probe can reach reads on the healthy vehicle: ohms with the power off,\n" +
			"and volts in every state. It is the sheet to tape in the lid. The black lead is on ground, and for\n" +
			"a circuit that nothing joins to it on that circuit's own minus.",
		Example: "  probable harness expect testdata/harness/cart-tail.yaml",
		Args:    usage(oneFile),
		RunE: func(c *cobra.Command, args []string) error {
			if asJSON && asCSV {
				return inputError(errors.New("--json and --csv: give one of them"))
			}
			h, _, err := readHarness(c, args[0])
			if err != nil {
				return err
			}
			sheet, err := engine.Expect(h, circuit.Meter{})
			if err != nil {
				return inputError(fmt.Errorf("%s: %w", args[0], err))
			}
			switch out := c.OutOrStdout(); {
			case asJSON:
				return writeJSON(out, sheetRows(sheet))
			case asCSV:
				return writeCSV(out, sheetRows(sheet))
			default:
				return writeSheet(out, sheet)
			}
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	c.Flags().BoolVar(&asCSV, "csv", false, "as comma-separated values, a reading a line")
	return c
}

// sheetRow is one reading of the sheet, for programs.
type sheetRow struct {
	Pin   string   `json:"pin"`
	Black string   `json:"black"`
	Power string   `json:"power"`
	State string   `json:"state"`
	Unit  string   `json:"unit"`
	Value *float64 `json:"value,omitempty"` // absent when over-range
	Low   *float64 `json:"low,omitempty"`
	High  *float64 `json:"high,omitempty"`
	Over  bool     `json:"over,omitempty"`
	Leak  bool     `json:"leak,omitempty"`
}

func sheetRows(s *engine.ExpectSheet) []sheetRow {
	rows := []sheetRow{}
	add := func(pin, black string, power engine.Power, state, unit string, e engine.Expected) {
		r := sheetRow{Pin: pin, Black: black, Power: string(power), State: state, Unit: unit, Over: e.Over, Leak: e.Leak}
		if !e.Over {
			value, low, high := round(e.Value), round(e.Low), round(e.High)
			r.Value, r.Low, r.High = &value, &low, &high
		}
		rows = append(rows, r)
	}
	for _, p := range s.Pins {
		add(p.Pin, p.Black, engine.Off, "", "ohm", p.Ohms)
		for i, e := range p.Volts {
			add(p.Pin, p.Black, engine.Live, s.States[i].Name, "V", e)
		}
	}
	return rows
}

func writeCSV(out io.Writer, rows []sheetRow) error {
	w := csv.NewWriter(out)
	number := func(x *float64) string {
		if x == nil {
			return ""
		}
		return strconv.FormatFloat(*x, 'g', -1, 64)
	}
	_ = w.Write([]string{"pin", "black", "power", "state", "unit", "value", "low", "high", "over", "leak"}) // Flush keeps the error
	for _, r := range rows {
		_ = w.Write([]string{r.Pin, r.Black, r.Power, r.State, r.Unit, number(r.Value), number(r.Low), number(r.High),
			strconv.FormatBool(r.Over), strconv.FormatBool(r.Leak)})
	}
	w.Flush()
	return w.Error()
}

// paper is how many columns a sheet may take.
const paper = 80

// writeSheet writes the sheet for a person: for each place of the black lead
// tables of as many columns as fit.
func writeSheet(out io.Writer, s *engine.ExpectSheet) error {
	if _, err := fmt.Fprintf(out, "%s\nWhat a healthy vehicle reads\n", s.Harness); err != nil {
		return err
	}
	for _, black := range s.Blacks() {
		title := "Black lead on " + black
		if black != s.Ground {
			title += " (a circuit of its own, not joined to " + s.Ground + ")"
		}
		fmt.Fprintf(out, "\n%s\n", title)
		for _, table := range sheetTables(s, black) {
			fmt.Fprint(out, "\n", table)
		}
	}
	if len(s.States) > 1 {
		fmt.Fprintln(out)
	}
	for _, st := range s.States[1:] {
		fmt.Fprintln(out, fold(paper, st.Name+": ", st.Describe()))
	}
	var notes []string
	if s.Floats() {
		notes = append(notes, "A value with ~ comes through leakage: next to nothing is as good.")
	}
	for _, pair := range s.Charged {
		notes = append(notes, fmt.Sprintf("%s to %s stays charged: below 1 V first, then ohms.", pair[0], pair[1]))
	}
	if s.Driven {
		notes = append(notes, "Driven wheel off the ground for every live reading.")
	}
	if s.Highest > engine.ExtraLowVolts {
		notes = append(notes, fmt.Sprintf("Up to %g V: live readings are for qualified people only.", s.Highest))
	}
	notes = append(notes, "Ohms with the pack unplugged and everything at rest. A good reading at rest", "does not prove the wire under load.")
	_, err := fmt.Fprintf(out, "\n%s\n", strings.Join(notes, "\n"))
	return err
}

// mark writes a range of the sheet, with a sign where it is leakage.
func mark(e engine.Expected, unit string) string {
	if e.Leak {
		return "~ " + e.Range(unit)
	}
	return e.Range(unit)
}

// sheetTables writes what the pins of one place of the black lead read. The
// wires at a pin stand in the first table, where they fit.
func sheetTables(s *engine.ExpectSheet, black string) []string {
	pins := []string{"red lead"}
	wires := []string{"wires"}
	readings := [][]string{{"off"}} // by column: its title and what each pin reads
	for i, st := range s.States {
		title := st.Name
		if i == 0 {
			title = "on, at rest"
		}
		readings = append(readings, []string{title})
	}
	for _, p := range s.Pins {
		if p.Black != black {
			continue
		}
		pins, wires = append(pins, p.Pin), append(wires, p.At)
		readings[0] = append(readings[0], mark(p.Ohms, "ohm"))
		for i, e := range p.Volts {
			readings[i+1] = append(readings[i+1], mark(e, "V"))
		}
	}
	var tables []string
	table := across(pins, wires, readings[0])
	shown := [][]string{pins, wires, readings[0]}
	if !fits(table) {
		shown = [][]string{pins, readings[0]}
		table = across(shown...)
	}
	for _, r := range readings[1:] {
		wider := append(slices.Clone(shown), r)
		if t := across(wider...); fits(t) {
			shown, table = wider, t
			continue
		}
		tables = append(tables, table)
		shown = [][]string{pins, r}
		table = across(shown...)
	}
	return append(tables, table)
}

// across lines columns up side by side.
func across(cols ...[]string) string {
	rows := make([][]string, len(cols[0]))
	for _, c := range cols {
		for i := range rows {
			rows[i] = append(rows[i], c[i])
		}
	}
	return columns(rows)
}

// columns lines cells up.
func columns(rows [][]string) string {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(w, strings.Join(r, "\t"))
	}
	_ = w.Flush() // into memory
	lines := strings.Split(b.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}

// fold writes a text in lines that fit the width, the first after a label.
func fold(width int, label, text string) string {
	indent := strings.Repeat(" ", len(label))
	var lines []string
	line := label
	for _, w := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(w)) > width && strings.TrimSpace(line) != "" && line != label {
			lines = append(lines, line)
			line = indent
		}
		if line != label && line != indent {
			line += " "
		}
		line += w
	}
	return strings.TrimRight(strings.Join(append(lines, line), "\n"), " ")
}

func fits(table string) bool {
	for line := range strings.Lines(table) {
		if len([]rune(strings.TrimRight(line, "\n"))) > paper {
			return false
		}
	}
	return true
}
