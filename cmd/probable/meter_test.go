package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"

	"probable/engine"
)

// TestParseMeter reads the lines of meters: plain ones, those of displays, and
// the numbers of SCPI instruments with their over-range.
func TestParseMeter(t *testing.T) {
	for _, tt := range []struct {
		check, line string
		want        engine.Result
		problem     string
	}{
		{check: "volts", line: "4.98", want: engine.Result{Value: 4.98}},
		{check: "volts", line: " +4.98123E+00 ", want: engine.Result{Value: 4.98123}},
		{check: "volts", line: "-1.2E-03", want: engine.Result{Value: -0.0012}},
		{check: "volts", line: "+4.98123E+00,+1.00000E+00", want: engine.Result{Value: 4.98123}},
		{check: "volts", line: "49.8 mV", want: engine.Result{Value: 0.0498}},
		{check: "ohms", line: "OL", want: engine.Result{Over: true}},
		{check: "ohms", line: "+9.9E37", want: engine.Result{Over: true}},
		{check: "ohms", line: "+9.90000000E+37", want: engine.Result{Over: true}},
		{check: "volts", line: "-9.9E+37", want: engine.Result{Over: true}},
		{check: "ohms", line: "+9.91E37", problem: "is no number"},
		{check: "volts", line: "nan", problem: "is no number"},
		{check: "volts", line: "12 kohm", problem: "look at the meter's dial"},
		{check: "volts", line: "hold", problem: "not a reading"},
		{check: "continuity", line: "0.4", want: engine.Result{Value: 0.4}},
	} {
		r, err := parseMeter(typedChecks[tt.check], tt.line)
		if tt.problem != "" {
			require.ErrorContains(t, err, tt.problem, tt.line)
			continue
		}
		require.NoError(t, err, tt.line)
		require.Equal(t, tt.want, r, tt.line)
	}
}

// TestMeterFile plays the tail light with a meter that printed into a file, and
// enters only.
func TestMeterFile(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "readings")
	require.NoError(t, os.WriteFile(file, []byte("0.35\n+9.9E37\r\n1.2 kohm\nOL\n"), 0o600))
	got := atBench(t, dir, "36.2\n\n\n\n\nstop\n", "--meter", file)
	require.Contains(t, got, "the meter: 0.35 V")
	require.Contains(t, got, "the meter: OL")
	require.Contains(t, got, "VERDICT\n  >99 %  wire w2 open\n")
	got = atBench(t, dir, "36.2\n\n\n\n\nstop\n", "--meter", os.DevNull)
	require.Contains(t, got, "the meter prints no more; type the reading")
}

// What is typed where wire w2 of the tail light is open: up to the verdict, the
// same with its ohms misread, and then until it is mended and proven.
const (
	brokenWire  = "36.2\n0.35\nOL\nno beep\nOL\n"
	misreadWire = "36.2\n0.35\nOL\nno beep\n0.2\nbeep\n36.0\n0\n36.0\n"
	mendedWire  = "1\n259\n0.2\nbeep\n259\nlit\n35.9\n"
)

// atBench runs find on the tail light with what a person types.
func atBench(t *testing.T, dir, typed string, args ...string) string {
	t.Helper()
	var out, errs strings.Builder
	run(append([]string{"find", "--plain", "--dir", dir, "--harness", "../../testdata/harness/cart-tail.yaml", "--symptom", "tail dark"}, args...),
		strings.NewReader(typed), &out, &errs)
	require.Empty(t, errs.String())
	return out.String()
}

// TestMeterPort reads a meter on a terminal line, as a serial port is.
func TestMeterPort(t *testing.T) {
	there, here, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal on this machine: %v", err)
	}
	defer there.Close()
	defer here.Close()
	m, err := openMeter(here.Name(), 0)
	require.NoError(t, err)
	defer m.close()
	stop := make(chan bool)
	go func() {
		// A meter prints all the time; a carriage return ends its lines.
		for {
			select {
			case <-stop:
				return
			case <-time.After(5 * time.Millisecond):
				_, _ = there.WriteString("+1.25000E+01\r\n")
			}
		}
	}()
	defer close(stop)
	for range 3 {
		line, err := m.next(nil)
		require.NoError(t, err)
		require.Equal(t, "+1.25000E+01", line)
	}
}

func FuzzMeter(f *testing.F) {
	for _, s := range []string{"4.98", "+9.9E37", "OL", "1,2", "49.8 mV", "nan"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, c := range typedChecks {
			r, err := parseMeter(c, s)
			if err == nil && r.Value != r.Value {
				t.Fatalf("%q reads as no number", s)
			}
		}
	})
}
