package main

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"probable/engine/circuit"
	"probable/testdata/ladder/rungs"
)

// openOhms is what a broken wire has, as in the circuit package.
const openOhms = circuit.OpenOhms

// writeDeck writes the ladder of n rungs as a deck whose control script opens
// each series wire in turn, solves, appends every voltage to the raw file, and
// closes it again. The node of pin a of rung 3 is n3a; ground is pack.minus.
func writeDeck(w io.Writer, n int, raw string) error {
	b := bufio.NewWriter(w)
	sat, slope := circuit.Junction(rungs.DropVolts, rungs.DropAmps, rungs.Ideality)
	fmt.Fprintln(b, "ladder")
	// The junctions stand at 25 C. gmin stands across each of them in ngspice.
	fmt.Fprintln(b, ".options temp=25 tnom=25 gmin=1e-15")
	fmt.Fprintf(b, ".model junction d is=%g n=%g\n", sat, ideality(slope))
	fmt.Fprintf(b, "vpack inner 0 %d\n", rungs.PackVolts)
	fmt.Fprintf(b, "rpack inner plus %g\n", rungs.PackOhms)
	last := "plus"
	for i := range n {
		fmt.Fprintf(b, "rw%d %s n%da %g\n", i, last, i, rungs.RailOhms)
		fmt.Fprintf(b, "rs%d n%da n%dm %d\n", i, i, i, rungs.ShuntOhms)
		fmt.Fprintf(b, "rg%d n%dm 0 %g\n", i, i, rungs.ReturnOhms)
		if i%rungs.Every == 0 {
			fmt.Fprintf(b, "rf%d n%da n%dk %d\n", i, i, i, rungs.FeedOhms)
			fmt.Fprintf(b, "d%d n%dk n%dm junction\n", i, i, i)
		}
		last = fmt.Sprintf("n%da", i)
	}
	fmt.Fprintln(b, ".control\nset filetype=binary\nset appendwrite")
	for i := range n {
		fmt.Fprintf(b, "alter rw%d = %g\nop\nwrite %s\ndestroy all\nalter rw%d = %g\n", i, openOhms, raw, i, rungs.RailOhms)
	}
	fmt.Fprintln(b, ".endc\n.end")
	return b.Flush()
}

// ideality is the factor that gives ngspice's own thermal voltage the slope.
func ideality(slope float64) float64 {
	const boltzmann, charge = 1.38064852e-23, 1.6021766208e-19 // CODATA 2014, as in ngspice 39
	return slope * charge / (boltzmann * 298.15)
}

// node returns the name that the deck gives a pin; the ground has none.
func node(pin string) string {
	part, short, _ := strings.Cut(pin, ".")
	switch {
	case pin == "pack.plus":
		return "plus"
	case part == "pack":
		return ""
	}
	return "n" + part[1:] + short
}

// readRaw reads the plots of a binary raw file and returns, by plot, the volts
// of each pin; ground is 0.
func readRaw(r io.Reader, pins []string) ([][]float64, error) {
	in := bufio.NewReaderSize(r, 1<<20)
	var all [][]float64
	for {
		at, err := readHeader(in)
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return nil, fmt.Errorf("plot %d of the raw file: %w", len(all)+1, err)
		}
		values := make([]byte, 8*len(at))
		if _, err := io.ReadFull(in, values); err != nil {
			return nil, fmt.Errorf("plot %d of the raw file: %w", len(all)+1, err)
		}
		row := make([]float64, len(pins))
		for i, pin := range pins {
			name := node(pin)
			if name == "" {
				continue
			}
			k, ok := at[name]
			if !ok {
				return nil, fmt.Errorf("plot %d of the raw file has no node %s", len(all)+1, name)
			}
			row[i] = math.Float64frombits(binary.LittleEndian.Uint64(values[8*k:]))
		}
		all = append(all, row)
	}
}

// readHeader reads the text of one plot, of one point, up to its values and returns the
// place of each variable by name, without v().
func readHeader(in *bufio.Reader) (map[string]int, error) {
	at := map[string]int{}
	for started, variables := false, false; ; started = true {
		line, err := in.ReadString('\n')
		if err != nil {
			if started && errors.Is(err, io.EOF) {
				return nil, io.ErrUnexpectedEOF
			}
			return nil, err
		}
		switch f := strings.Fields(line); {
		case len(f) == 0:
		case f[0] == "Binary:":
			return at, nil
		case f[0] == "Variables:":
			variables = true
		case strings.HasPrefix(line, "No. Points:") && f[2] != "1":
			return nil, fmt.Errorf("%s points where one was asked for", f[2])
		case variables && len(f) >= 2:
			k, err := strconv.Atoi(f[0])
			if err != nil {
				return nil, err
			}
			at[strings.TrimSuffix(strings.TrimPrefix(f[1], "v("), ")")] = k
		}
	}
}
