package engine

import "slices"

// Limits from which a table is taken to say something (common practice, no
// source).
const (
	saidShare = 0.02 // an outcome that no cause gives more is predicted by nobody
	apartBits = 0.1  // two causes are told apart by a check that tells more at even odds
)

// TellsNothing reports whether the check's table says the same of every cause of
// the guide.
func (g *Guide) TellsNothing(k *GuideCheck) bool {
	if k.Otherwise == nil || len(g.Causes) < 2 {
		return false // computed
	}
	first := k.row(&g.Causes[0])
	for i := range g.Causes {
		if !slices.Equal(k.row(&g.Causes[i]), first) {
			return false
		}
	}
	return true
}

// Unsaid returns the outcomes of the check, from 0, to which none of its rows
// gives more than a fiftieth.
func (k *GuideCheck) Unsaid() []int {
	var out []int
	for i := range k.Otherwise {
		said := k.Otherwise[i]
		for _, rows := range []map[string][]float64{k.Table, k.ByTrait} {
			for _, row := range rows {
				said = max(said, row[i])
			}
		}
		if said <= saidShare {
			out = append(out, i)
		}
	}
	return out
}

// SoundWith returns the chance that the check reads well under a cause of the
// guide, or -1 where no table says so.
func (k *GuideCheck) SoundWith(c *GuideCause) float64 {
	i := slices.Index(k.Answers, k.Good)
	if k.Otherwise == nil || i < 0 {
		return -1
	}
	return k.row(c)[i]
}

// Alike returns by cause of the guide, in order, those before it that have
// another repair and that no check tells from it. Checks that a template computes count as it
// is with the facts at their defaults.
func (g *Guide) Alike() ([][]string, error) {
	var m *Model
	if g.Template != nil {
		var err error
		if m, err = FromGuide(Options{Guide: g}); err != nil {
			return nil, err
		}
	}
	rows := make([][][]float64, len(g.Checks)) // by check and cause
	for i := range g.Checks {
		k := &g.Checks[i]
		for j := range g.Causes {
			c := &g.Causes[j]
			var row []float64
			if k.Otherwise != nil {
				row = k.row(c)
			} else if m != nil {
				if check := m.Check(k.ID); check != nil {
					row = m.Row(check, c.ID)
				}
			}
			rows[i] = append(rows[i], row)
		}
	}
	out := make([][]string, len(g.Causes))
	for b := range g.Causes {
		for a := range b {
			if g.Causes[a].Mends == g.Causes[b].Mends {
				continue
			}
			apart := slices.ContainsFunc(rows, func(of [][]float64) bool {
				return of[a] != nil && of[b] != nil && TellApart(of[a], of[b]) > apartBits
			})
			if !apart {
				out[b] = append(out[b], g.Causes[a].ID)
			}
		}
	}
	return out, nil
}
