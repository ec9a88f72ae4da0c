package rules

import (
	"maps"
	"math"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"probable/engine"
	"probable/engine/trial"
)

// Cases are the worked cases of one guide, as a file gives them.
type Cases struct {
	Guide *engine.Guide
	Play  []trial.Case
	at    []map[string]Place // by case: where its keys stand, and "" where it begins
}

// Place returns where a key of a case stands, or where the case begins if it has
// no such key. The answer to a check is the key "readings / CHECK".
func (c *Cases) Place(i int, key string) Place {
	if p, ok := c.at[i][key]; ok {
		return p
	}
	return c.at[i][""]
}

// casesReader reads a file of worked cases. What a name may be depends on the
// guide and on those that it may hand off to.
type casesReader struct {
	*document
	guides engine.Guides
	g      *engine.Guide
	checks map[string][]*engine.GuideCheck // by ID
	causes []string
}

// ReadCases reads a file of worked cases, of a guide of this base. The error, if
// any, is [Problems].
func (b *Base) ReadCases(file string, data []byte) (*Cases, error) {
	r := &casesReader{document: &document{file: file}, checks: map[string][]*engine.GuideCheck{}}
	out := &Cases{}
	root := r.parse(data)
	if root == nil {
		return out, r.problems.err()
	}
	m := r.mapping(root, "cases file")
	guide := m.need("cases")
	id := r.text(guide, "cases")
	if r.known(guide, id, b.orAny(b.GuideIDs()), "cases: there is no guide") {
		r.guides, _ = b.Reach(id) // what is wrong with them is not of this file
		r.g = r.guides[id]
		r.reach(r.g, map[string]bool{})
	}
	r.version(m.need("version"))
	seen := map[string]bool{}
	for _, n := range r.several(m.need("play"), "play") {
		c, at := r.one(n, seen)
		out.Play, out.at = append(out.Play, c), append(out.at, at)
	}
	m.done()
	out.Guide = r.g
	return out, r.problems.err()
}

// reach notes the checks and causes of a guide and of those that it may hand off
// to. Where an ID is in use the other guide's has the guide's behind it.
func (r *casesReader) reach(g *engine.Guide, seen map[string]bool) {
	if g == nil || seen[g.ID] {
		return
	}
	seen[g.ID] = true
	note := func(id string, k *engine.GuideCheck) { r.checks[id] = append(r.checks[id], k) }
	for i := range g.Checks {
		k := &g.Checks[i]
		note(k.ID, k)
		if g != r.g {
			note(k.ID+", "+g.ID, k)
		}
	}
	for _, c := range g.Causes {
		r.causes = append(r.causes, c.ID)
		if g != r.g {
			r.causes = append(r.causes, c.ID+", "+g.ID)
		}
		r.reach(r.guides[c.HandOff], seen)
	}
}

// caseEnds are how a worked case may end.
var caseEnds = []string{string(trial.Alone), string(trial.Listed)}

// one reads one worked case, and returns where its keys stand.
func (r *casesReader) one(n *yaml.Node, seen map[string]bool) (trial.Case, map[string]Place) {
	at := map[string]Place{"": {r.file, n.Line, n.Column}}
	m := r.mapping(n, "case")
	for key, k := range m.at {
		at[key] = Place{r.file, k.Line, k.Column}
	}
	idNode := m.need("id")
	c := trial.Case{ID: r.id(idNode, "case: id")}
	what := "case " + c.ID
	if seen[c.ID] && c.ID != "" {
		r.errorf(idNode, "%s: the id stands twice", what)
	}
	seen[c.ID] = true
	c.About = r.text(m.need("about"), what+": about")
	if x := m.get("cause"); x != nil {
		c.Cause = r.text(x, what+": cause")
		r.isCause(x, c.Cause, what+": there is no cause")
	}
	c.Facts = r.factsOf(m.get("facts"), what)
	readings := m.get("readings")
	c.Answers = map[string]trial.Answer{}
	rm := r.mapping(readings, what+": readings")
	for _, id := range rm.keys {
		at["readings / "+id] = Place{r.file, rm.at[id].Line, rm.at[id].Column}
		v := rm.get(id)
		kinds := r.checks[id]
		if r.g != nil && len(kinds) == 0 {
			r.known(rm.at[id], id, slices.Sorted(maps.Keys(r.checks)), what+": readings: there is no check")
		}
		c.Answers[id] = r.answer(v, kinds, what+": "+id)
	}
	if c.Cause == "" && m.value["cause"] == nil && len(rm.keys) == 0 && !r.bad[readings] {
		r.errorf(n, "%s: give the cause, or what was read", what)
	}
	for _, x := range r.several(m.need("verdict"), what+": verdict") {
		id := r.text(x, what+": verdict")
		r.isCause(x, id, what+": verdict: there is no cause")
		c.Verdict = append(c.Verdict, id)
	}
	if x := m.get("ends"); x != nil {
		c.Ends = trial.Ends(r.oneOf(x, caseEnds, what+": ends"))
	}
	if x := m.get("at_most"); x != nil {
		c.AtMost = int(r.within(x, 1, 200, what+": at_most"))
	}
	c.Qualified = r.yes(m.get("qualified"), what+": qualified")
	m.done()
	return c, at
}

func (r *casesReader) isCause(n *yaml.Node, id, otherwise string) {
	if r.g != nil && id != "" && id != engine.Unexplained {
		r.known(n, id, r.causes, otherwise)
	}
}

// factsOf reads the facts of a case, which are those of its guide.
func (r *casesReader) factsOf(n *yaml.Node, what string) map[string]any {
	out := map[string]any{}
	m := r.mapping(n, what+": facts")
	for _, name := range m.keys {
		v := m.get(name)
		if r.g == nil {
			continue
		}
		i := slices.IndexFunc(r.g.Facts, func(f engine.Fact) bool { return f.Name == name })
		if i < 0 {
			var names []string
			for _, f := range r.g.Facts {
				names = append(names, f.Name)
			}
			r.known(m.at[name], name, names, what+": facts: there is no fact")
			continue
		}
		switch f := r.g.Facts[i]; {
		case f.YesNo:
			out[name] = r.yes(v, what+": "+name)
		case f.Choices != nil:
			word := r.text(v, what+": "+name)
			r.known(v, word, f.Choices, what+": "+name+": there is no choice")
			out[name] = word
		default:
			out[name] = r.within(v, f.Low, f.High, what+": "+name)
		}
	}
	return out
}

// skipped is the answer to a check that is not made.
const skipped = "skip"

// numbers reads what a check that wants several numbers showed.
func (r *casesReader) numbers(n *yaml.Node, checks []*engine.GuideCheck, what string) trial.Answer {
	var result engine.Result
	for _, x := range r.list(n, what) {
		v, ok := r.number(x, what)
		if !ok {
			return trial.Answer{}
		}
		result.Values = append(result.Values, v)
	}
	var wrong error
	for _, k := range checks {
		if wrong = k.Fits(result); wrong == nil {
			break
		}
	}
	if wrong != nil {
		r.errorf(n, "%s: %v", what, wrong)
	}
	return trial.Answer{Result: result}
}

// answer reads what a check showed: a number in SI units, OL, an outcome's ID, the
// several numbers that it wants, or that it was skipped. The check may be any of
// several of one ID.
func (r *casesReader) answer(n *yaml.Node, checks []*engine.GuideCheck, what string) trial.Answer {
	if n.Kind == yaml.SequenceNode {
		return r.numbers(n, checks, what)
	}
	text := r.text(n, what)
	if text == skipped {
		return trial.Answer{Skip: true}
	}
	var answers []string
	numbers := false
	for _, k := range checks {
		if slices.Contains(k.Answers, text) {
			if k.Mode.Numeric() {
				return trial.Answer{Outcome: text}
			}
			return trial.Answer{Result: engine.Result{Answer: text}}
		}
		answers = append(answers, k.Answers...)
		numbers = numbers || k.Mode.Numeric() || k.Mode == engine.Continuity
	}
	if len(checks) == 0 || text == "" {
		return trial.Answer{}
	}
	if !numbers {
		r.known(n, text, append(answers, skipped), what+": there is no outcome")
		return trial.Answer{}
	}
	if strings.EqualFold(text, "OL") {
		return trial.Answer{Result: engine.Result{Over: true}}
	}
	v, ok := r.number(n, what)
	if ok && math.Abs(v) > 1e10 {
		r.errorf(n, "%s: %g is not a reading of a bench meter", what, v)
	}
	return trial.Answer{Result: engine.Result{Value: v}}
}
