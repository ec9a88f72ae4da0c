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

func TestGuidePlaces(t *testing.T) {
	const text = "guide: g\ncauses:\n  - {use: common / wet, odds: 3}\n  - id: worn\n    prove: [look, volts]\nchecks:\n  - id: volts\n    outcomes:\n" +
		"      - {id: a, when: v < 1, say: under}\n      - id: b\n    table:\n      otherwise: [1, 0]\n      worn: [0, 1]\n"
	require.Equal(t, map[string]rules.Place{
		"guide": {"f", 1, 1}, "causes": {"f", 2, 1}, "checks": {"f", 6, 1},
		"cause wet": {"f", 3, 11}, "cause wet / use": {"f", 3, 11}, "cause wet / odds": {"f", 3, 31},
		"cause worn": {"f", 4, 9}, "cause worn / id": {"f", 4, 9}, "cause worn / prove": {"f", 5, 12},
		"cause worn / prove / look": {"f", 5, 13}, "cause worn / prove / volts": {"f", 5, 19},
		"check volts": {"f", 7, 9}, "check volts / id": {"f", 7, 9}, "check volts / outcomes": {"f", 9, 7},
		"check volts / outcome 1": {"f", 9, 9}, "check volts / outcome 1 / when": {"f", 9, 23}, "check volts / outcome 1 / say": {"f", 9, 35},
		"check volts / outcome 2": {"f", 10, 9}, "check volts / table": {"f", 12, 7},
		"check volts / row otherwise": {"f", 12, 7}, "check volts / row worn": {"f", 13, 7},
	}, rules.Places("f", []byte(text)))
}

// FuzzPlaces: whatever the file, places lie in it, and everything that the
// reader knows has one.
func FuzzPlaces(f *testing.F) {
	seed(f, "../testdata/harness/*.yaml", "")
	seed(f, bad+"/harness-*.yaml", "")
	seed(f, "../kb/guides/*.yaml", "")
	seed(f, doubtful+"/*.yaml", "")
	b, ids := shipped(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		at := rules.Places("x.yaml", data)
		for name, p := range at {
			if p.Line < 1 || p.Column < 1 || p.File != "x.yaml" {
				t.Fatalf("%q stands at %v", name, p)
			}
		}
		if g, err := b.ReadGuide("x.yaml", data, ids); err == nil {
			for _, c := range g.Causes {
				if at["cause "+c.ID].Line == 0 {
					t.Fatalf("cause %q has no place", c.ID)
				}
			}
			for _, k := range g.Checks {
				if at["check "+k.ID].Line == 0 {
					t.Fatalf("check %q has no place", k.ID)
				}
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
