package main

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func wireJSON(t testing.TB, args ...string) wireFacts {
	t.Helper()
	code, out, errs := runVerb(append([]string{"wire", "--json"}, args...)...)
	require.Equal(t, exitVerdict, code, errs)
	var f wireFacts
	require.NoError(t, json.Unmarshal([]byte(out), &f))
	return f
}

// TestWireVerb: 1.2 m of 20 AWG at 25 C has 1.2 * 33.965 = 40.76 mohm, so that
// 3 A lose 0.2445 V there and back, 0.679 % of 36 V.
func TestWireVerb(t *testing.T) {
	f := wireJSON(t, "--gauge", "20 AWG", "--metres", "1.2", "--amps", "3", "--volts", "36")
	require.InDelta(t, 0.04076, f.OhmsOneWay, 1e-5)
	require.InDelta(t, 0.2445, f.DropVolts, 1e-4)
	require.InDelta(t, 0.679, *f.DropPercent, 1e-3)
	require.InDelta(t, 9*0.033965, f.WattsPerMetre, 1e-4)
	require.Equal(t, 3.0, f.LargestFuse)
	require.Equal(t, 4.0, f.LoadFuse)
	require.Equal(t, "18 AWG", f.SmallestGauge, "a 4 A fuse does not protect it")
	require.Contains(t, f.Notes, localCodes)

	f = wireJSON(t, "--gauge", "18 AWG", "--metres", "1.2", "--amps", "3")
	require.Empty(t, f.SmallestGauge)
	require.Nil(t, f.DropPercent)
}

// TestWireVerbAlone: 20 AWG alone carries 6.5 A (wire-bundle-table), so that a
// 4 A fuse protects it.
func TestWireVerbAlone(t *testing.T) {
	f := wireJSON(t, "--gauge", "20 AWG", "--metres", "1.2", "--amps", "3", "--alone")
	require.InDeltaSlice(t, []float64{3.7, 6.5, 6.5, 5, 4}, []float64{f.LoomAmps, f.AloneAmps, f.ContinuousAmps, f.LargestFuse, f.LoadFuse}, 0.002)
	require.Empty(t, f.SmallestGauge)
}

// TestWireVerbSmallFigures: what is next to nothing is not taken for what is
// too much, nor rounded off.
func TestWireVerbSmallFigures(t *testing.T) {
	f := wireJSON(t, "--gauge", "2 AWG", "--metres", "0.001", "--amps", "0.001")
	require.InDelta(t, 0, *f.RiseKelvin, 1e-6)
	require.InEpsilon(t, 1.75798e-8*0.001/33.63e-6, f.OhmsOneWay, 0.001)
	require.Nil(t, wireJSON(t, "--gauge", "30 AWG", "--metres", "1", "--amps", "20").RiseKelvin)
}

func TestWireVerbWorksOutTheMissing(t *testing.T) {
	f := wireJSON(t, "--metres", "1.2", "--amps", "3", "--volts", "36")
	require.Equal(t, "gauge", f.WorkedOut)
	require.Equal(t, "18 AWG", f.Gauge)
	f = wireJSON(t, "--metres", "20", "--amps", "3", "--volts", "12", "--drop-percent", "5")
	require.LessOrEqual(t, *f.DropPercent, 5.0)
	require.Empty(t, f.SmallestGauge)

	f = wireJSON(t, "--gauge", "18 AWG", "--amps", "3", "--volts", "36", "--drop-percent", "2")
	require.Equal(t, "metres", f.WorkedOut)
	require.InDelta(t, 2, *f.DropPercent, 1e-3)

	f = wireJSON(t, "--gauge", "18 AWG", "--metres", "1")
	require.Equal(t, "amps", f.WorkedOut)
	require.Equal(t, 4.0, f.Amps, "with a 5 A fuse, which protects the wire")
	require.Empty(t, f.SmallestGauge, "what was worked out is right")
	f = wireJSON(t, "--gauge", "34 AWG", "--metres", "1")
	require.Equal(t, f.ContinuousAmps, f.Amps, "no fuse is so small")
	f = wireJSON(t, "--gauge", "18 AWG", "--metres", "30", "--volts", "12")
	require.InDelta(t, 3, *f.DropPercent, 1e-3)
}

func TestWireVerbWarns(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--gauge", "24 AWG", "--metres", "3", "--amps", "20"}, "Too thin: 20 A"},
		{[]string{"--gauge", "16 AWG", "--metres", "30", "--amps", "3", "--volts", "12"}, "over the limit of 3 %"},
		{[]string{"--gauge", "16 AWG", "--metres", "1", "--amps", "3", "--volts", "48"}, "marked 58 V"},
		{[]string{"--gauge", "16 AWG", "--metres", "1", "--amps", "3", "--volts", "72"}, "another kind of fuse"},
		{[]string{"--gauge", "70 mm2", "--metres", "1", "--amps", "120"}, "No blade fuse"},
	} {
		code, out, errs := runVerb(append([]string{"wire"}, c.args...)...)
		require.Equal(t, exitVerdict, code, errs)
		require.Contains(t, out, c.want, "%v", c.args)
		require.Contains(t, out, localCodes)
		_, sources, _ := strings.Cut(out, "\nSources:\n")
		require.NotEmpty(t, sources)
		require.Empty(t, regexp.MustCompile(`(?m)^  \[[a-z-]+\]\n    \w.*\n`).ReplaceAllString(sources, ""), "a source that sources.yaml does not hold")
		for line := range strings.Lines(strings.TrimSuffix(out, sources)) {
			require.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), paper, "too wide: %s", line)
		}
	}
}

func TestWireVerbRefuses(t *testing.T) {
	for _, c := range []struct{ args, want string }{
		{"", "at least two"},
		{"--gauge 20_AWG", "missing: --metres, --amps"},
		{"--gauge 99_AWG --metres 1 --amps 1", "AWG runs"},
		{"--gauge 20_AWG --metres -1 --amps 1", "--metres: -1 is impossible"},
		{"--gauge 20_AWG --metres NaN --amps 1", "--metres: NaN is impossible"},
		{"--gauge 20_AWG --metres 1 --amps 0", "--amps: 0 is impossible"},
		{"--gauge 20_AWG --metres 1 --amps 1 --celsius 900", "--celsius"},
		{"--gauge 20_AWG --metres 1 --celsius 75", "no current is left"},
		{"--gauge 20_AWG --amps 1", "give --volts"},
		{"--metres 1 --amps 900", "no single wire"},
		{"--metres one --amps 9", "invalid argument"},
		{"extra", "unknown command"},
	} {
		args := []string{"wire"}
		for _, a := range strings.Fields(c.args) {
			args = append(args, strings.ReplaceAll(a, "_", " "))
		}
		code, out, errs := runVerb(args...)
		require.Equal(t, exitInput, code, "%v", args)
		require.Empty(t, out)
		require.Contains(t, errs, c.want)
	}
}
