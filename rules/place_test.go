package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"probable/rules"
)

func TestPlaces(t *testing.T) {
	const text = "harness: x\nground: pack.minus\nparts:\n  pack: {kind: battery}\n  sw: {kind: switch}\nwires:\n  - {name: w1, from: a.b, to: c.d}\n" +
		"states:\n  tail on: {sw: closed}\nsymptoms:\n  - {id: tail dark, shows: {}}\n  - plain\n"
	require.Equal(t, map[string]rules.Place{
		"part pack": {"f", 4, 3}, "part sw": {"f", 5, 3}, "wire w1": {"f", 7, 12}, "state tail on": {"f", 9, 3}, "symptom tail dark": {"f", 11, 10},
	}, rules.Places("f", []byte(text)))
	for _, broken := range []string{"", "[", "- a", "parts: 3\nwires: {}\nsymptoms: [[], {id: []}]\n"} {
		require.NotPanics(t, func() { rules.Places("f", []byte(broken)) }, broken)
	}
}

// FuzzPlaces: whatever the file, places lie in it, and everything that the
// reader knows has one.
func FuzzPlaces(f *testing.F) {
	seed(f, "../testdata/harness/*.yaml", "")
	seed(f, bad+"/harness-*.yaml", "")
	b, _ := shipped(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		at := rules.Places("x.yaml", data)
		for name, p := range at {
			if p.Line < 1 || p.Column < 1 || p.File != "x.yaml" {
				t.Fatalf("%q stands at %v", name, p)
			}
		}
		h, err := b.Harness("x.yaml", data)
		if err != nil {
			return
		}
		for _, p := range h.Parts {
			if at["part "+p.Name].Line == 0 {
				t.Fatalf("part %s has no place", p.Name)
			}
		}
		for _, w := range h.Wires {
			if at["wire "+w.Name].Line == 0 {
				t.Fatalf("wire %s has no place", w.Name)
			}
		}
		for _, s := range h.States {
			if at["state "+s.Name].Line == 0 {
				t.Fatalf("state %q has no place", s.Name)
			}
		}
		for _, s := range h.Symptoms {
			if at["symptom "+s.ID].Line == 0 {
				t.Fatalf("symptom %q has no place", s.ID)
			}
		}
	})
}
