package rules

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/builtin"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/vm"
	"gopkg.in/yaml.v3"

	"probable/engine"
)

// Budgets of one expression.
const (
	exprNodes  = 200
	exprMemory = 10_000
	exprBytes  = 1000
)

// expression is a compiled expr over named values, or a plain number.
type expression struct {
	at      *yaml.Node
	program *vm.Program // nil: it is plain
	plain   float64
}

// plainNumber is a number that needs no compiling, as most in parts are.
var plainNumber = regexp.MustCompile(`^(0|[1-9][0-9]{0,14})(\.[0-9]{1,15})?$`)

// disabled are the built-in functions that an expression does not have. They are
// gathered once: each of a thousand expressions would else do it again.
var disabled = sync.OnceValue(func() map[string]bool {
	out := map[string]bool{}
	for _, f := range builtin.Builtins {
		out[f.Name] = !slices.Contains([]string{"min", "max", "abs"}, f.Name)
	}
	maps.DeleteFunc(out, func(_ string, off bool) bool { return !off })
	return out
})

// program compiles a text over the variables of env.
func program(text string, env map[string]any, as expr.Option) (*vm.Program, error) {
	return expr.Compile(text, expr.Env(env), as, expr.MaxNodes(exprNodes), func(c *conf.Config) { c.Disabled = disabled() })
}

// compile compiles the scalar n over the variables of env, to a float64 or, if
// asked, a bool. It returns nil after a problem, and with a nil env: then the
// variables could not be read.
func (d *document) compile(n *yaml.Node, env map[string]any, boolean bool, what string) *expression {
	switch {
	case !d.sound(n) || env == nil:
		return nil
	case n.Kind != yaml.ScalarNode || strings.TrimSpace(n.Value) == "":
		d.unreadable(n, "%s: want a number or an expression", what)
		return nil
	case len(n.Value) > exprBytes:
		d.unreadable(n, "%s: an expression has at most %d characters", what, exprBytes)
		return nil
	}
	if !boolean && plainNumber.MatchString(n.Value) {
		x, _ := strconv.ParseFloat(n.Value, 64) // by its form it is one
		return &expression{at: n, plain: x}
	}
	as := expr.AsFloat64()
	if boolean {
		as = expr.AsBool()
	}
	p, err := program(n.Value, env, as)
	if err != nil {
		at := n
		var fe *file.Error
		text := err.Error()
		if errors.As(err, &fe) {
			text, at = fe.Message, d.inside(n, fe.From)
		}
		text, _, _ = strings.Cut(text, "\n")
		d.errorf(at, "%s: %s; it may use %s", what, text, variables(env))
		return nil
	}
	return &expression{at: n, program: p}
}

// inside is the place of a rune of n's text, which may be quoted, folded or a
// block. It walks the file from n on until it has passed as many runes that are
// not blank.
func (d *document) inside(n *yaml.Node, offset int) *yaml.Node {
	at := *n
	rest := d.from(n)
	step := func() rune {
		r, size := utf8.DecodeRune(rest)
		rest = rest[size:]
		at.Column++
		if r == '\n' {
			at.Line, at.Column = at.Line+1, 1
		}
		return r
	}
	var escape rune
	switch {
	case len(rest) == 0 || n.Anchor != "" || n.Style&yaml.TaggedStyle != 0:
		return n
	case n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		for len(rest) > 0 && step() != '\n' {
		}
	case n.Style&yaml.DoubleQuotedStyle != 0:
		escape = '\\'
		step()
	case n.Style&yaml.SingleQuotedStyle != 0:
		escape = '\''
		step()
	}
	runes := []rune(n.Value)
	offset = min(max(offset, 0), len(runes))
	dark := func(r rune) bool { return !unicode.IsSpace(r) }
	left := 0
	for _, r := range runes[:offset] {
		if dark(r) {
			left++
		}
	}
	more := slices.ContainsFunc(runes[offset:], dark)
	for len(rest) > 0 && (left > 0 || more) {
		r, _ := utf8.DecodeRune(rest)
		switch {
		case !dark(r):
		case left == 0:
			return &at
		default:
			if r == escape {
				step()
			}
			left--
		}
		if len(rest) > 0 {
			step()
		}
	}
	return &at
}

func variables(env map[string]any) string {
	if len(env) == 0 {
		return "numbers only"
	}
	names := make([]string, 0, len(env))
	for k := range env {
		names = append(names, k)
	}
	return strings.Join(sorted(names), ", ")
}

// ownWords are the names that conditions have beside facts.
var ownWords = []string{"v", "over", "low", "high", "old_low", "old_high", "good_low", "good_high", "alike",
	"answer", "reading", "taken", "setting"}

// learnedEnv is what a condition calls on to know what was learned.
func learnedEnv(k engine.Known) map[string]any {
	return map[string]any{"answer": k.Answer, "reading": k.Reading, "taken": k.Taken, "setting": k.Setting}
}

// names returns the variables and functions that the expression names.
func (e *expression) names() []string {
	f := &asked{}
	node := e.program.Node()
	ast.Walk(&node, f)
	return f.names
}

// ask is a call on what was learned.
type ask struct {
	function string
	text     string   // what it asks about; empty if it is not a plain text
	at       int      // rune of the expression
	says     []string // what the answer is compared with
}

// asks returns the calls of the expression on what was learned.
func (e *expression) asks() []ask {
	f := &asked{}
	node := e.program.Node()
	ast.Walk(&node, f)
	return f.calls
}

// asked visits the nodes of a condition.
type asked struct {
	names []string
	calls []ask
}

// Visit implements [ast.Visitor].
func (f *asked) Visit(node *ast.Node) {
	switch n := (*node).(type) {
	case *ast.IdentifierNode:
		f.names = append(f.names, n.Value)
	case *ast.CallNode:
		name, ok := n.Callee.(*ast.IdentifierNode)
		if !ok {
			return
		}
		a := ask{function: name.Value, at: n.Location().From}
		if len(n.Arguments) > 0 {
			if s, ok := n.Arguments[0].(*ast.StringNode); ok {
				a.text = s.Value
			}
		}
		f.calls = append(f.calls, a)
	case *ast.BinaryNode:
		// A call is visited before what it stands in.
		if n.Operator != "==" && n.Operator != "!=" && n.Operator != "in" {
			return
		}
		for _, sides := range [][2]ast.Node{{n.Left, n.Right}, {n.Right, n.Left}} {
			call, ok := sides[0].(*ast.CallNode)
			if !ok {
				continue
			}
			for i := range f.calls {
				if f.calls[i].at == call.Location().From && f.calls[i].function == "answer" {
					f.calls[i].says = append(f.calls[i].says, texts(sides[1])...)
				}
			}
		}
	}
}

// texts returns the plain texts of a node, which may be a list.
func texts(n ast.Node) []string {
	switch x := n.(type) {
	case *ast.StringNode:
		if x.Value != "" {
			return []string{x.Value}
		}
	case *ast.ArrayNode:
		var out []string
		for _, y := range x.Nodes {
			out = append(out, texts(y)...)
		}
		return out
	case *ast.ConstantNode:
		if m, ok := x.Value.(map[string]struct{}); ok {
			return slices.Sorted(maps.Keys(m))
		}
	}
	return nil
}

// number evaluates an expression that was compiled to a float64; nil is 0.
func (e *expression) number(env map[string]any) (float64, error) {
	switch {
	case e == nil:
		return 0, nil
	case e.program == nil:
		return e.plain, nil
	}
	out, err := e.run(env)
	if err != nil {
		return 0, err
	}
	return out.(float64), nil
}

// holds evaluates an expression that was compiled to a bool.
func (e *expression) holds(env map[string]any) (bool, error) {
	out, err := e.run(env)
	if err != nil {
		return false, err
	}
	return out.(bool), nil
}

func (e *expression) run(env map[string]any) (any, error) {
	out, err := run(e.program, env)
	if err != nil {
		text, _, _ := strings.Cut(err.Error(), "\n")
		return nil, fmt.Errorf("%q: %s", e.at.Value, text)
	}
	return out, nil
}

func run(p *vm.Program, env map[string]any) (any, error) {
	machine := vm.VM{MemoryBudget: exprMemory}
	return machine.Run(p, env)
}

// limits returns the readings at which a condition on v may turn, with the other
// variables as env has them: its numbers, either sign, and what it compares.
func (e *expression) limits(env map[string]any) []float64 {
	l := &limitFinder{env: env}
	node := e.program.Node()
	ast.Walk(&node, l)
	return l.found
}

// stepwise reports whether a condition can turn at its limits only: v stands in
// it as one side of a comparison and nowhere else.
func (e *expression) stepwise() bool { return stepwise(e.program.Node()) }

func stepwise(n ast.Node) bool {
	switch x := n.(type) {
	case *ast.UnaryNode:
		return stepwise(x.Node)
	case *ast.BinaryNode:
		switch x.Operator {
		case "and", "&&", "or", "||":
			return stepwise(x.Left) && stepwise(x.Right)
		case "<", "<=", ">", ">=", "==", "!=":
			return (isReading(x.Left) || !hasReading(x.Left)) && (isReading(x.Right) || !hasReading(x.Right))
		}
	}
	return !hasReading(n)
}

func isReading(n ast.Node) bool {
	x, ok := n.(*ast.IdentifierNode)
	return ok && x.Value == "v"
}

// hasReading reports whether a node speaks of v.
func hasReading(n ast.Node) bool {
	f := &asked{}
	ast.Walk(&n, f)
	return slices.Contains(f.names, "v")
}

// limitFinder visits the nodes of a condition.
type limitFinder struct {
	env   map[string]any // without v
	found []float64
}

// Visit implements [ast.Visitor].
func (l *limitFinder) Visit(node *ast.Node) {
	switch n := (*node).(type) {
	case *ast.IntegerNode:
		l.add(float64(n.Value))
	case *ast.FloatNode:
		l.add(n.Value)
	case *ast.BinaryNode:
		switch n.Operator {
		case "<", "<=", ">", ">=", "==", "!=":
			l.side(n.Left)
			l.side(n.Right)
		}
	}
}

func (l *limitFinder) add(x float64) { l.found = append(l.found, x, -x) }

// side adds the value of one side of a comparison, if it has one without v.
func (l *limitFinder) side(n ast.Node) {
	switch x := n.(type) {
	case *ast.IntegerNode, *ast.FloatNode: // visited by themselves
		return
	case *ast.IdentifierNode:
		if v, ok := l.env[x.Value].(float64); ok {
			l.add(v)
		}
		return
	}
	p, err := program(n.String(), l.env, expr.AsFloat64())
	if err != nil {
		return
	}
	if v, err := run(p, l.env); err == nil {
		l.add(v.(float64))
	}
}
