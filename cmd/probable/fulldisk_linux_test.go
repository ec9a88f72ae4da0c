package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// smallDisk mounts a disk of its own in memory; only root may.
func smallDisk(t *testing.T) (dir string, remount func(flags uintptr)) {
	t.Helper()
	dir = t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=64k"); err != nil {
		t.Skipf("NOT CHECKED ON A REAL FULL OR READ-ONLY DISK: this user may mount none (%v)", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir, func(flags uintptr) {
		require.NoError(t, syscall.Mount("none", dir, "tmpfs", syscall.MS_REMOUNT|flags, "size=64k"))
	}
}

// TestFullDisk fills a real disk between two readings.
func TestFullDisk(t *testing.T) {
	dir, _ := smallDisk(t)
	filler := filepath.Join(dir, "holiday.film")
	fill := func() {
		f, err := os.Create(filler)
		require.NoError(t, err)
		defer f.Close()
		for err == nil {
			_, err = f.Write(make([]byte, 4096))
		}
		require.ErrorIs(t, err, syscall.ENOSPC)
	}
	long := strings.Repeat("the plug under the seat ", 150) // more than is left in the last block
	keys := typist{line("36.2"), line("0.35"),
		func() string { fill(); return "skip " + long },
		func() string { require.NoError(t, os.Remove(filler)); return "retry" },
		line("stop")}
	var out, errs strings.Builder
	code := run([]string{"find", "--plain", "--dir", dir, "--harness", tail, "--symptom", "tail dark"}, &keys, &out, &errs)
	require.Equal(t, exitNoVerdict, code, errs.String())
	require.Contains(t, unfolded(out.String()), "is full: make room on it.")
	require.Contains(t, out.String(), "  Saved.\n")
	data, err := os.ReadFile(journalFile(t, dir))
	require.NoError(t, err)
	require.Equal(t, 1, bytes.Count(data, []byte(strings.TrimSpace(long))))
	require.Equal(t, 3, bytes.Count(data, []byte("\n")))
}

// TestReadOnlyDisk starts on a disk that is read-only, goes on when it is not, and
// reads cases from one.
func TestReadOnlyDisk(t *testing.T) {
	dir, remount := smallDisk(t)
	remount(syscall.MS_RDONLY)
	keys := typist{line("36.2"), line("retry"), func() string { remount(0); return "retry" }, line("0.35"), line("stop")}
	var out, errs strings.Builder
	code := run([]string{"find", "--plain", "--dir", dir, "--harness", tail, "--symptom", "tail dark"}, &keys, &out, &errs)
	require.Equal(t, exitNoVerdict, code, errs.String())
	require.Equal(t, 2, strings.Count(unfolded(out.String()), "is read-only"), out.String())

	id := onlyCase(t, dir)
	remount(syscall.MS_RDONLY)
	_, said, code := program(t, "resume", id, "--dir", dir)
	require.NotZero(t, code)
	require.Contains(t, said, "is read-only")
	listed, said, code := program(t, "cases", "--dir", dir)
	require.Zero(t, code, said)
	require.Contains(t, listed, id+"  open")
	_, said, code = program(t, "report", id, "--dir", dir)
	require.Zero(t, code, said)
	_, said, code = program(t, "note", id, "green", "--dir", dir)
	require.NotZero(t, code)
	require.Contains(t, said, "is read-only")
}
