//go:build linux && !ppc64 && !ppc64le

package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// TestBaud opens a port at a speed: the port has it, also an odd one, and has its
// own again once it is closed.
func TestBaud(t *testing.T) {
	there, here, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal on this machine: %v", err)
	}
	defer there.Close()
	defer here.Close()
	speed := func() [2]uint32 {
		x, err := unix.IoctlGetTermios(int(here.Fd()), unix.TCGETS2)
		require.NoError(t, err)
		return [2]uint32{x.Ispeed, x.Ospeed}
	}
	was := speed()
	for _, baud := range []int{2400, 9600, 19230, 115200} {
		m, err := openMeter(here.Name(), baud)
		require.NoError(t, err)
		require.Equal(t, [2]uint32{uint32(baud), uint32(baud)}, speed())
		_, err = there.WriteString("+1.25E+01\r\n+1.25E+01\r\n")
		require.NoError(t, err)
		m.close()
		require.Equal(t, was, speed())
	}
	// Without a speed it stays as it is set up.
	m, err := openMeter(here.Name(), 0)
	require.NoError(t, err)
	require.Equal(t, was, speed())
	m.close()
}

// TestBaudOfFile: a file has no speed, and --baud wants a meter and a number.
func TestBaudOfFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "readings")
	require.NoError(t, os.WriteFile(file, []byte("4.98\n"), 0o600))
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"--meter", file, "--baud", "9600"}, "it is no serial port: leave out --baud"},
		{[]string{"--baud", "9600"}, "--baud is the speed of the port of --meter: give that too"},
		{[]string{"--meter", file, "--baud", "-1"}, "--baud -1: want bits a second, 50 to 4000000"},
	} {
		_, errs, code := program(t, append([]string{"find", "--plain", "--dir", t.TempDir(), "--guide", "throttle dead"}, tt.args...)...)
		require.Equal(t, exitInput, code)
		require.Contains(t, errs, tt.want)
	}
}
