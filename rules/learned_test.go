package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"

	"probable/rules"
)

func TestOdds(t *testing.T) {
	b, err := guides(t, lender, borrower)
	require.NoError(t, err)
	require.Equal(t, map[string]float64{
		"lender / wet": 2, "lender / worn": 3,
		"borrower / wet": 5, "borrower / broken": 1, // the borrower gives the odds anew
		"part thing open": 1,
	}, b.Odds())
}

// TestWriteLearned: what is written is YAML of the agreed form, whatever the
// names hold, and is the same each time.
func TestWriteLearned(t *testing.T) {
	odds := map[string]float64{"a guide / cause's, odd": 9.23456, "part lamp open": 8.4, "part x \"y\"": 1}
	text := rules.WriteLearned([]string{"2026-11-25-1", "2026-11-25-2"}, odds)
	require.Equal(t, text, rules.WriteLearned([]string{"2026-11-25-1", "2026-11-25-2"}, odds))
	var got struct {
		Learned string
		Version int
		Cases   []string
		Odds    map[string]float64
	}
	require.NoError(t, yaml.Unmarshal(text, &got))
	require.Equal(t, "odds", got.Learned)
	require.Equal(t, 1, got.Version)
	require.Equal(t, []string{"2026-11-25-1", "2026-11-25-2"}, got.Cases)
	odds["a guide / cause's, odd"] = 9.235
	require.Equal(t, odds, got.Odds)
	require.NoError(t, yaml.Unmarshal(rules.WriteLearned(nil, nil), &got))
}
