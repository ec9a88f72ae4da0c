package rules

import (
	"errors"
	"fmt"
	"strings"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/vm"
	"gopkg.in/yaml.v3"
)

// Budgets of one expression.
const (
	exprNodes  = 200
	exprMemory = 10_000
	exprBytes  = 1000
)

// expression is a compiled expr over named values.
type expression struct {
	at      *yaml.Node
	program *vm.Program
}

// compile compiles the scalar n over the variables of env, to a float64 or, if
// asked, a bool. It returns nil after a problem.
func (d *document) compile(n *yaml.Node, env map[string]any, boolean bool, what string) *expression {
	if n == nil {
		return nil
	}
	if n.Kind != yaml.ScalarNode || strings.TrimSpace(n.Value) == "" {
		d.errorf(n, "%s: want a number or an expression", what)
		return nil
	}
	if len(n.Value) > exprBytes {
		d.errorf(n, "%s: an expression has at most %d characters", what, exprBytes)
		return nil
	}
	as := expr.AsFloat64()
	if boolean {
		as = expr.AsBool()
	}
	p, err := expr.Compile(n.Value, expr.Env(env), as, expr.MaxNodes(exprNodes),
		expr.DisableAllBuiltins(), expr.EnableBuiltin("min"), expr.EnableBuiltin("max"), expr.EnableBuiltin("abs"))
	if err != nil {
		at := *n
		var fe *file.Error
		text := err.Error()
		if errors.As(err, &fe) {
			text = fe.Message
			at.Column += fe.Column
			if n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 {
				at.Column++
			}
		}
		text, _, _ = strings.Cut(text, "\n")
		d.errorf(&at, "%s: %s; it may use %s", what, text, variables(env))
		return nil
	}
	return &expression{n, p}
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

// number evaluates an expression that was compiled to a float64; nil is 0.
func (e *expression) number(env map[string]any) (float64, error) {
	if e == nil {
		return 0, nil
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
	machine := vm.VM{MemoryBudget: exprMemory}
	out, err := machine.Run(e.program, env)
	if err != nil {
		text, _, _ := strings.Cut(err.Error(), "\n")
		return nil, fmt.Errorf("%q: %s", e.at.Value, text)
	}
	return out, nil
}
