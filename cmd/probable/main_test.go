package main

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

// TestMain keeps whatever knowledge the person who runs the tests has of their
// own out of them.
func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "probable")
	if err != nil {
		panic(err)
	}
	os.Setenv("XDG_CONFIG_HOME", dir)
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// shippedBase is the shipped knowledge.
func shippedBase(t testing.TB) *rules.Base {
	t.Helper()
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	return base
}

// baseOf gives the shipped knowledge when it is asked for.
func baseOf(t testing.TB) func() (*rules.Base, error) {
	return func() (*rules.Base, error) { return shippedBase(t), nil }
}

// loadHarness reads a harness file with the shipped knowledge.
func loadHarness(t testing.TB, path string) *circuit.Harness {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	h, err := shippedBase(t).Harness(path, data)
	require.NoError(t, err)
	return h
}
