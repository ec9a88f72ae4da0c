package engine

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"
)

func published(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "published", name))
	require.NoError(t, err)
	require.NoError(t, yaml.Unmarshal(data, into))
}

// TestTwoCausesByHand works one step of Bayes' rule and one of the expected
// information on paper.
//
// Causes a and b with odds 3 to 1. A check shows "yes" under a with 0.8, under
// b with 0.4. No misreadings, nothing unexplained.
//
//	P(yes)     = 0.75*0.8 + 0.25*0.4          = 0.7
//	P(a | yes) = 0.6 / 0.7                    = 0.857142...
//	P(a | no)  = 0.75*0.2 / 0.3               = 0.5
//	H(outcome) = H(0.7)                       = 0.881291 bit
//	H(outcome | cause) = 0.75*H(0.8) + 0.25*H(0.4)
//	           = 0.75*0.721928 + 0.25*0.970951 = 0.784184 bit
//	gain       = 0.881291 - 0.784184          = 0.097107 bit
//
// With a misreading in a hundred, spread evenly, yes under a has 0.99*0.8 +
// 0.01*0.5 = 0.797 and under b 0.401, so P(a | yes) = 0.59775/0.698 = 0.856375.
func TestTwoCausesByHand(t *testing.T) {
	model := func(misreading float64) *Model {
		c := &Check{ID: "look", Mode: Look, Power: Off, Answers: []string{"yes", "no"}, Minutes: 1}
		c.shows.set(0, prediction{row: []float64{0.8, 0.2}})
		c.shows.set(1, prediction{row: []float64{0.4, 0.6}})
		m := &Model{Misreading: misreading, Causes: []Cause{{ID: "a", Mends: "a"}, {ID: "b", Mends: "b"}}, Checks: []*Check{c},
			hyps: []hypothesis{{0, math.Log(3)}, {1, math.Log(1)}}}
		m.finish()
		return m
	}
	for _, tt := range []struct {
		misreading float64
		answer     string
		want       float64
	}{
		{0, "yes", 0.6 / 0.7},
		{0, "no", 0.5},
		{0.01, "yes", 0.59775 / 0.698},
	} {
		c := NewCourse(model(tt.misreading), Gate{})
		require.NoError(t, c.Apply(Event{Kind: Read, Check: "look", Result: Result{Answer: tt.answer}}))
		r, _ := c.Ranking()
		p := map[string]float64{r[0].Cause.ID: r[0].P, r[1].Cause.ID: r[1].P}
		require.InDelta(t, tt.want, p["a"], 1e-12)
	}
	step := NewCourse(model(0), Gate{}).Next()
	require.Equal(t, "look", step.Check.ID)
	require.InDelta(t, 0.097107, step.Bits, 1e-6)
}

// TestAsia holds the ranking against the published posteriors of the chest
// clinic network. The engine knows one hidden variable with exclusive values
// and evidence that is independent given it; the network has several hidden
// ones. It admits the engine's form all the same: each joint state of the
// hidden variables is a hypothesis, and the variable asked for groups them
// into causes.
func TestAsia(t *testing.T) {
	var net struct {
		Nodes []struct {
			ID      string
			Parents []string
			Rows    []struct {
				Given map[string]string
				P     float64
			}
		}
		Marginals []struct {
			Name     string
			Evidence map[string]string
			PYes     map[string]struct{ P, Within float64 } `yaml:"p_yes"`
		}
	}
	published(t, "asia.yaml", &net)
	require.NotEmpty(t, net.Marginals)
	ids := map[string]int{}
	for i, n := range net.Nodes {
		ids[n.ID] = i
	}
	word := func(state, node int) string {
		if state>>node&1 == 1 {
			return "yes"
		}
		return "no"
	}
	// chance of node given its parents in the joint state
	chance := func(state, node int) float64 {
		n := net.Nodes[node]
		for _, r := range n.Rows {
			fits := true
			for parent, w := range r.Given {
				fits = fits && word(state, ids[parent]) == w
			}
			if fits {
				if word(state, node) == "yes" {
					return r.P
				}
				return 1 - r.P
			}
		}
		t.Fatalf("%s has no row for state %b", n.ID, state)
		return 0
	}
	compared := 0
	for _, m := range net.Marginals {
		for asked, want := range m.PYes {
			model := &Model{Causes: []Cause{{ID: "yes", Mends: "yes"}, {ID: "no", Mends: "no"}}}
			checks := map[string]*Check{}
			for node := range m.Evidence {
				checks[node] = &Check{ID: node, Mode: Ask, Power: Off, Answers: []string{"yes", "no"}, Minutes: 1}
				model.Checks = append(model.Checks, checks[node])
			}
			// hypotheses of one cause stand together
			for cause, w := range []string{"yes", "no"} {
				for state := range 1 << len(net.Nodes) {
					if word(state, ids[asked]) != w {
						continue
					}
					p := 1.0
					for node := range net.Nodes {
						p *= chance(state, node)
					}
					if p == 0 {
						continue
					}
					model.hyps = append(model.hyps, hypothesis{cause, math.Log(p)})
					for node, c := range checks {
						row := []float64{0, 1}
						if word(state, ids[node]) == "yes" {
							row = []float64{1, 0}
						}
						c.shows.set(len(model.hyps)-1, prediction{row: row})
					}
				}
			}
			model.finish()
			c := NewCourse(model, Gate{})
			for node, w := range m.Evidence {
				require.NoError(t, c.Apply(Event{Kind: Read, Check: node, Result: Result{Answer: w}}))
			}
			r, _ := c.Ranking()
			for _, x := range r {
				if x.Cause.ID == "yes" {
					require.InDelta(t, want.P, x.P, want.Within, "%s: %s", m.Name, asked)
					compared++
				}
			}
		}
	}
	t.Logf("%d published posteriors", compared)
	require.GreaterOrEqual(t, compared, 14)
}

// TestPolybox plays the worked example of de Kleer and Williams (1987): three
// multipliers and two adders. Causes are sets of up to two broken parts; a
// broken part puts out any whole number from 0 to 24 alike, and every such
// number is a hypothesis of its cause.
func TestPolybox(t *testing.T) {
	var box struct {
		Circuit struct {
			Inputs map[string]int
			Parts  []struct {
				ID, Does, Out string
				In            []string
			}
			Observed map[string]int
		}
		MinimalDiagnoses []struct{ Parts []string } `yaml:"minimal_diagnoses"`
		BestProbe        struct{ Point string }     `yaml:"best_probe"`
		AfterProbe       []struct {
			Point            string
			Value            int
			MinimalDiagnoses [][]string `yaml:"minimal_diagnoses"`
		} `yaml:"after_probe"`
	}
	published(t, "polybox.yaml", &box)
	const values, pFail = 25, 0.01
	parts := box.Circuit.Parts
	points := []string{"X", "Y", "Z", "F", "G"}
	var answers []string
	for v := range 2 * values {
		answers = append(answers, itoa(v))
	}
	solve := func(broken map[string]int) map[string]int {
		at := map[string]int{}
		for k, v := range box.Circuit.Inputs {
			at[k] = v
		}
		for _, p := range parts { // listed from inputs to outputs
			v, bad := broken[p.ID]
			switch {
			case bad:
				at[p.Out] = v
			case p.Does == "multiply":
				at[p.Out] = at[p.In[0]] * at[p.In[1]]
			default:
				at[p.Out] = at[p.In[0]] + at[p.In[1]]
			}
		}
		return at
	}
	m := &Model{}
	for _, p := range points {
		m.Checks = append(m.Checks, &Check{ID: p, Mode: Look, Power: Live, Answers: answers, Minutes: 1})
	}
	add := func(set []string) {
		cause := len(m.Causes)
		id := strings.Join(set, " ")
		m.Causes = append(m.Causes, Cause{ID: id, Mends: id})
		prior := math.Pow(pFail, float64(len(set))) * math.Pow(1-pFail, float64(len(parts)-len(set)))
		n := int(math.Pow(values, float64(len(set))))
		for k := range n {
			broken := map[string]int{}
			for i, x := range set {
				broken[x] = k / int(math.Pow(values, float64(i))) % values
			}
			at := solve(broken)
			m.hyps = append(m.hyps, hypothesis{cause, math.Log(prior / float64(n))})
			for i, p := range points {
				row := make([]float64, len(answers))
				if at[p] < len(answers) {
					row[at[p]] = 1
				}
				m.Checks[i].shows.set(len(m.hyps)-1, prediction{row: row})
			}
		}
	}
	add([]string{"nothing"})
	for i, p := range parts {
		add([]string{p.ID})
		for _, q := range parts[i+1:] {
			add([]string{p.ID, q.ID})
		}
	}
	// The sound circuit stands among the causes too; the readings exclude it.
	m.finish()
	minimal := func(c *Course) [][]string {
		r, _ := c.Ranking()
		var sets [][]string
		for _, x := range r {
			if x.P > 1e-12 {
				sets = append(sets, strings.Fields(x.Cause.ID))
			}
		}
		var out [][]string
		for _, s := range sets {
			if !slices.ContainsFunc(sets, func(sub []string) bool {
				return len(sub) < len(s) && !slices.ContainsFunc(sub, func(p string) bool { return !slices.Contains(s, p) })
			}) {
				out = append(out, s)
			}
		}
		return out
	}
	c := NewCourse(m, Gate{})
	for point, v := range box.Circuit.Observed {
		require.NoError(t, c.Apply(Event{Kind: Read, Check: point, Result: Result{Answer: itoa(v)}}))
	}
	var want [][]string
	for _, d := range box.MinimalDiagnoses {
		want = append(want, d.Parts)
	}
	sameSets(t, want, minimal(c))
	step := c.Next()
	require.NotNil(t, step.Check)
	require.Equal(t, box.BestProbe.Point, step.Check.ID)
	for _, after := range box.AfterProbe {
		require.NoError(t, c.Apply(Event{Kind: Read, Check: after.Point, Result: Result{Answer: itoa(after.Value)}}))
		sameSets(t, after.MinimalDiagnoses, minimal(c))
		require.NoError(t, c.Apply(Event{Kind: Undone}))
	}
}

func itoa(n int) string { return string(rune('0'+n/10)) + string(rune('0'+n%10)) }

func sameSets(t *testing.T, want, got [][]string) {
	t.Helper()
	key := func(sets [][]string) []string {
		var out []string
		for _, s := range sets {
			s = slices.Sorted(slices.Values(s))
			out = append(out, strings.Join(s, " "))
		}
		slices.Sort(out)
		return out
	}
	require.Equal(t, key(want), key(got))
}
