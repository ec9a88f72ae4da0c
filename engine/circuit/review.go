package circuit

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// Severity says how much a finding matters.
type Severity string

const (
	Error   Severity = "error"   // wrong, or a danger
	Warning Severity = "warning" // may be meant so
)

// Finding is one thing about a harness that looks wrong though its file reads well.
type Finding struct {
	Severity Severity
	Where    string // "part NAME", "wire NAME", "state NAME" or "symptom ID"; empty for all of it
	Text     string
	Right    string // what would be right
}

// Bounds of a review, so that it ends on harnesses of any size.
const (
	stateWork      = 5e9  // squared unknowns of all states that are solved
	switchWork     = 2e9  // and of all settings that are tried in them
	reviewUnknowns = 1500 // above this single faults are not tried
	reviewFindings = 200
)

// What a review takes for a sign of something wrong (common practice, no source).
const (
	changesShare = 0.01  // of a node's voltage: a switch that moves no node by more switches nothing
	changesLeast = 0.01  // V, and no less than this
	drivenShare  = 0.01  // of the highest supply: less between two pins does not drive a part
	shortOhms    = 0.05  // outside a supply: less is a short
	shortFuses   = 20    // times the largest fuse: a supply that delivers more is shorted
	overRated    = 1.5   // times its rated power or current
	takesNothing = 1e-6  // of its rated power or current
	conductsOhms = 1     // a part with less between two pins is a conductor
	loadAmps     = 0.02  // a part that draws less at the supply's volts leads no fault current on
	strongAmps   = 20    // a supply that can deliver more is a danger without a fuse
	carriesAmps  = 0.001 // less is no current to speak of
)

// Review returns what looks wrong with the harness, errors first. Its work is
// bounded; where it stops early, a last finding says what was left out.
func (h *Harness) Review() []Finding { return h.review(stateWork, switchWork) }

func (h *Harness) review(states, switches float64) []Finding {
	b := &Bench{h: h, net: h.network(), bases: map[setup]*base{}, tried: []State{{}}}
	r := &reviewer{h: h, b: b}
	r.unwired()
	r.floating()
	r.unfused()
	r.thin()
	r.left = states
	r.solve()
	r.supplies()
	r.loads()
	r.wires()
	r.polarity()
	r.left = switches
	r.switches()
	r.symptoms()
	slices.SortStableFunc(r.findings, func(a, b Finding) int { return cmp.Compare(a.Severity, b.Severity) })
	if n := len(r.findings); n > reviewFindings {
		r.findings = r.findings[:reviewFindings]
		r.skipped = append(r.skipped, fmt.Sprintf("%d more findings", n-reviewFindings))
	}
	if len(r.skipped) > 0 {
		r.add(Warning, "", "the harness is too big to review all of it; left out: "+strings.Join(r.skipped, ", "),
			"the harness in pieces, one circuit a file")
	}
	return r.findings
}

type reviewer struct {
	h        *Harness
	b        *Bench
	left     float64  // squared unknowns that may still be solved for
	order    *ordered // the pivots of the last network, which mostly do for the next
	findings []Finding
	skipped  []string
	views    []view
}

// view is the healthy harness, solved in a state.
type view struct {
	state   State
	at      point
	shorted bool // its currents say nothing of a healthy vehicle
	*Situation
}

func (r *reviewer) add(s Severity, where, text, right string) {
	r.findings = append(r.findings, Finding{s, where, text, right})
}

// amps returns the current of a branch from its a to its b.
func (v *view) amps(branch int) float64 { return v.sol.amps(branch) }

// inState says in which state, in words.
func inState(s State) string {
	if s.Name == "" {
		return "with everything at rest"
	}
	return fmt.Sprintf("in state %q", s.Name)
}

// look solves the healthy harness in a state with every fuse whole, without
// the factors that faults need. It is not ok where the work is used up.
func (r *reviewer) look(s State, from *point) (v view, err error, ok bool) {
	n := float64(r.b.net.nodes + len(r.b.net.branches))
	if r.left < n*n {
		return v, nil, false
	}
	r.left -= n * n
	at := r.b.net.start()
	if from != nil {
		at = *from
	}
	branches := r.b.set(s)
	var x []float64
	step := func(at point) (unknowns, error) {
		rows, rhs := r.b.net.matrix(branches, nil, at, 1)
		if r.order == nil {
			var err error
			if r.order, err = fixPivots(slices.Clone(rows), nil); err != nil {
				return nil, err
			}
		}
		if r.order.factor(rows, nil) == nil {
			x = r.order.solve(rhs)
		} else {
			lu, err := factor(rows)
			if err != nil {
				return nil, err
			}
			x = lu.solve(rhs)
		}
		return func(i int) float64 { return x[i] }, nil
	}
	found, err := r.b.search(branches, nil, at, false, step)
	if err != nil {
		if found, err = r.b.full(branches, nil, at, false); err == nil {
			_, err = step(found)
		}
		if err != nil {
			return v, err, true
		}
	}
	sol := &solution{bench: r.b, ba: &base{branches: branches, at: found}, at: found, x: x}
	return view{state: s, at: found, Situation: &Situation{bench: r.b, sol: sol}}, nil, true
}

// solve solves every state, at rest first.
func (r *reviewer) solve() {
	for i, s := range append([]State{{}}, r.h.States...) {
		v, err, ok := r.look(s, nil)
		switch {
		case !ok:
			r.skipped = append(r.skipped, fmt.Sprintf("%d of %d states", len(r.h.States)+1-i, len(r.h.States)+1))
			return
		case err != nil:
			where := ""
			if s.Name != "" {
				where = "state " + s.Name
			}
			r.add(Error, where, fmt.Sprintf("the healthy circuit has no solution %s: %v", inState(s), err),
				"supplies that do not work against each other")
		default:
			r.views = append(r.views, v)
		}
	}
}

// some writes a list of names, the first few of many.
func some(names []string) string {
	const most = 6
	if n := len(names); n > most {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), n-most)
	}
	return strings.Join(names, ", ")
}

// unwired finds pins that no wire goes to. Spare ways of a connector are no
// fault, nor are optional pins whose whole group is bare.
func (r *reviewer) unwired() {
	wired := map[string]bool{r.h.Ground: true}
	for _, w := range r.h.Wires {
		wired[w.From], wired[w.To] = true, true
	}
	for _, p := range r.h.Parts {
		var bare, spare []string
		for _, group := range p.Optional {
			if !slices.ContainsFunc(group, func(pin string) bool { return wired[p.Name+"."+pin] }) {
				spare = append(spare, group...)
			}
		}
		for _, pin := range p.OuterPins() {
			name := p.Name + "." + pin
			if wired[name] || slices.Contains(spare, pin) {
				continue
			}
			if p.Ways > 0 {
				way, side := pin[:len(pin)-1], pin[len(pin)-1:]
				other := map[string]string{"a": "b", "b": "a"}[side]
				if !wired[p.Name+"."+way+other] {
					continue
				}
			}
			bare = append(bare, pin)
		}
		if len(bare) > 0 {
			r.add(Warning, "part "+p.Name, fmt.Sprintf("no wire goes to %s of %s", some(bare), p.Name),
				"a wire in the drawing, or nothing if the pin is bare on the vehicle")
		}
	}
}

// floating finds pieces of the circuit that nothing connects to ground. The far
// side of an isolated converter is none: it is made to float.
func (r *reviewer) floating() {
	joined := r.h.islands(r.b.net)
	ground := joined.of(r.h.Ground)
	type piece struct {
		parts, wires     []string
		supply, isolated bool
	}
	pieces := map[int]*piece{}
	var order []int
	for _, w := range r.h.Wires {
		root := joined.of(w.From)
		if root == ground {
			continue
		}
		if pieces[root] == nil {
			pieces[root] = &piece{}
			order = append(order, root)
		}
		pieces[root].wires = append(pieces[root].wires, w.Name)
	}
	for _, p := range r.h.Parts {
		seen := map[int]bool{}
		for _, pin := range p.Pins {
			root := joined.of(p.Name + "." + pin)
			if pc := pieces[root]; pc != nil && !seen[root] {
				seen[root] = true
				pc.parts = append(pc.parts, p.Name)
			}
		}
		for _, e := range p.Elements {
			root := joined.of(p.Name + "." + e.A)
			if pc := pieces[root]; pc != nil && e.Type == Source {
				pc.supply = true
				pc.isolated = pc.isolated || slices.ContainsFunc(p.OuterPins(), func(pin string) bool {
					return joined.of(p.Name+"."+pin) != root
				})
			}
		}
	}
	for _, root := range order {
		pc := pieces[root]
		where := "wire " + pc.wires[0]
		switch {
		case pc.isolated:
			continue
		case pc.supply:
			r.add(Warning, where, fmt.Sprintf("wires %s (parts %s) are a circuit of their own: they have a supply and no path to the ground %s",
				some(pc.wires), some(pc.parts), r.h.Ground), "a wire that joins the two grounds; if there is none on the vehicle, take its readings between its own pins")
		default:
			r.add(Error, where, fmt.Sprintf("wires %s (parts %s) have no path to the ground %s in any state", some(pc.wires), some(pc.parts), r.h.Ground),
				"a wire that joins them to the rest, or a drawing without them")
		}
	}
}

// lowest returns the least ohms that a resistance has in any setting.
func (p *Part) lowest(e Element) float64 {
	if e.Type != Resistance {
		return math.Inf(1)
	}
	least := e.Ohms
	if e.Cut {
		least = math.Inf(1)
	}
	for _, s := range p.Settings {
		if v, ok := s[e.ID]; ok && !v.Cut {
			least = min(least, v.Ohms)
		}
	}
	return least
}

// link is a way for current from a node.
type link struct {
	to     int
	branch int
	fuse   float64 // A, or 0
	name   string  // of the fuse
	load   float64 // ohms of a load in the way, or 0
}

// links returns, by node, where current can go: wires, ways, joints, fuses,
// switches and parts of two pins that are as good as a conductor, and through
// loads.
func (r *reviewer) links() map[int][]link {
	net := r.b.net
	out := map[int][]link{}
	both := func(i int, l link) {
		br := &net.branches[i]
		l.branch = i
		l.to = br.b
		out[br.a] = append(out[br.a], l)
		l.to = br.a
		out[br.b] = append(out[br.b], l)
	}
	elements := map[int]bool{}
	for _, p := range r.h.Parts {
		for _, e := range p.Elements {
			i := net.branch[partKey(p.Name, e.ID)]
			elements[i] = true
			if e.Type != Resistance {
				continue
			}
			least := p.lowest(e)
			switched := slices.ContainsFunc(slices.Collect(maps.Values(p.Settings)), func(s Setting) bool { _, ok := s[e.ID]; return ok })
			switch {
			case e.Blows > 0:
				both(i, link{fuse: e.Blows, name: p.Name})
			case least < conductsOhms && (switched || len(p.Pins) == 2):
				both(i, link{})
			case least < OpenOhms && len(e.When) == 0 && least >= conductsOhms:
				both(i, link{load: least})
			}
		}
	}
	for i := range net.branches {
		if !elements[i] {
			both(i, link{})
		}
	}
	return out
}

// supplyElements calls f with every source that the pack's plug takes off.
func (r *reviewer) supplyElements(f func(p *Part, e *Element, branch int)) {
	for i := range r.h.Parts {
		p := &r.h.Parts[i]
		for k := range p.Elements {
			e := &p.Elements[k]
			if e.Type == Source && e.Supply && e.Limit == 0 && e.Volts > 0 {
				f(p, e, r.b.net.branch[partKey(p.Name, e.ID)])
			}
		}
	}
}

// unfused finds supplies whose plus lead branches, or comes to a load, before a
// fuse. Several leads on the supply's own pin each count for themselves.
func (r *reviewer) unfused() {
	links := r.links()
	r.supplyElements(func(p *Part, e *Element, branch int) {
		start := r.b.net.node[p.Name+"."+e.A]
		end := r.b.net.node[p.Name+"."+e.B]
		bad := false
		for _, first := range links[start] {
			if first.branch == branch {
				continue
			}
			bad = bad || !r.meetsFuse(links, start, end, first)
		}
		if !bad {
			return
		}
		severity := Warning
		if e.Volts > strongAmps*e.Ohms {
			severity = Error
		}
		r.add(severity, "part "+p.Name, fmt.Sprintf("%s.%s feeds the vehicle with no fuse before the first branching or load", p.Name, e.A),
			"a fuse close to the supply, before anything branches off")
	})
}

// meetsFuse follows one lead until a fuse, a branching or a load.
func (r *reviewer) meetsFuse(links map[int][]link, from, minus int, l link) bool {
	seen := map[int]bool{from: true}
	for {
		switch {
		case l.fuse > 0:
			return true
		case l.load > 0 || l.to == minus || l.to == -1 || seen[l.to]:
			return false
		}
		seen[l.to] = true
		var onward []link
		for _, next := range links[l.to] {
			if next.branch != l.branch {
				onward = append(onward, next)
			}
		}
		switch len(onward) {
		case 0:
			// Nothing further that carries current; what else hangs on the pin is fed without a fuse.
			return !r.feeds(l.to)
		case 1:
			l = onward[0]
		default:
			return false
		}
	}
}

// feeds reports whether a part that is no conductor hangs on the node.
func (r *reviewer) feeds(node int) bool {
	return slices.ContainsFunc(r.b.net.branches, func(b branch) bool {
		return (b.a == node || b.b == node) && (b.typ != Resistance || len(b.when) > 0)
	})
}

// guard is what protects a node: the largest of the smallest fuses on the ways
// to it from a supply.
type guard struct {
	amps float64 // infinite without a fuse
	fuse string
}

// thin finds wires that the fuse upstream of them does not protect. It follows
// conductors and real loads from each supply's plus to the ground.
func (r *reviewer) thin() {
	links := r.links()
	wires := map[int]*Wire{}
	for i := range r.h.Wires {
		wires[r.b.net.branch[wireKey(r.h.Wires[i].Name)]] = &r.h.Wires[i]
	}
	onWire := map[string]guard{}
	r.supplyElements(func(p *Part, e *Element, branch int) {
		real := e.Volts / loadAmps
		best := map[int]guard{}
		start := r.b.net.node[p.Name+"."+e.A]
		end := r.b.net.node[p.Name+"."+e.B]
		best[start] = guard{amps: math.Inf(1)}
		queue := []int{start}
		for len(queue) > 0 {
			// The widest way first, so that each node is final when it is taken.
			k := 0
			for i, n := range queue {
				if best[n].amps > best[queue[k]].amps {
					k = i
				}
			}
			n := queue[k]
			queue = slices.Delete(queue, k, k+1)
			if n == end || n == -1 {
				continue
			}
			for _, l := range links[n] {
				if l.branch == branch || l.load >= real {
					continue
				}
				g := best[n]
				if l.fuse > 0 && l.fuse < g.amps {
					g = guard{l.fuse, l.name}
				}
				if w := wires[l.branch]; w != nil && g.amps > onWire[w.Name].amps {
					onWire[w.Name] = g
				}
				if old, seen := best[l.to]; !seen || g.amps > old.amps {
					if !seen {
						queue = append(queue, l.to)
					}
					best[l.to] = g
				}
			}
		}
	})
	r.reportThin(onWire)
}

// reportThin writes one finding for each fuse and gauge.
func (r *reviewer) reportThin(onWire map[string]guard) {
	type group struct {
		fuse, gauge string
		assumed     bool
	}
	found := map[group][]string{}
	var order []group
	for _, w := range r.h.Wires {
		g, ok := onWire[w.Name]
		if !ok || math.IsInf(g.amps, 1) || w.Metres <= ShortTap && r.leadsToFuse(&w, g.amps) {
			continue
		}
		if area, err := Gauge(w.Gauge); err != nil || g.amps <= r.h.most(area) {
			continue
		}
		k := group{g.fuse, w.Gauge, w.GaugeAssumed}
		if found[k] == nil {
			order = append(order, k)
		}
		found[k] = append(found[k], w.Name)
	}
	for _, k := range order {
		names := found[k]
		g := onWire[names[0]]
		area, _ := Gauge(k.gauge)
		severity, text := Warning, ""
		switch {
		case k.assumed:
			text = "; the file gives no gauge, so this one is assumed"
		case 2*g.amps > MeltingAmps(area):
			severity, text = Error, "; the wire melts before the fuse opens"
		}
		what := "wire " + names[0]
		if len(names) > 1 {
			what = "wires " + some(names)
		}
		most := r.h.most(area)
		right := fmt.Sprintf("a fuse of %g A or less", LargestFuse(most))
		if LargestFuse(most) == 0 {
			right = "a smaller fuse than any blade fuse"
		}
		if thicker, err := ProposeGauge(1, r.h.Celsius, g.amps/LoadShare, 0, true); err == nil {
			right += ", or " + thicker
		}
		r.add(severity, "wire "+names[0], fmt.Sprintf("%s of %s: the fuse upstream, %s, is %g A, and such a wire carries %.3g A for good at most%s",
			what, k.gauge, g.fuse, g.amps, most, text), right)
	}
}

// most returns the most in A that a wire of the area in square metres carries
// for good in the harness: alone, as nobody knows how full its loom is.
func (h *Harness) most(area float64) float64 {
	amps, _ := ContinuousAmps(area, h.Celsius, true)
	return amps
}

// leadsToFuse reports whether the wire is a tap: one end is at a fuse smaller
// than the guard.
func (r *reviewer) leadsToFuse(w *Wire, amps float64) bool {
	for _, end := range []string{w.From, w.To} {
		part, _, _ := strings.Cut(end, ".")
		p := r.h.Part(part)
		if p != nil && slices.ContainsFunc(p.Elements, func(e Element) bool { return e.Blows > 0 && e.Blows < amps }) {
			return true
		}
	}
	return false
}

// supplies finds shorts and fuses that blow, or are overloaded, when all is healthy.
func (r *reviewer) supplies() {
	largest := 0.0
	for _, p := range r.h.Parts {
		for _, e := range p.Elements {
			largest = max(largest, e.Blows)
		}
	}
	done := map[string]bool{}
	for i := range r.views {
		v := &r.views[i]
		r.limits(v, done)
		r.supplyElements(func(p *Part, e *Element, branch int) {
			amps := -v.amps(branch)
			if !(amps > e.Volts/(e.Ohms+shortOhms) || largest > 0 && amps > shortFuses*largest) {
				return
			}
			v.shorted = true
			if done[p.Name] {
				return
			}
			done[p.Name] = true
			r.add(Error, "part "+p.Name, fmt.Sprintf("%s is shorted %s: it would deliver %.3g A", p.Name, inState(v.state), amps),
				"another pin for one of the wires: follow the drawing from plus to minus")
		})
	}
	for _, p := range r.h.Parts {
		for _, e := range p.Elements {
			if e.Blows == 0 {
				continue
			}
			worst, in := 0.0, State{}
			for i := range r.views {
				if a := math.Abs(r.views[i].amps(r.b.net.branch[partKey(p.Name, e.ID)])); a > worst && !r.views[i].shorted {
					worst, in = a, r.views[i].state
				}
			}
			switch {
			case worst > 2*e.Blows:
				r.add(Error, "part "+p.Name, fmt.Sprintf("%s is %g A and carries %.3g A %s when all is healthy: it blows", p.Name, e.Blows, worst, inState(in)),
					suitable(worst))
			case worst > e.Blows:
				r.add(Warning, "part "+p.Name, fmt.Sprintf("%s is %g A and carries %.3g A %s when all is healthy", p.Name, e.Blows, worst, inState(in)),
					suitable(worst))
			}
		}
	}
}

// limits finds supplies with a limit of their own, as of a converter, that are
// asked for more when all is healthy. A part is reported once.
func (r *reviewer) limits(v *view, done map[string]bool) {
	for _, p := range r.h.Parts {
		for _, e := range p.Elements {
			i := r.b.net.branch[partKey(p.Name, e.ID)]
			if e.Limit == 0 || done[p.Name] || r.b.net.region(i, v.at) != limited {
				continue
			}
			done[p.Name] = true
			br := &r.b.net.branches[i]
			r.add(Error, "part "+p.Name, fmt.Sprintf("%s is shorted or overloaded %s: it delivers its limit of %.3g A, and its %.3g V are down to %.2g V",
				p.Name, inState(v.state), e.Limit, e.Volts, v.volts(br.a)-v.volts(br.b)),
				"less load on it, or another pin for a wire that shorts it")
		}
	}
}

// suitable names the fuse for a load.
func suitable(amps float64) string {
	if f := LoadFuse(amps); f > 0 {
		return fmt.Sprintf("a fuse of %g A, if the wires carry that, or less load", f)
	}
	return "less load on one fuse"
}

// loads finds parts that take more than their rated power or current, and those
// that take nothing in any state.
func (r *reviewer) loads() {
	var unfed []string
	for _, p := range r.h.Parts {
		worst, in, text := overRated, State{}, ""
		for n, ind := range p.Indicators {
			element := cmp.Or(ind.Watts, ind.Amps)
			if element == "" || ind.Per == 0 {
				continue
			}
			k := r.b.net.branch[partKey(p.Name, element)]
			br := &r.b.net.branches[k]
			most := 0.0
			for i := range r.views {
				v := &r.views[i]
				x := v.amps(k)
				if ind.Watts != "" {
					x *= v.volts(br.a) - v.volts(br.b)
				}
				most = max(most, math.Abs(x)/ind.Per)
				if x/ind.Per <= worst {
					continue
				}
				worst, in = x/ind.Per, v.state
				if text = fmt.Sprintf("takes %.3g times its rated current", worst); ind.Watts != "" {
					text = fmt.Sprintf("takes %.3g W of its rated %g W", x, ind.Per)
				}
			}
			if len(r.views) > len(r.h.States) && most < takesNothing {
				unfed = append(unfed, p.indicatorName(n))
			}
		}
		if text != "" {
			r.add(Error, "part "+p.Name, fmt.Sprintf("%s %s %s", p.Name, text, inState(in)),
				"a part for this voltage, or a converter before it")
		}
	}
	if len(unfed) > 0 {
		part, _, _ := strings.Cut(unfed[0], ".")
		r.add(Warning, "part "+part, "no state puts any current through "+some(unfed),
			"a state that turns it on, or a path from both its ends to the poles of a supply")
	}
}

// wires finds wires that carry more than they can for good when all is healthy.
func (r *reviewer) wires() {
	for _, w := range r.h.Wires {
		area, err := Gauge(w.Gauge)
		if err != nil {
			continue
		}
		worst, in := 0.0, State{}
		for i := range r.views {
			if a := math.Abs(r.views[i].amps(r.b.net.branch[wireKey(w.Name)])); a > worst && !r.views[i].shorted {
				worst, in = a, r.views[i].state
			}
		}
		most := r.h.most(area)
		if worst <= most {
			continue
		}
		right := "less load on one wire"
		if g, err := ProposeGauge(1, r.h.Celsius, worst, 0, true); err == nil {
			right = g
		}
		assumed := ""
		if w.GaugeAssumed {
			assumed = " (assumed: the file gives none)"
		}
		r.add(Warning, "wire "+w.Name, fmt.Sprintf("wire %s of %s%s carries %.3g A %s, and such a wire carries %.3g A for good at most",
			w.Name, w.Gauge, assumed, worst, inState(in), most), right)
	}
}

// poles are the names of the two pins by which a part is fed, the higher first.
func poles() [][2]string {
	return [][2]string{{"plus", "minus"}, {"in_plus", "in_minus"}, {"input", "ground"}, {"supply", "ground"}}
}

// polarity finds parts that are fed the wrong way round whenever they are fed.
func (r *reviewer) polarity() {
	least := drivenShare * r.h.HighestVolts()
	for _, p := range r.h.Parts {
		if slices.ContainsFunc(p.Elements, func(e Element) bool { return e.Supply }) {
			continue
		}
		for _, pole := range poles() {
			if !slices.Contains(p.Pins, pole[0]) || !slices.Contains(p.Pins, pole[1]) {
				continue
			}
			forward, backward := false, false
			for i := range r.views {
				v := r.views[i].Node(p.Name+"."+pole[0]) - r.views[i].Node(p.Name+"."+pole[1])
				forward = forward || v > least
				backward = backward || v < -least
			}
			if forward || !backward {
				continue
			}
			severity, text := Error, ""
			if !slices.ContainsFunc(p.Elements, func(e Element) bool { return e.Type != Resistance || len(e.When) > 0 }) {
				severity, text = Warning, "; a filament does not mind, most else does"
			}
			r.add(severity, "part "+p.Name, fmt.Sprintf("%s is fed the wrong way round: its %s is below its %s in every state that feeds it%s", p.Name, pole[0], pole[1], text),
				fmt.Sprintf("the wires at its %s and %s changed over", pole[0], pole[1]))
		}
	}
}

// switches finds parts whose settings make no difference in any state.
func (r *reviewer) switches() {
	untried := 0
	for _, p := range r.h.Parts {
		if len(p.Settings) < 2 || len(r.views) == 0 {
			continue
		}
		changes, ok := r.changes(&p)
		switch {
		case !ok:
			untried++
		case !changes:
			r.add(Warning, "part "+p.Name, fmt.Sprintf("%s switches nothing: no pin's voltage changes with it in any state", p.Name),
				"other pins for its wires, or a state in which it matters")
		}
	}
	if untried > 0 {
		r.skipped = append(r.skipped, fmt.Sprintf("what %d switches do", untried))
	}
}

// changes tries every setting of the part in every state; ok is false when the
// work is used up.
func (r *reviewer) changes(p *Part) (changes, ok bool) {
	views := slices.Clone(r.views)
	slices.SortStableFunc(views, func(a, b view) int { // those that name the part first
		return cmp.Compare(len(b.state.Settings[p.Name]), len(a.state.Settings[p.Name]))
	})
	for _, v := range views {
		now := cmp.Or(v.state.Settings[p.Name], p.Rest)
		for _, set := range slices.Sorted(maps.Keys(p.Settings)) {
			if set == now {
				continue
			}
			s := State{Name: v.state.Name, Settings: maps.Clone(v.state.Settings)}
			if s.Settings == nil {
				s.Settings = map[string]string{}
			}
			s.Settings[p.Name] = set
			other, err, ok := r.look(s, &v.at)
			if !ok {
				return false, false
			}
			if err != nil {
				return true, true // it does something
			}
			for n := range r.b.net.nodes {
				x, y := v.sol.x[n], other.sol.x[n]
				if math.Abs(x-y) > max(changesLeast, changesShare*max(math.Abs(x), math.Abs(y))) {
					return true, true
				}
			}
		}
	}
	return false, true
}

// symptoms finds symptoms that the healthy harness shows, and those that no
// single fault shows.
func (r *reviewer) symptoms() {
	var open []Symptom
	for _, sym := range r.h.Symptoms {
		i := slices.IndexFunc(r.views, func(v view) bool { return v.state.Name == sym.State })
		switch {
		case i < 0: // its state was not solved
		case shows(r.views[i].Situation, sym):
			r.add(Warning, "symptom "+sym.ID, fmt.Sprintf("the healthy harness already shows %q %s", sym.ID, inState(r.views[i].state)),
				"a state or a word that the healthy vehicle does not show; or nothing, if one sees more than the file can say")
		default:
			open = append(open, sym)
		}
	}
	if len(open) == 0 {
		return
	}
	if n := r.b.net.nodes + len(r.b.net.branches); n > reviewUnknowns {
		r.skipped = append(r.skipped, "whether a single fault can show each symptom")
		return
	}
	shown := r.shown(open)
	for _, sym := range open {
		if !shown[sym.ID] {
			r.add(Warning, "symptom "+sym.ID, fmt.Sprintf("no single fault of the harness shows %q", sym.ID),
				"another state or other words; or nothing, if it takes two faults or one that the drawing does not hold")
		}
	}
}

// shows reports whether the situation shows all that the symptom names.
func shows(sit *Situation, sym Symptom) bool {
	for name, words := range sym.Shows {
		if !slices.Contains(words, sit.Shows(name)) {
			return false
		}
	}
	return true
}

// shown returns which symptoms some single fault shows, by ID: with new fuses,
// or with those that the fault blew before.
func (r *reviewer) shown(symptoms []Symptom) map[string]bool {
	shown := map[string]bool{}
	faults := r.h.Faults()
	for i, first := range symptoms {
		if slices.ContainsFunc(symptoms[:i], func(x Symptom) bool { return x.State == first.State }) {
			continue // looked for with the others of its state
		}
		left := slices.DeleteFunc(slices.Clone(symptoms), func(x Symptom) bool { return x.State != first.State })
		s, _ := r.h.State(first.State)
		used, err := NewBench(r.h, s)
		if err != nil { // reported with the state
			for _, sym := range left {
				shown[sym.ID] = true
			}
			continue
		}
		for _, b := range []*Bench{used.Fresh(), used} {
			for i := range faults {
				for point := range faults[i].Points() {
					if len(left) == 0 {
						break
					}
					sit, err := b.Put(&faults[i], point, s, false)
					if err != nil {
						continue
					}
					left = slices.DeleteFunc(left, func(sym Symptom) bool {
						shown[sym.ID] = shows(sit, sym)
						return shown[sym.ID]
					})
				}
			}
		}
	}
	return shown
}
