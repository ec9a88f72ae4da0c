package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"probable/rules"
)

func explain(t *testing.T, b *rules.Base, id string) rules.Entry {
	t.Helper()
	got, err := b.Explain(id)
	require.NoError(t, err)
	require.Len(t, got, 1, id)
	return got[0]
}

// TestExplain: a cause, a check, a guide, a part and a source in words.
func TestExplain(t *testing.T) {
	b, err := guides(t, lender, borrower)
	require.NoError(t, err)
	s1 := b.Sources[0]

	require.Equal(t, rules.Entry{Kind: "cause", ID: "borrower / wet", File: "kb/guides/borrower.yaml", Points: []rules.Point{
		{"", "Water."},
		{"written", `in the guide "lender", which lends it`},
		{"odds", "5, which is 83 % before the first check"}, // 5 of 5 + 1
		{"traits", "water"},
		{"only", `in vehicles with some facts: see "when" in the file`},
		{"sign", "look: wet (80 %; usually 10 %)"},
		{"repair", "Dry it."},
		{"proven by", "look"},
		{"kills it", "x"},
		{"hurts you", "x"},
		{"also in", "lender"},
	}, Sources: []rules.Source{s1}}, explain(t, b, "borrower / wet"))

	require.Equal(t, rules.Entry{Kind: "check", ID: "borrower / volts", File: "kb/guides/borrower.yaml", Points: []rules.Point{
		{"", "x"}, {"why", "x"},
		{"takes", "DC volts, power live, 1 min, nothing to open"},
		{"caution", "x"},
		{"only", `where its condition holds: see "when" in the file`},
		{"outcome", "under 1 V. It speaks for: broken"},
		{"outcome", "1 V or more (as it should be)"},
	}, Sources: []rules.Source{s1}}, explain(t, b, "volts"), "by its ID alone, where it is written")

	require.Equal(t, "lender / wet", explain(t, b, "wet").ID, "by its ID alone where it is written, not where it is used")
	g := explain(t, b, "borrower")
	require.Equal(t, "guide", g.Kind)
	require.Contains(t, g.Points, rules.Point{Label: "cause", Text: "wet: 83 %"})
	require.Contains(t, g.Points, rules.Point{Label: "asks", Text: "Which sort? (hall unless said)"})
	require.Contains(t, g.Points, rules.Point{Label: "check", Text: "look: a look, power off, 1 min"})
	require.Contains(t, explain(t, b, "lender").Points, rules.Point{Label: "lends", Text: "It is no symptom by itself; other guides use its causes and checks."})

	require.Equal(t, rules.Entry{Kind: "part", ID: "part thing", Points: []rules.Point{{"", "A thing."}, {"pins", "a, b"}, {"fails", "open: odds 1"}},
		Sources: []rules.Source{s1}}, explain(t, b, "thing"))
	require.Equal(t, explain(t, b, "thing"), explain(t, b, "part  thing"))
	require.Equal(t, "part thing open", explain(t, b, "part thing open").ID)
	require.Equal(t, []rules.Point{{"used by", "borrower / broken; borrower / volts; lender / wet; lender / worn; lender / look; part thing open"}}, explain(t, b, "s1").Points)

	for id, want := range map[string]string{
		"borower":         `there is no guide, cause, check, part or source "borower"; did you mean "borrower"?`,
		"borrower / wets": `there is no guide, cause, check, part or source "borrower / wets"; did you mean "wet"?`,
		"part thong":      `there is no guide, cause, check, part or source "part thong"; did you mean "part thing"?`,
	} {
		_, err := b.Explain(id)
		require.EqualError(t, err, want)
	}
}

// TestExplainShipped: everything shipped is explained, once, with a source.
func TestExplainShipped(t *testing.T) {
	b, _ := shipped(t)
	n := 0
	for name, g := range b.Guides() {
		guide, err := b.Explain(name) // a cause may be called as its guide
		require.NoError(t, err)
		require.Equal(t, "guide", guide[0].Kind)
		require.NotEmpty(t, guide[0].Sources, name)
		for _, c := range g.Causes {
			all, err := b.Explain(name + " / " + c.ID)
			require.NoError(t, err)
			require.Equal(t, "cause", all[0].Kind)
			require.Len(t, all[0].Sources, 1, all[0].ID)
			n++
		}
		for _, k := range g.Checks {
			all, err := b.Explain(name + " / " + k.ID)
			require.NoError(t, err)
			last := all[len(all)-1] // a cause may have the same ID
			require.Equal(t, "check", last.Kind)
			want := 1
			if k.RowsSource != "" && k.RowsSource != k.Source {
				want = 2 // that of its limits, and that of the rows given here
			}
			require.Len(t, last.Sources, want, last.ID)
			n++
		}
	}
	for key := range b.Odds() {
		all, err := b.Explain(key)
		require.NoError(t, err)
		require.NotEmpty(t, all[0].Sources, key)
	}
	for _, s := range b.Sources {
		require.NotEmpty(t, explain(t, b, s.ID).Sources)
	}
	require.Greater(t, n, 60)
	require.Contains(t, explain(t, b, "part lit-switch").Points, rules.Point{Label: "pins", Text: "supply, load, ground"}, "those that a probe reaches")
}
