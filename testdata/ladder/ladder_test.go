package main

import (
	"bytes"
	"errors"
	"fmt"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/testdata/ladder/rungs"
)

// TestSameAnswers compares a small ladder, every series wire open in turn,
// with ngspice.
func TestSameAnswers(t *testing.T) {
	const n = 12
	theirs, took, err := timeNgspice(n, 1)
	if errors.Is(err, exec.ErrNotFound) {
		fmt.Println(err)
		t.Skip(err)
	}
	require.NoError(t, err)
	require.Positive(t, took.wall)
	pins := rungs.Harness(n).Pins()
	ours, _, err := timeOurs(n, 1)
	require.NoError(t, err)
	require.Len(t, theirs, n)
	worst, at, err := compare(ours, theirs, pins)
	require.NoError(t, err)
	require.Less(t, worst, 1e-5, at)

	// Behind an open wire nothing is fed but through its insulation; before it a
	// rung has nearly all of the pack.
	last, before := slices.Index(pins, "r11.a"), slices.Index(pins, "r10.a")
	require.Less(t, theirs[n-1][last], 0.1)
	require.Greater(t, theirs[n-1][before], 47.0)

	theirs[3][last] += 2e-3
	_, at, err = compare(ours, theirs, pins)
	require.ErrorContains(t, err, "r11.a with w3 open", "a difference of 2 mV is found")
	require.Equal(t, "r11.a with w3 open", at)
	_, _, err = compare(ours, theirs[:n-1], pins)
	require.ErrorContains(t, err, "12 faults of ours, 11 of ngspice")
}

func TestDeck(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, writeDeck(&b, 10, "out.raw"))
	count := func(s string) int { return strings.Count(b.String(), s) }
	require.Equal(t, 10, count("= 1e+09\nop\nwrite out.raw\n"), "one solution for each open")
	require.Equal(t, 2, count(" junction\n"))
	require.Equal(t, "n9a", node("r9.a"))
	require.Equal(t, "plus", node("pack.plus"))
	require.Empty(t, node("pack.minus"))
}

func TestReadRaw(t *testing.T) {
	head := "Title: x\nNo. Variables: 2\nNo. Points: 1\nVariables:\n\t0\tplus\tvoltage\n\t1\tn0a\tvoltage\nBinary:\n"
	one := "\x00\x00\x00\x00\x00\x00\xf0\x3f" // 1.0
	pins := []string{"r0.a", "pack.plus", "pack.minus"}
	for _, c := range []struct{ name, in, fails string }{
		{"two plots", head + one + one + head + one + one, ""},
		{"cut short in its values", head + one, "plot 1 of the raw file: unexpected EOF"},
		{"cut short in its header", head + one + one + head[:30], "plot 2 of the raw file: unexpected EOF"},
		{"two points", strings.Replace(head, "Points: 1", "Points: 2", 1) + one + one, "2 points where one was asked for"},
		{"another node", strings.Replace(head, "n0a", "n1a", 1) + one + one, "plot 1 of the raw file has no node n0a"},
	} {
		t.Run(c.name, func(t *testing.T) {
			all, err := readRaw(strings.NewReader(c.in), pins)
			if c.fails != "" {
				require.ErrorContains(t, err, c.fails)
				return
			}
			require.NoError(t, err)
			require.Equal(t, [][]float64{{1, 1, 0}, {1, 1, 0}}, all)
		})
	}
}
