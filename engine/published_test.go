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

// A net is a Bayesian network as the files of testdata/published write it.
type net []struct {
	ID     string
	Values []string // yes and no unless given
	Rows   []struct {
		Given map[string]string
		P     chances
	}
}

// chances are those of a node's values; one alone is that of the first of two.
type chances []float64

func (c *chances) UnmarshalYAML(n *yaml.Node) error {
	if n.Kind == yaml.SequenceNode {
		return n.Decode((*[]float64)(c))
	}
	var first float64
	err := n.Decode(&first)
	*c = chances{first, 1 - first}
	return err
}

// values of a node, in order.
func (n net) values(node int) []string {
	if v := n[node].Values; v != nil {
		return v
	}
	return []string{"yes", "no"}
}

// states are all joint states: the value of each node, by index.
func (n net) states() [][]int {
	out := [][]int{nil}
	for node := range n {
		var longer [][]int
		for _, state := range out {
			for v := range n.values(node) {
				longer = append(longer, append(slices.Clone(state), v))
			}
		}
		out = longer
	}
	return out
}

// chance of a node's value given its parents in the joint state.
func (n net) chance(t *testing.T, state []int, node int) float64 {
	t.Helper()
	for _, r := range n[node].Rows {
		fits := true
		for parent, word := range r.Given {
			k := n.index(parent)
			fits = fits && n.values(k)[state[k]] == word
		}
		if fits {
			return r.P[state[node]]
		}
	}
	t.Fatalf("%s has no row for state %v", n[node].ID, state)
	return 0
}

func (n net) index(id string) int {
	for k := range n {
		if n[k].ID == id {
			return k
		}
	}
	return -1
}

// posterior asks the engine for the chances of a node's values, given others. The
// engine knows one hidden variable with exclusive values and evidence that is
// independent given it; a network has several hidden ones. It admits the engine's
// form all the same: each joint state is a hypothesis, and the variable asked for
// groups them into causes.
func (n net) posterior(t *testing.T, asked string, evidence map[string]string) map[string]float64 {
	t.Helper()
	model := &Model{}
	checks := map[int]*Check{}
	for id := range evidence {
		k := n.index(id)
		checks[k] = &Check{ID: id, Mode: Ask, Power: Off, Answers: n.values(k), Minutes: 1}
		model.Checks = append(model.Checks, checks[k])
	}
	of := n.index(asked)
	for cause, word := range n.values(of) { // hypotheses of one cause stand together
		model.Causes = append(model.Causes, Cause{ID: word, Mends: word})
		for _, state := range n.states() {
			if state[of] != cause {
				continue
			}
			p := 1.0
			for node := range n {
				p *= n.chance(t, state, node)
			}
			if p == 0 {
				continue
			}
			model.hyps = append(model.hyps, hypothesis{cause, math.Log(p)})
			for k, c := range checks {
				row := make([]float64, len(c.Answers))
				row[state[k]] = 1
				c.shows.set(len(model.hyps)-1, prediction{row: row})
			}
		}
	}
	model.finish()
	c := NewCourse(model, Gate{})
	for id, word := range evidence {
		require.NoError(t, c.Apply(Event{Kind: Read, Check: id, Result: Result{Answer: word}}))
	}
	r, _ := c.Ranking()
	out := map[string]float64{}
	for _, x := range r {
		out[x.Cause.ID] = x.P
	}
	return out
}

// TestAsia holds the ranking against the published posteriors of the chest
// clinic network.
func TestAsia(t *testing.T) {
	var file struct {
		Nodes     net
		Marginals []struct {
			Name     string
			Evidence map[string]string
			PYes     map[string]struct{ P, Within float64 } `yaml:"p_yes"`
		}
	}
	published(t, "asia.yaml", &file)
	compared := 0
	for _, m := range file.Marginals {
		for asked, want := range m.PYes {
			require.InDelta(t, want.P, file.Nodes.posterior(t, asked, m.Evidence)["yes"], want.Within, "%s: %s", m.Name, asked)
			compared++
		}
	}
	t.Logf("%d published posteriors", compared)
	require.GreaterOrEqual(t, compared, 14)
}

// TestCarStart holds the ranking against a published troubleshooting network, in
// which a car does not start for want of fuel, for dirty plugs, or for either or
// neither: its table is a noisy-OR with a leak, and the reading of the fuel meter
// explains one cause away.
func TestCarStart(t *testing.T) {
	var file struct {
		Nodes   net
		NoisyOr struct {
			Leak  float64
			Links map[string]float64
		} `yaml:"noisy_or"`
		Posteriors []struct {
			Name     string
			Evidence map[string]string
			P        map[string]struct {
				P      []float64
				Within float64
			}
		}
	}
	published(t, "carstart.yaml", &file)
	n, or := file.Nodes, file.NoisyOr
	fuel, plugs, start := n.index("fuel"), n.index("plugs"), n.index("start")
	for _, state := range n.states() {
		starts := 1 - or.Leak
		if n.values(fuel)[state[fuel]] == "no" {
			starts *= 1 - or.Links["no fuel"]
		}
		if n.values(plugs)[state[plugs]] == "dirty" {
			starts *= 1 - or.Links["dirty plugs"]
		}
		want := []float64{starts, 1 - starts}[state[start]]
		require.InDelta(t, want, n.chance(t, state, start), 1e-12, "the printed table is a noisy-OR")
	}
	compared := 0
	for _, m := range file.Posteriors {
		for asked, want := range m.P {
			got := n.posterior(t, asked, m.Evidence)
			for k, word := range n.values(n.index(asked)) {
				require.InDelta(t, want.P[k], got[word], want.Within, "%s: %s %s", m.Name, asked, word)
				compared++
			}
		}
	}
	t.Logf("%d published posteriors", compared)
	require.Equal(t, 20, compared)
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
