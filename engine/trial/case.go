package trial

import (
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"

	"probable/engine"
)

// Case is a worked case: what is wrong, or what was read, and the verdict that it
// must reach.
type Case struct {
	ID, About string
	Cause     string            // what is wrong; empty: what was read says all, and the rest is skipped
	Facts     map[string]any    // by name, those that differ from the guide's defaults
	Answers   map[string]Answer // by check, in place of the likeliest result
	Verdict   []string          // causes that must stand in the verdict
	Ends      Ends
	AtMost    int  // checks; 0: any count
	Qualified bool // for live work above the extra-low voltage
}

// Answer is what a worked case says of a check: that it is skipped, an outcome,
// or a result.
type Answer struct {
	Skip    bool
	Outcome string // of a check that is read as a number
	Result  engine.Result
}

// Ends is how the verdict must be.
type Ends string

const (
	Anyhow Ends = ""
	Alone  Ends = "alone"  // one repair mends all that is in it
	Listed Ends = "listed" // causes of other repairs may stand beside
)

// Outcome is how a worked case went.
type Outcome struct {
	Result
	Differs []Difference
	Unasked []string // checks that have an answer and were not asked, sorted
}

// Passed reports whether all was as expected.
func (o *Outcome) Passed() bool { return len(o.Differs) == 0 }

// Difference is what did not come as expected.
type Difference struct {
	Of   string // the key of the case that asks for it: "verdict", "ends", "at_most" or "cause"; empty: it could not be played
	Text string
}

// Tryer plays worked cases of one guide. The guides are all there are.
type Tryer struct {
	Guide  *engine.Guide
	Guides engine.Guides
}

// All plays cases side by side and returns how each went.
func (t Tryer) All(cases []Case) []Outcome {
	out := make([]Outcome, len(cases))
	var wg sync.WaitGroup
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i := range cases {
		wg.Go(func() {
			slots <- struct{}{}
			out[i] = t.Play(&cases[i])
			<-slots
		})
	}
	wg.Wait()
	return out
}

// Play plays one case.
func (t Tryer) Play(c *Case) Outcome {
	var out Outcome
	m, err := engine.FromGuide(engine.Options{Guide: t.Guide, Facts: c.Facts, Guides: t.Guides})
	if err != nil {
		out.Differs = []Difference{{"", "it cannot be played: " + err.Error()}}
		return out
	}
	course := engine.NewCourse(m, engine.Gate{Qualified: c.Qualified})
	h := hidden{guides: t.Guides, course: course, cause: c.Cause, m: m}
	if c.Cause != "" && h.now() == "" {
		out.Differs = []Difference{{"cause", fmt.Sprintf("a vehicle with these facts cannot have %q", c.Cause)}}
		return out
	}
	asked := map[string]bool{}
	out.Result, err = Play(course, func(k *engine.Check) (engine.Result, bool) {
		asked[k.ID] = true
		a, given := c.Answers[k.ID]
		switch {
		case given && a.Skip, !given && c.Cause == "":
			return engine.Result{}, false
		case given && a.Outcome != "":
			r, _ := course.Model().Within(k, a.Outcome)
			return r, true
		case given:
			return a.Result, true
		}
		return course.Model().Likeliest(k, h.now()), true
	})
	for id := range c.Answers {
		if !asked[id] {
			out.Unasked = append(out.Unasked, id)
		}
	}
	slices.Sort(out.Unasked)
	if err != nil {
		out.Differs = []Difference{{"", "it cannot be played: " + err.Error()}}
		return out
	}
	out.Differs = t.compare(c, out.Result, course.HandOffs())
	return out
}

// compare says what is not as the case expects it.
func (t Tryer) compare(c *Case, r Result, handOffs []engine.HandOff) []Difference {
	var out []Difference
	var ids []string
	for _, x := range r.Verdict.Causes {
		ids = append(ids, x.Cause.ID)
	}
	for _, want := range c.Verdict {
		if !t.stands(want, ids, handOffs) {
			out = append(out, Difference{"verdict", fmt.Sprintf("%q does not stand in the verdict; there are: %s", want, strings.Join(ids, "; "))})
		}
	}
	if c.Ends == Alone && !r.Verdict.SameRepair {
		out = append(out, Difference{"ends", "more than one repair is left: " + strings.Join(ids, "; ")})
	}
	if n := r.Checks(); c.AtMost > 0 && n > c.AtMost {
		out = append(out, Difference{"at_most", fmt.Sprintf("it took %d checks, more than %d", n, c.AtMost)})
	}
	return out
}

// stands reports whether a cause stands in a verdict, itself or, where it was
// handed off, by any cause of the guide that took its place.
func (t Tryer) stands(cause string, verdict []string, handOffs []engine.HandOff) bool {
	if slices.Contains(verdict, cause) {
		return true
	}
	for _, h := range handOffs {
		if h.Cause != cause {
			continue
		}
		for _, c := range h.Guide.Causes {
			if slices.ContainsFunc(t.Guide.Causes, func(x engine.GuideCause) bool { return x.Origin == c.Origin }) {
				continue // it was there before
			}
			if t.stands(c.ID, verdict, handOffs) || slices.Contains(verdict, c.ID+", "+h.Guide.ID) {
				return true
			}
		}
	}
	return false
}

// hidden is what is wrong with the vehicle, as the model of the moment has it.
type hidden struct {
	guides engine.Guides
	course *engine.Course
	cause  string
	m      *engine.Model // that cause was last looked up in
}

// now returns the cause that the course's model has in the place of what is
// wrong: itself, the one that hands off to a guide which has it, or, where it was
// handed off itself, the likeliest of those that took its place. It is empty where
// the model has none of them.
func (h *hidden) now() string {
	m := h.course.Model()
	if m != h.m && !has(m, h.cause) && has(h.m, h.cause) {
		var best *engine.Cause
		for i := range m.Causes {
			if c := &m.Causes[i]; c.ID != engine.Unexplained && !has(h.m, c.ID) && (best == nil || c.Odds > best.Odds) {
				best = c
			}
		}
		if best != nil {
			h.cause = best.ID
		}
	}
	h.m = m
	if has(m, h.cause) {
		return h.cause
	}
	for _, c := range m.Causes {
		if c.HandOff != "" && h.reaches(h.guides[c.HandOff], map[string]bool{}) {
			return c.ID
		}
	}
	return ""
}

// reaches reports whether the guide has what is wrong, or hands off to one that
// does.
func (h *hidden) reaches(g *engine.Guide, seen map[string]bool) bool {
	if g == nil || seen[g.ID] {
		return false
	}
	seen[g.ID] = true
	for _, c := range g.Causes {
		if c.ID == h.cause || c.ID+", "+g.ID == h.cause || h.reaches(h.guides[c.HandOff], seen) {
			return true
		}
	}
	return false
}

func has(m *engine.Model, cause string) bool {
	return slices.ContainsFunc(m.Causes, func(c engine.Cause) bool { return c.ID == cause })
}
