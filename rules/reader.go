package rules

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

// Bounds of a file that anybody may have written.
const (
	maxBytes = 2 << 20
	maxDepth = 16
	maxNodes = 200_000
)

// document is a file being read; it gathers problems.
type document struct {
	file     string
	problems Problems
}

func (d *document) errorf(n *yaml.Node, format string, args ...any) {
	line, column := 1, 1
	if n != nil && n.Line > 0 {
		line, column = n.Line, n.Column
	}
	d.problems = append(d.problems, Problem{d.file, line, column, fmt.Sprintf(format, args...)})
}

var yamlLine = regexp.MustCompile(`line (\d+):? ?`)

// parse reads the one document of a file and checks its bounds. A nil node
// means that it cannot be read at all.
func (d *document) parse(data []byte) *yaml.Node {
	if len(data) > maxBytes {
		d.errorf(nil, "the file has %d bytes; the most is %d", len(data), maxBytes)
		return nil
	}
	// The parser's own recursion is bounded here, before it starts.
	if deep := nesting(data); deep > maxBytes/64 {
		d.errorf(nil, "nested %d deep; the most is %d", deep, maxDepth)
		return nil
	}
	var root yaml.Node
	if err := yaml.Unmarshal(data, &root); err != nil {
		at := &yaml.Node{Line: 1, Column: 1}
		text := strings.TrimPrefix(err.Error(), "yaml: ")
		if m := yamlLine.FindStringSubmatch(text); m != nil {
			at.Line, _ = strconv.Atoi(m[1])
			text = strings.Replace(text, m[0], "", 1)
		}
		d.errorf(at, "not YAML: %s", text)
		return nil
	}
	if len(root.Content) == 0 {
		d.errorf(nil, "the file is empty")
		return nil
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
		d.errorf(n, "%s: want keys and values, as in \"key: value\"", what)
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
		known := false
		for _, a := range m.asked {
			known = known || a == k
		}
		if !known {
			m.d.errorf(m.at[k], "%s: unknown key %q; %s", m.what, k, oneOf(k, m.asked))
		}
	}
}

// list returns the items of a sequence; nil has none.
func (d *document) list(n *yaml.Node, what string) []*yaml.Node {
	if n == nil {
		return nil
	}
	if n.Kind != yaml.SequenceNode {
		d.errorf(n, "%s: want a list, as in [a, b]", what)
		return nil
	}
	return n.Content
}

func (d *document) text(n *yaml.Node, what string) string {
	if n == nil {
		return ""
	}
	if n.Kind != yaml.ScalarNode || n.Tag == "!!null" {
		d.errorf(n, "%s: want a text", what)
		return ""
	}
	return strings.TrimSpace(n.Value)
}

// texts reads a list of texts; a single text counts as a list of one.
func (d *document) texts(n *yaml.Node, what string) []string {
	if n != nil && n.Kind == yaml.ScalarNode {
		return []string{d.text(n, what)}
	}
	var out []string
	for _, x := range d.list(n, what) {
		out = append(out, d.text(x, what))
	}
	return out
}

// names reads a list of exactly k texts.
func (d *document) names(n *yaml.Node, k int, what string) []string {
	items := d.list(n, what)
	if n != nil && n.Kind == yaml.SequenceNode && len(items) != k {
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
	d.errorf(n, "%s: want yes or no", what)
	return false
}

// number reads a finite number.
func (d *document) number(n *yaml.Node, what string) (float64, bool) {
	if n == nil {
		return 0, false
	}
	x, err := strconv.ParseFloat(n.Value, 64)
	if n.Kind != yaml.ScalarNode || errors.Is(err, strconv.ErrSyntax) || math.IsNaN(x) || math.IsInf(x, 0) {
		d.errorf(n, "%s: want a number, not %q", what, n.Value)
		return 0, false
	}
	return x, true
}

// within reads a number of a closed range.
func (d *document) within(n *yaml.Node, low, high float64, what string) float64 {
	x, ok := d.number(n, what)
	if ok && (x < low || x > high) {
		d.errorf(n, "%s: %g is impossible; want %g to %g", what, x, low, high)
	}
	return x
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
