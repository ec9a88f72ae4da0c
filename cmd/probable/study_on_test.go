//go:build study

package main

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

var resistances = []float64{1.5, 3, 10, 30, 70}

const playedFault = 1

const noisyFault = 1

const noises = 6

const leastPlayed = 1000

// TestBarsStudy holds the program against its bars on all guides and example
// harnesses.
func TestBarsStudy(t *testing.T) {
	t.Chdir("../..")
	var out, errs bytes.Buffer
	code := run([]string{"study", "--all", "--bars"}, nil, &out, &errs)
	t.Log("\n" + out.String())
	require.Equal(t, exitVerdict, code, errs.String())
}
