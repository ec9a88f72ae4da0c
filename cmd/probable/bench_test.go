package main

import (
	"io"
	"path/filepath"
	"strings"
	"testing"
)

// BenchmarkFirstCheck is the time from start to the first check on the
// throttle harness, knowledge, guide and journal included.
func BenchmarkFirstCheck(b *testing.B) {
	path := filepath.Join("..", "..", "testdata", "harness", "cart-throttle.yaml")
	dir := b.TempDir()
	for b.Loop() {
		code := run([]string{"find", "--harness", path, "--symptom", "no throttle response", "--pipe", "--dir", dir}, strings.NewReader(""), io.Discard, io.Discard)
		if code != exitNoVerdict {
			b.Fatal("exit code", code)
		}
	}
}
