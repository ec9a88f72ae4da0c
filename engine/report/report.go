package report

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"probable/engine"
	"probable/engine/circuit"
	"probable/engine/drawing"
)

// Version is the version of the JSON form of a report.
const Version = 1

// About is what a report says of a case besides its course.
type About struct {
	Case          string
	Harness       *circuit.Harness // nil without one
	HarnessName   string
	HarnessDigest string
	Symptom       string
	Guide         string
	Tool          string // version
	BaseDigest    string // of the knowledge the case was opened with
	BaseChanged   bool   // the knowledge is another one now
	Opened, Last  time.Time
	Times         []time.Time // of the answers, in order
	ClockBack     bool        // the clock was set back in the middle
	From          string      // the case whose answers this one took over
	Facts         map[string]any
	Supply        map[string]float64 // V measured before the first check, by part
	Before        map[string]int     // times each cause was mended on this harness before
	Notes         []Note
	Replay        json.RawMessage // what the case is worked from again
	Share         bool            // leave out paths and notes
}

// Report is all that a report says; its JSON form is described by [Schema].
type Report struct {
	Version  int                  `json:"version"`
	Case     string               `json:"case"`
	Status   engine.Status        `json:"status"`
	Vehicle  string               `json:"vehicle,omitempty"`
	Symptom  string               `json:"symptom,omitempty"`
	Guide    string               `json:"guide,omitempty"`
	HandOffs []string             `json:"hand_offs,omitempty"` // guides that took over, in order
	Opened   time.Time            `json:"opened"`
	Last     time.Time            `json:"last"`
	Known    []string             `json:"known,omitempty"` // before the first check
	Settled  bool                 `json:"settled"`         // the search has ended in a verdict
	Causes   []Cause              `json:"causes"`
	Bits     float64              `json:"bits"`
	Repair   string               `json:"repair,omitempty"`
	Repaired string               `json:"repaired,omitempty"`
	Groups   [][]string           `json:"groups,omitempty"`
	Pairs    []Pair               `json:"pairs,omitempty"`
	LeftOut  []string             `json:"left_out,omitempty"`
	Prove    []string             `json:"prove,omitempty"`
	Readings []Reading            `json:"readings"`
	Trace    []map[string]float64 `json:"trace"`             // probabilities of the leading causes after each answer
	Touched  []string             `json:"touched,omitempty"` // parts and wires
	Cautions []string             `json:"cautions"`
	Notes    []Note               `json:"notes,omitempty"`
	Tool     string               `json:"tool"`
	Base     string               `json:"knowledge"`
	Changed  bool                 `json:"knowledge_changed,omitempty"`
	Digest   string               `json:"harness_digest,omitempty"`
	From     string               `json:"from,omitempty"`       // the case whose answers were taken over
	Back     bool                 `json:"clock_back,omitempty"` // the clock was set back in the middle
	Replay   json.RawMessage      `json:"replay,omitempty"`

	wiring []byte // SVG, or nil
	chart  []byte
}

// Cause is one cause of the verdict.
type Cause struct {
	ID       string   `json:"id"`
	P        float64  `json:"p"`
	Say      string   `json:"say,omitempty"`
	Start    float64  `json:"start,omitempty"`    // probability before all that was learned
	Evidence []Factor `json:"evidence,omitempty"` // what raised and lowered it, of a leading cause
}

// Factor is what a reading, or a repair that did not prove, does to a cause.
type Factor struct {
	N     int     `json:"n,omitempty"` // number of the reading
	Times float64 `json:"times"`
	P     float64 `json:"p"` // after it

	short, place, shows string
	little              bool
}

// Pair is two causes that explain the readings together.
type Pair struct {
	A string  `json:"a"`
	B string  `json:"b"`
	P float64 `json:"p"`
}

// Reading is one check and what came of it.
type Reading struct {
	N        int               `json:"n"`
	Time     *time.Time        `json:"time,omitempty"`
	Check    string            `json:"check"`
	Power    engine.Power      `json:"power"`
	Red      string            `json:"red,omitempty"`
	Black    string            `json:"black,omitempty"`
	State    string            `json:"state,omitempty"`
	Read     string            `json:"read,omitempty"`
	Skipped  string            `json:"skipped,omitempty"` // why
	Good     string            `json:"good,omitempty"`    // what a healthy vehicle shows
	Healthy  bool              `json:"healthy"`
	Proof    bool              `json:"proof,omitempty"`
	Stale    bool              `json:"stale,omitempty"`    // no longer counted by itself
	Odd      bool              `json:"odd,omitempty"`      // probably wrong, by all that is known
	Unlike   bool              `json:"unlike,omitempty"`   // an answer that what leads gives seldom
	Predicts map[string]string `json:"predicts,omitempty"` // by leading cause
}

// Note is a remark, or the place of a picture.
type Note struct {
	Time  time.Time `json:"time"`
	Text  string    `json:"text,omitempty"`
	Photo string    `json:"photo,omitempty"`
}

// leading is how many causes a report compares readings with, and draws.
const (
	leading = 3
	charted = 6
)

// Of makes the report of a course.
func Of(c *engine.Course, a About) (*Report, error) {
	m, v := c.Model(), c.Verdict()
	r := &Report{
		Version: Version, Case: a.Case, Status: v.Status, Vehicle: a.HarnessName, Symptom: a.Symptom, Guide: a.Guide,
		Opened: a.Opened, Last: a.Last, Settled: c.Settled(), Bits: round(v.Bits), Repaired: c.LastRepair(), LeftOut: v.LeftOut,
		Prove: v.Prove, Tool: a.Tool, Base: a.BaseDigest, Changed: a.BaseChanged, Digest: a.HarnessDigest, From: a.From, Back: a.ClockBack, Replay: a.Replay,
	}
	for _, h := range c.HandOffs() {
		r.HandOffs = append(r.HandOffs, h.Guide.ID)
	}
	for _, name := range slices.Sorted(maps.Keys(a.Facts)) {
		value := fmt.Sprint(a.Facts[name])
		switch a.Facts[name] {
		case true:
			value = "yes"
		case false:
			value = "no"
		}
		r.Known = append(r.Known, strings.ReplaceAll(name, "_", " ")+" "+value)
	}
	for _, part := range slices.Sorted(maps.Keys(a.Supply)) {
		r.Known = append(r.Known, fmt.Sprintf("%s reads %.4g V", part, a.Supply[part]))
	}
	for _, cause := range slices.Sorted(maps.Keys(a.Before)) {
		r.Known = append(r.Known, fmt.Sprintf("mended here before %d times: %s", a.Before[cause], cause))
	}
	for _, x := range v.Causes {
		r.Causes = append(r.Causes, Cause{ID: x.Cause.ID, P: round(x.P), Say: x.Cause.Say})
	}
	r.explain(c)
	for _, p := range v.Pairs {
		r.Pairs = append(r.Pairs, Pair{p.A.ID, p.B.ID, round(p.P)})
	}
	if r.Settled {
		r.Repair, r.Groups = v.Repair, v.Groups
	}
	top := v.Causes[0].Cause
	r.Cautions = slices.Concat(m.Cautions, top.Cautions)
	if top.Kills != "" {
		r.Cautions = append(r.Cautions, "What kills the part: "+top.Kills)
	}
	if top.Hurts != "" {
		r.Cautions = append(r.Cautions, "What hurts a person: "+top.Hurts)
	}
	if !a.Share {
		r.Notes = a.Notes
	}
	r.readings(c, a, r.leaders(), v)
	r.trace(c)
	r.touched(c, a.Harness)
	return r, r.draw(c, a.Harness)
}

// explain notes what raised and lowered the leading causes.
func (r *Report) explain(c *engine.Course) {
	for i := range r.Causes[:min(len(r.Causes), leading)] {
		x := &r.Causes[i]
		factors := c.Explain(x.ID)
		if len(factors) == 0 {
			continue
		}
		x.Start = round(engine.Start(factors))
		for _, f := range factors {
			e := Factor{N: f.N, Times: f.Written(), P: round(f.P), short: f.Short(), little: f.Little(), shows: f.Shows, place: "a repair that did not prove"}
			if f.Check != nil {
				e.place = f.Check.ID + ": " + f.Check.Shows(f.Result)
			}
			if f.Before {
				e.place += " (read before a repair)"
			}
			x.Evidence = append(x.Evidence, e)
		}
	}
}

// readings notes every check against what the leading causes predict.
func (r *Report) readings(c *engine.Course, a About, leaders []string, v *engine.Verdict) {
	m := c.Model()
	r.Readings = []Reading{}
	for i, t := range c.Taken() {
		k := t.Check
		x := Reading{N: i + 1, Check: k.ID, Power: k.Power, Red: k.Red, Black: k.Black, State: k.State,
			Skipped: t.Skipped, Good: k.Good(), Healthy: t.Healthy, Proof: t.Proof, Stale: t.Stale, Odd: slices.Contains(v.Odd, i+1), Unlike: slices.Contains(v.Unlike, i+1)}
		if i < len(a.Times) {
			x.Time = &a.Times[i]
		}
		if t.Skipped == "" {
			x.Read = k.Shows(t.Result)
		} else if a.Share {
			x.Skipped = "skipped" // the reason may name anything
		}
		for _, id := range leaders {
			if s := m.Predicts(k, id); s != "" {
				if x.Predicts == nil {
					x.Predicts = map[string]string{}
				}
				x.Predicts[id] = s
			}
		}
		r.Readings = append(r.Readings, x)
	}
}

// trace notes how the probabilities went of the causes that led at any time.
func (r *Report) trace(c *engine.Course) {
	trace := c.Trace()
	most := map[string]float64{}
	for i, ranking := range trace {
		for _, x := range ranking {
			p := x.P
			if i == len(trace)-1 {
				p += 1 // those that lead now come first
			}
			most[x.Cause.ID] = max(most[x.Cause.ID], p)
		}
	}
	ids := slices.SortedFunc(maps.Keys(most), func(a, b string) int {
		return cmp.Or(cmp.Compare(most[b], most[a]), strings.Compare(a, b))
	})
	ids = ids[:min(len(ids), charted)]
	var series []drawing.Series
	for _, id := range ids {
		series = append(series, drawing.Series{Name: id, Shares: make([]float64, len(trace))})
	}
	for i, ranking := range trace {
		at := map[string]float64{}
		for _, x := range ranking {
			at[x.Cause.ID] = x.P
		}
		now := map[string]float64{}
		for k, id := range ids {
			now[id], series[k].Shares[i] = round(at[id]), at[id]
		}
		r.Trace = append(r.Trace, now)
	}
	var svg bytes.Buffer
	_ = drawing.Page{Width: figureWidth}.Chart(&svg, "Probability of the causes", series) // a buffer never fails
	r.chart = svg.Bytes()
}

// figureWidth is the width of a report's figures in px.
const figureWidth = 900

// touched lists the parts and wires that probes or the repair came to.
func (r *Report) touched(c *engine.Course, h *circuit.Harness) {
	if h == nil {
		return
	}
	seen := map[string]bool{}
	add := func(what string) {
		if what != "" && !seen[what] {
			seen[what] = true
			r.Touched = append(r.Touched, what)
		}
	}
	for _, t := range c.Taken() {
		if t.Skipped != "" {
			continue
		}
		for _, pin := range []string{t.Check.Red, t.Check.Black} {
			if part, _, ok := strings.Cut(pin, "."); ok && h.Part(part) != nil {
				add("part " + part)
			}
		}
	}
	if r.Repaired != "" {
		add(r.Repaired)
	}
	slices.Sort(r.Touched)
}

// draw draws the wiring with what was probed and what is suspect.
func (r *Report) draw(c *engine.Course, h *circuit.Harness) error {
	if h == nil {
		return nil
	}
	var marks drawing.Marks
	for _, t := range c.Taken() {
		if t.Skipped != "" || t.Stale {
			continue
		}
		for _, pin := range []string{t.Check.Red, t.Check.Black} {
			switch {
			case pin == "" || pin == h.Ground:
			case t.Healthy:
				marks.Good = append(marks.Good, pin)
			default:
				marks.Bad = append(marks.Bad, pin)
			}
		}
	}
	about := []string{r.Repaired}
	if r.Status != engine.Proven {
		for _, x := range r.Causes {
			about = append(about, x.ID)
		}
	}
	for _, id := range about {
		for _, word := range strings.Fields(id) {
			name, _, _ := strings.Cut(word, ".")
			marks.Suspect = append(marks.Suspect, name)
		}
	}
	var svg bytes.Buffer
	if err := (drawing.Page{Width: figureWidth}).Marked(&svg, h, marks); err != nil {
		return err
	}
	r.wiring = svg.Bytes()
	return nil
}

// JSON returns the report's JSON form.
func (r *Report) JSON() ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	err := e.Encode(r)
	return b.Bytes(), err
}

// Differs says how the verdicts of two reports differ, or "". Probabilities
// count as equal within a millionth, as reports are written.
func (r *Report) Differs(o *Report) string {
	if r.Status != o.Status {
		return fmt.Sprintf("the status is %q, not %q", o.Status, r.Status)
	}
	if len(r.Causes) != len(o.Causes) {
		return fmt.Sprintf("the verdict has %d causes, not %d", len(o.Causes), len(r.Causes))
	}
	for i, x := range r.Causes {
		y := o.Causes[i]
		if x.ID != y.ID || math.Abs(x.P-y.P) > 2e-6 {
			return fmt.Sprintf("cause %d of the verdict is %s (%.4f), not %s (%.4f)", i+1, y.ID, y.P, x.ID, x.P)
		}
	}
	return ""
}

// round keeps six digits, enough for a program and short for a person.
func round(x float64) float64 { return math.Round(x*1e6) / 1e6 }
