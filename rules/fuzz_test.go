package rules_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"probable/kb"
	"probable/rules"
)

// seed adds the files that match a glob of the disk, and those of the shipped base.
func seed(f *testing.F, disk, base string) {
	f.Helper()
	files, err := filepath.Glob(disk)
	if err != nil || len(files) == 0 {
		f.Fatalf("%s: no seeds (%v)", disk, err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	if base == "" {
		return
	}
	files, err = fs.Glob(kb.Files, base)
	if err != nil || len(files) == 0 {
		f.Fatalf("%s: no seeds (%v)", base, err)
	}
	for _, file := range files {
		data, err := kb.Files.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
}

// problems fails unless err is nil or Problems that each say where and what.
func problems(t *testing.T, data []byte, err error) {
	t.Helper()
	if err == nil {
		return
	}
	var ps rules.Problems
	if !errors.As(err, &ps) || len(ps) == 0 {
		t.Fatalf("the error is %T %v, not Problems", err, err)
	}
	// A byte order mark and the line ends of old systems count as YAML's do, so
	// the last line is only bounded from above.
	last := 1 + bytes.Count(data, []byte("\n")) + bytes.Count(data, []byte("\r")) +
		strings.Count(string(data), "\u0085") + strings.Count(string(data), "\u2028") + strings.Count(string(data), "\u2029")
	for _, p := range ps {
		switch {
		case p.Line < 1 || p.Column < 1 || strings.TrimSpace(p.Text) == "" || p.File != "x.yaml":
			t.Errorf("a problem without a place or a text: %#v", p)
		case p.Line > last+1:
			t.Errorf("a problem behind the end of the file (%d lines): %#v", last, p)
		case strings.ContainsAny(p.Text, "\n\r"):
			t.Errorf("a problem of several lines: %#v", p)
		}
	}
}

func FuzzHarness(f *testing.F) {
	seed(f, "../testdata/harness/*.yaml", "")
	seed(f, bad+"/harness-*.yaml", "")
	b, _ := shipped(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := b.Harness("x.yaml", data)
		problems(t, data, err)
		if err == nil && (h == nil || h.Ground == "") {
			t.Error("neither a harness nor a problem")
		}
	})
}

// FuzzPart also puts each part that loads into a harness, so that its
// expressions are evaluated.
func FuzzPart(f *testing.F) {
	seed(f, bad+"/part-*.yaml", "parts/*.yaml")
	_, ids := shipped(f)
	sources, err := kb.Files.ReadFile("sources.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := rules.ReadPart("x.yaml", data, ids)
		problems(t, data, err)
		if err != nil {
			return
		}
		if p == nil {
			t.Fatal("neither a part nor a problem")
		}
		b, err := rules.ReadBase(fstest.MapFS{"sources.yaml": {Data: sources}, "parts/x.yaml": {Data: data}})
		if err != nil {
			t.Fatalf("it loads alone and not in a base: %v", err)
		}
		var keys strings.Builder
		for _, k := range p.Keys {
			if k.Default == nil {
				fmt.Fprintf(&keys, ", %q: %g", k.Name, k.High)
			}
		}
		text := fmt.Sprintf("harness: x\nground: x.a\nparts:\n  x: {kind: %q%s}\n", p.Kind, keys.String())
		_, err = b.Harness("x.yaml", []byte(text))
		problems(t, []byte(text), err)
	})
}

func FuzzGuide(f *testing.F) {
	seed(f, bad+"/guide-*.yaml", "guides/*.yaml")
	b, ids := shipped(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		g, err := b.ReadGuide("x.yaml", data, ids)
		problems(t, data, err)
		if err != nil {
			return
		}
		if g == nil || g.ID == "" {
			t.Fatal("neither a guide nor a problem")
		}
		facts := map[string]any{}
		for _, fact := range g.Facts {
			facts[fact.Name] = fact.Default
		}
		for _, k := range g.Checks {
			if k.When != nil {
				_, _ = k.When(facts) // no panic
			}
			if k.Band != nil {
				_, _ = k.Band(4.5, false, facts) // no panic
			}
		}
	})
}

func FuzzSources(f *testing.F) {
	seed(f, bad+"/part-*.yaml", "sources.yaml")
	f.Add([]byte("version: 1\nsources:\n  - {id: s1, title: x, where: y, reached: z}\n  - {id: s1, title: x, where: y}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		_, err := rules.ReadSources("x.yaml", data)
		problems(t, data, err)
	})
}
