package rules

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// Bounds of a file that anybody may have written.
const (
	maxBytes = 2 << 20
	maxDepth = 16
	maxNodes = 200_000
)

// document is a file being read; it gathers problems.
//
// One mistake is one problem. A value that is absent or could not be read was
// reported once; it gives no further problem, and reads as the zero value of
// its type. So an empty text stands for one that could not be read.
type document struct {
	file     string
	data     []byte
	parts    []segment // of other files behind its own text
	problems Problems
	bad      map[*yaml.Node]bool // could not be read
	unmarked []*yaml.Node        // odds and tables given anew with no source beside them
}

// unmark notes figures that have no source of their own.
func (d *document) unmark(n *yaml.Node) {
	if !slices.Contains(d.unmarked, n) {
		d.unmarked = append(d.unmarked, n)
	}
}

// segment is another file's text in a document, after so many lines.
type segment struct {
	file  string
	lines int
}

// errorf reports a problem at n, if n could be read.
func (d *document) errorf(n *yaml.Node, format string, args ...any) {
	if !d.sound(n) {
		return
	}
	at := d.place(n)
	d.problems = append(d.problems, Problem{File: at.File, Line: at.Line, Column: at.Column, Text: fmt.Sprintf(format, args...)})
}

// place is where a node stands, in the file that it came from.
func (d *document) place(n *yaml.Node) Place {
	at := Place{d.file, n.Line, n.Column}
	for _, s := range d.parts {
		if n.Line > s.lines {
			at.File, at.Line = s.file, n.Line-s.lines
		}
	}
	return at
}

// unreadable reports n as something that could not be read.
func (d *document) unreadable(n *yaml.Node, format string, args ...any) {
	d.errorf(n, format, args...)
	if d.bad == nil {
		d.bad = map[*yaml.Node]bool{}
	}
	d.bad[n] = true
}

// sound tells whether n is there and could be read.
func (d *document) sound(n *yaml.Node) bool { return n != nil && !d.bad[n] }

// known tells whether a word is among the known ones, and reports it if not. If
// one of them is empty it may be any word, and nothing is reported.
func (d *document) known(n *yaml.Node, word string, words []string, otherwise string) bool {
	if slices.Contains(words, "") {
		return false
	}
	in := slices.Contains(words, word)
	if !in {
		d.errorf(n, "%s %q%s", otherwise, word, oneOf(word, words))
	}
	return in
}

var yamlLine = regexp.MustCompile(`line (\d+):? ?`)

// parserProblems are what YAML's parser says, as its scanner does not. The
// library counts the parser's lines from zero and the scanner's from one.
var parserProblems = regexp.MustCompile(`did not find expected (',' or|'-' indicator|<|key|node content)|` +
	`found (duplicate %|incompatible YAML document|undefined tag handle)`)

// tabbed is a line with a tab before its first word.
var tabbed = regexp.MustCompile(`^[ ?:-]*\t`)

// notYAML reports what the YAML library could not read.
func (d *document) notYAML(err error) {
	at := &yaml.Node{Line: 1, Column: 1}
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	if m := yamlLine.FindStringSubmatch(text); m != nil {
		at.Line, _ = strconv.Atoi(m[1])
		text = strings.Replace(text, m[0], "", 1)
		if parserProblems.MatchString(text) {
			at.Line++
		}
	}
	if tabbed.Match(d.from(at)) && !strings.Contains(text, "tab") {
		text += " (a tab? indent with spaces)"
	}
	d.errorf(at, "not YAML: %s", text)
}

// from is the file's text from a node's place on; nil if there is no such place.
func (d *document) from(n *yaml.Node) []byte {
	rest := d.data
	for line := 1; line < n.Line; line++ {
		_, after, more := bytes.Cut(rest, []byte("\n"))
		if !more {
			return nil
		}
		rest = after
	}
	for column := 1; column < n.Column && len(rest) > 0; column++ {
		_, size := utf8.DecodeRune(rest)
		rest = rest[size:]
	}
	return rest
}

// parse reads the one document of a file and checks its bounds. A nil node
// means that it cannot be read at all.
func (d *document) parse(data []byte) *yaml.Node {
	d.data = data
	top := &yaml.Node{Line: 1, Column: 1}
	if len(data) > maxBytes {
		d.errorf(top, "the file has %d bytes; the most is %d", len(data), maxBytes)
		return nil
	}
	// The parser's own recursion is bounded here, before it starts.
	if deep := nesting(data); deep > maxBytes/64 {
		d.errorf(top, "nested %d deep; the most is %d", deep, maxDepth)
		return nil
	}
	var root, second yaml.Node
	documents := yaml.NewDecoder(bytes.NewReader(data))
	switch err := documents.Decode(&root); {
	case errors.Is(err, io.EOF) || err == nil && len(root.Content) == 0:
		d.errorf(top, "the file is empty")
		return nil
	case err != nil:
		d.notYAML(err)
		return nil
	}
	switch err := documents.Decode(&second); {
	case err == nil:
		d.errorf(&second, "a second document begins here; a file holds one")
	case !errors.Is(err, io.EOF):
		d.notYAML(err)
	}
	nodes := 0
	if !d.bounded(root.Content[0], 1, &nodes) {
		return nil
	}
	return root.Content[0]
}

// nesting is a rough upper count of how deep brackets nest.
func nesting(data []byte) int {
	depth, most := 0, 0
	for _, c := range data {
		switch c {
		case '[', '{':
			depth++
			most = max(most, depth)
		case ']', '}':
			depth = max(0, depth-1)
		}
	}
	return most
}

func (d *document) bounded(n *yaml.Node, depth int, nodes *int) bool {
	*nodes++
	switch {
	case depth > maxDepth:
		d.errorf(n, "nested more than %d deep", maxDepth)
		return false
	case *nodes > maxNodes:
		d.errorf(n, "more than %d values in one file", maxNodes)
		return false
	case n.Kind == yaml.AliasNode:
		d.errorf(n, "anchors and aliases are not used here: write the value out")
		return false
	}
	for _, c := range n.Content {
		if !d.bounded(c, depth+1, nodes) {
			return false
		}
	}
	return true
}

// mapping is a YAML mapping whose keys are taken one by one; what is left over
// is unknown.
type mapping struct {
	d     *document
	node  *yaml.Node
	what  string
	keys  []string              // in order
	at    map[string]*yaml.Node // key nodes
	value map[string]*yaml.Node
	asked []string
}

// mapping reads n as a mapping; what names it in messages.
func (d *document) mapping(n *yaml.Node, what string) *mapping {
	m := &mapping{d: d, node: n, what: what, at: map[string]*yaml.Node{}, value: map[string]*yaml.Node{}}
	if n == nil {
		return m
	}
	if n.Kind != yaml.MappingNode {
		d.unreadable(n, "%s: want keys and values, as in \"key: value\"", what)
		return m
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := n.Content[i]
		if k.Kind != yaml.ScalarNode {
			d.errorf(k, "%s: a key is a plain word", what)
			continue
		}
		if first, dup := m.at[k.Value]; dup {
			d.errorf(k, "%s: %q stands twice; the first is on line %d", what, k.Value, first.Line)
			continue
		}
		m.keys = append(m.keys, k.Value)
		m.at[k.Value] = k
		m.value[k.Value] = n.Content[i+1]
	}
	return m
}

// get returns the value of a key that may be absent.
func (m *mapping) get(key string) *yaml.Node {
	m.asked = append(m.asked, key)
	return m.value[key]
}

// need returns the value of a key that must be there.
func (m *mapping) need(key string) *yaml.Node {
	n := m.get(key)
	if n == nil && m.node != nil && m.node.Kind == yaml.MappingNode {
		m.d.errorf(m.node, "%s: %q is missing", m.what, key)
	}
	return n
}

// done reports the keys that nobody asked for.
func (m *mapping) done() {
	for _, k := range m.keys {
		if !slices.Contains(m.asked, k) {
			m.d.errorf(m.at[k], "%s: unknown key %q%s", m.what, k, oneOf(k, m.asked))
		}
	}
}

// list returns the items of a sequence; nil has none.
func (d *document) list(n *yaml.Node, what string) []*yaml.Node {
	if n == nil {
		return nil
	}
	if n.Kind != yaml.SequenceNode {
		d.unreadable(n, "%s: want a list, as in [a, b]", what)
		return nil
	}
	return n.Content
}

// several is a list that has at least one item.
func (d *document) several(n *yaml.Node, what string) []*yaml.Node {
	items := d.list(n, what)
	if len(items) == 0 {
		d.errorf(n, "%s: want at least one", what)
	}
	return items
}

func (d *document) text(n *yaml.Node, what string) string {
	if n == nil {
		return ""
	}
	s := strings.TrimSpace(n.Value)
	if n.Kind != yaml.ScalarNode || n.Tag == "!!null" || s == "" {
		d.unreadable(n, "%s: want a text", what)
		return ""
	}
	return s
}

// items are the items of a list; a single text counts as a list of one.
func (d *document) items(n *yaml.Node, what string) []*yaml.Node {
	if n != nil && n.Kind == yaml.ScalarNode {
		return []*yaml.Node{n}
	}
	return d.list(n, what)
}

// texts reads the texts of items.
func (d *document) texts(n *yaml.Node, what string) []string {
	var out []string
	for _, x := range d.items(n, what) {
		out = append(out, d.text(x, what))
	}
	return out
}

// words reads items that are among the known ones.
func (d *document) words(n *yaml.Node, known []string, what, otherwise string) []string {
	items := d.items(n, what)
	if len(items) == 0 {
		d.errorf(n, "%s: name at least one word%s", what, oneOf("", known))
	}
	var out []string
	for _, x := range items {
		w := d.text(x, what)
		d.known(x, w, known, otherwise)
		out = append(out, w)
	}
	return out
}

// named adds an empty name to the names that were read from n if n could not be
// read, as it may hold any name.
func (d *document) named(n *yaml.Node, names []string) []string {
	if d.bad[n] {
		return append(names, "")
	}
	return names
}

// names reads a list of exactly k texts.
func (d *document) names(n *yaml.Node, k int, what string) []string {
	items := d.list(n, what)
	if d.sound(n) && len(items) != k {
		d.errorf(n, "%s: want %d values, not %d", what, k, len(items))
		return nil
	}
	var out []string
	for _, x := range items {
		out = append(out, d.text(x, what))
	}
	return out
}

func (d *document) yes(n *yaml.Node, what string) bool {
	if n == nil {
		return false
	}
	switch strings.ToLower(n.Value) {
	case "yes", "true":
		return true
	case "no", "false":
		return false
	}
	d.unreadable(n, "%s: want yes or no", what)
	return false
}

// number reads a finite number.
func (d *document) number(n *yaml.Node, what string) (float64, bool) {
	if n == nil {
		return 0, false
	}
	x, err := strconv.ParseFloat(n.Value, 64)
	switch {
	case n.Kind != yaml.ScalarNode || n.Value == "":
		d.unreadable(n, "%s: want a number", what)
	case errors.Is(err, strconv.ErrSyntax) || math.IsNaN(x) || math.IsInf(x, 0):
		d.unreadable(n, "%s: want a number, not %q", what, n.Value)
	default:
		return x, true
	}
	return 0, false
}

// within reads a number of a closed range.
func (d *document) within(n *yaml.Node, low, high float64, what string) float64 {
	x, ok := d.number(n, what)
	if ok && (x < low || x > high) {
		d.unreadable(n, "%s: %g is impossible; want %g to %g", what, x, low, high)
		return 0
	}
	return x
}

// span reads the two ends of a range. After a problem both are infinite, so that
// nothing is measured against them.
func (d *document) span(from, to *yaml.Node, what, fromKey string) (low, high float64) {
	low, okLow := d.number(from, what+": "+fromKey)
	high, okHigh := d.number(to, what+": to")
	if okLow && okHigh && high <= low {
		d.unreadable(to, "%s: to: %g is not above %g", what, high, low)
	}
	if !okLow || !okHigh || !d.sound(to) {
		return math.Inf(-1), math.Inf(1)
	}
	return low, high
}

var nameForm = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

// name reads a name that cause IDs can hold.
func (d *document) name(n *yaml.Node, what string) string {
	s := d.text(n, what)
	if n != nil && s != "" && !nameForm.MatchString(s) {
		d.errorf(n, "%s: %q is not a name; use letters, digits, - and _, no spaces", what, s)
	}
	return s
}
