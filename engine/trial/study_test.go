package trial_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/trial"
	"probable/kb"
	"probable/rules"
)

// guides are subjects of the shipped guides, at most some.
func guides(t *testing.T, most int) []*trial.Subject {
	t.Helper()
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	var out []*trial.Subject
	for _, id := range base.GuideIDs() {
		if len(out) < most {
			out = append(out, &trial.Subject{Name: id, Guide: base.Guide(id), Guides: base.Guides()})
		}
	}
	return out
}

// TestStudy: equal seeds give equal plays, other seeds others; a guide whose one
// check tells its two causes apart for sure takes that check.
func TestStudy(t *testing.T) {
	s := guides(t, 1)[0]
	for _, p := range trial.Policies {
		one, err := s.Study(p, trial.Draws{Seed: 7, Misread: 0.1, Skip: 0.1})
		require.NoError(t, err)
		two, err := s.Study(p, trial.Draws{Seed: 7, Misread: 0.1, Skip: 0.1})
		require.NoError(t, err)
		require.Equal(t, one, two, p)
		other, err := s.Study(p, trial.Draws{Seed: 8, Misread: 0.1, Skip: 0.1})
		require.NoError(t, err)
		require.NotEqual(t, one, other, p)
	}
	tell := &trial.Subject{Name: "two", Guide: two()}
	for _, p := range trial.Policies {
		played, err := tell.Study(p, trial.Draws{Seed: 1})
		require.NoError(t, err)
		require.Len(t, played, 2)
		for _, x := range played {
			require.True(t, x.In && x.Right && x.Alone, "%s: %+v", p, x)
			require.Equal(t, 0.5, x.Odds)
			require.GreaterOrEqual(t, x.Checks, 1)
		}
	}
	wrong, err := tell.Study(trial.Trust, trial.Draws{Seed: 1, OneWrong: true})
	require.NoError(t, err)
	require.Len(t, wrong, 2, "one reading each")
	for _, x := range wrong {
		require.Equal(t, "look", x.Wrong)
		require.False(t, x.Right, "the only reading is wrong, and nothing doubts it")
	}
}

// TestSummarise: figures by hand.
func TestSummarise(t *testing.T) {
	f := trial.Summarise([]trial.Played{
		{Odds: 0.5, Checks: 2, Minutes: 3, Said: 0.95, Right: true, Alone: true, In: true, Offered: 5},
		{Odds: 0.25, Checks: 4, Minutes: 5, Said: 0.95, In: true, Alone: true, Offered: 5, Wrong: "x", Noticed: true, Hides: true},
		{Odds: 0.25, Checks: 9, Minutes: 7, Said: 0.5, Offered: 5, Wrong: "y", Unsafe: []string{"z"}, Hides: true},
	})
	require.InDelta(t, 1.0/3, f.Alone, 1e-12)
	require.InDelta(t, 1.0/3, f.Right, 1e-12)
	require.InDelta(t, 2.0/3, f.In, 1e-12)
	require.InDelta(t, 0.75, f.InByOdds, 1e-12)
	require.Equal(t, trial.Spread{Mean: 5, Median: 4, P95: 9}, f.Checks)
	require.InDelta(t, 4.25, f.ChecksByOdds, 1e-12)
	require.Equal(t, 15, f.Offered)
	require.Len(t, f.Unsafe, 1)
	require.Equal(t, 2, f.Misread)
	require.InDelta(t, 0.5, f.Noticed, 1e-12)
	require.Equal(t, 2, f.Hidden)
	require.InDelta(t, 0.5, f.HiddenLost, 1e-12)
	// Said 0.95, right 2 of 3 by odds: 0.75 x |0.95 - 2/3|; said 0.5, never right: 0.25 x 0.5.
	require.InDelta(t, 0.75*(0.95-2.0/3)+0.125, f.CalibrationOff, 1e-12)
	// 0.5 x 0.05^2 + 0.25 x 0.95^2 + 0.25 x 0.5^2
	require.InDelta(t, 0.289375, f.Brier, 1e-12)
	require.InDeltaSlice(t, []float64{0, 0, 1.0 / 3, 1.0 / 3, 2.0 / 3}, trial.Ended([]trial.Played{
		{Checks: 2, In: true}, {Checks: 4, In: true}, {Checks: 3},
	}), 1e-12)
}

// TestNothingUnsafe plays guides with misreadings, skips and repairs, the wrong
// ones too, and counts what a second, independent gate calls unsafe. With the tag
// study it plays 100,000 checks.
func TestNothingUnsafe(t *testing.T) {
	offered, seed := 0, uint64(0)
	for ; offered < offers; seed++ {
		for _, s := range guides(t, unsafeGuides) {
			played, err := s.Study(trial.Engine, trial.Draws{Seed: seed, Misread: 0.1, Skip: 0.1, Mend: true})
			require.NoError(t, err)
			f := trial.Summarise(played)
			require.Empty(t, f.Unsafe)
			offered += f.Offered
		}
	}
	t.Logf("%d checks offered over %d seeds, none unsafe", offered, seed)
	require.GreaterOrEqual(t, offered, offers)
}

// TestBarsOfWhatHides: the share lost to good readings is a bar of its own, for a
// guide with causes that show under load and, with the tag study, for a harness
// whose symptom comes and goes; a harness whose symptom stays has none.
func TestBarsOfWhatHides(t *testing.T) {
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "harness", "cart-bars.yaml"))
	require.NoError(t, err)
	h, err := base.Harness("cart-bars.yaml", data)
	require.NoError(t, err)
	const bar = ": lost to good readings that lie"
	lost := func(s *trial.Subject) *trial.Bar {
		var found *trial.Bar
		for b, err := range trial.Bars([]*trial.Subject{s}, trial.Draws{Seed: 1}) {
			require.NoError(t, err)
			if strings.HasSuffix(b.Name, bar) {
				found = &b
			}
		}
		return found
	}
	b := lost(&trial.Subject{Name: "fuse blows after minutes", Guide: base.Guide("fuse blows after minutes"), Guides: base.Guides()})
	require.NotNil(t, b)
	require.Equal(t, "guides"+bar, b.Name)
	require.True(t, b.Met(), "%.1f %% of %s", b.Value, b.Of)
	if !looseBars {
		return
	}
	b = lost(&trial.Subject{Name: "flickers", Harness: h, Symptom: "left light flickers"})
	require.NotNil(t, b)
	require.Equal(t, "harnesses"+bar, b.Name)
	require.True(t, b.Met(), "%.1f %% of %s", b.Value, b.Of)
	require.Nil(t, lost(&trial.Subject{Name: "dark", Harness: h, Symptom: "left light dark"}))
}

// TestMisreadingsAreNoticed: of gross misreadings in guides at least a third is read
// again, or told at the verdict.
func TestMisreadingsAreNoticed(t *testing.T) {
	var played []trial.Played
	for _, s := range guides(t, 2) {
		p, err := s.Study(trial.Engine, trial.Draws{Seed: 1, OneWrong: true})
		require.NoError(t, err)
		played = append(played, p...)
	}
	f := trial.Summarise(played)
	t.Logf("%d misread, %.0f %% noticed, the truth in %.1f %% of the verdicts", f.Misread, 100*f.Noticed, 100*f.In)
	require.Greater(t, f.Misread, 100)
	require.GreaterOrEqual(t, f.Noticed, 1.0/3)
}
