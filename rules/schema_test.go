package rules_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"

	"probable/rules"
)

// printed returns a schema as the program writes it.
func printed(t *testing.T, b *rules.Base, kind string) string {
	t.Helper()
	s, err := b.Schema(kind)
	require.NoError(t, err)
	var out strings.Builder
	enc := json.NewEncoder(&out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	require.NoError(t, enc.Encode(s))
	return out.String()
}

// validators compiles the schemas by kind.
func validators(t *testing.T) map[string]*jsonschema.Schema {
	t.Helper()
	b, _ := shipped(t)
	out := map[string]*jsonschema.Schema{}
	for _, kind := range rules.SchemaKinds {
		doc, err := jsonschema.UnmarshalJSON(strings.NewReader(printed(t, b, kind)))
		require.NoError(t, err)
		c := jsonschema.NewCompiler()
		c.DefaultDraft(jsonschema.Draft2020)
		require.NoError(t, c.AddResource("urn:probable:"+kind, doc), "a schema is valid by its own draft")
		out[kind], err = c.Compile("urn:probable:" + kind)
		require.NoError(t, err)
	}
	return out
}

// plain is a YAML file as an editor's validator sees it.
func plain(data []byte) (any, error) {
	var root yaml.Node
	if err := yaml.Unmarshal(data, &root); err != nil {
		return nil, err
	}
	if len(root.Content) == 0 {
		return nil, nil
	}
	var walk func(n *yaml.Node) any
	walk = func(n *yaml.Node) any {
		switch {
		case n.Kind == yaml.MappingNode:
			m := map[string]any{}
			for i := 0; i+1 < len(n.Content); i += 2 {
				m[n.Content[i].Value] = walk(n.Content[i+1])
			}
			return m
		case n.Kind == yaml.SequenceNode:
			l := []any{}
			for _, c := range n.Content {
				l = append(l, walk(c))
			}
			return l
		case n.Kind == yaml.AliasNode:
			return walk(n.Alias)
		}
		switch n.ShortTag() {
		case "!!int", "!!float":
			if x, err := strconv.ParseFloat(n.Value, 64); err == nil {
				return x
			}
		case "!!bool":
			return n.Value == "true"
		case "!!null":
			return nil
		}
		return n.Value
	}
	return walk(root.Content[0]), nil
}

// TestSchemasCommitted compares kb/schema with what the program writes.
func TestSchemasCommitted(t *testing.T) {
	b, _ := shipped(t)
	for _, kind := range rules.SchemaKinds {
		file := filepath.Join("..", "kb", "schema", kind+".json")
		if os.Getenv("UPDATE") != "" {
			require.NoError(t, os.WriteFile(file, []byte(printed(t, b, kind)), 0o644))
		}
		committed, err := os.ReadFile(file)
		require.NoError(t, err)
		require.True(t, string(committed) == printed(t, b, kind), "%s is out of date: run UPDATE=1 go test -run SchemasCommitted ./rules", file)
	}
	_, err := b.Schema("giude")
	require.EqualError(t, err, `there is no schema "giude"; did you mean "guide"?`)
}

// TestSchemasTakeShipped validates every file that ships or is an example.
func TestSchemasTakeShipped(t *testing.T) {
	v := validators(t)
	seen := map[string]int{}
	check := func(kind, name string, data []byte) {
		x, err := plain(data)
		require.NoError(t, err, name)
		require.NoError(t, v[kind].Validate(x), name)
		seen[kind]++
	}
	for glob, kind := range map[string]string{"guides/*.yaml": "guide", "parts/*.yaml": "part", "templates/*.yaml": "harness", "cases/*.yaml": "cases"} {
		files, err := fs.Glob(os.DirFS("../kb"), glob)
		require.NoError(t, err)
		for _, f := range files {
			data, err := os.ReadFile(filepath.Join("..", "kb", f))
			require.NoError(t, err)
			check(kind, f, data)
		}
	}
	for _, glob := range []string{"../testdata/harness/*.yaml", "../testdata/wrong/*.yaml"} {
		files, err := filepath.Glob(glob)
		require.NoError(t, err)
		for _, f := range files {
			data, err := os.ReadFile(f)
			require.NoError(t, err)
			check("harness", f, data)
		}
	}
	check("cases", "example", []byte(caseFile))
	check("guide", "extension", []byte("extends: throttle dead\nversion: 2\ncauses:\n  - {use: throttle dead / supply wire open, odds: 2}\n"))
	require.GreaterOrEqual(t, seen["guide"], 4)
	require.Greater(t, seen["part"], 30)
	require.Greater(t, seen["harness"], 25)
}

const caseFile = `cases: throttle dead
version: 1
play:
  - id: magnet lost
    about: The magnet of the left lever fell off.
    cause: brake input active
    facts: {halls_fitted: no, pack_volts: 36}
    readings: {what was last changed: nothing, five volts: 4.93, a plug: skip, ohms there: OL}
    verdict: [brake input active]
    ends: alone
    at_most: 10
`

// TestSchemasRefuse counts the bad files that a schema refuses, and lists what
// only the reader knows: names that are not there, rows that do not sum to one,
// outcomes that gap or overlap, expressions, and what YAML itself forbids.
func TestSchemasRefuse(t *testing.T) {
	beyond := []string{}
	v := validators(t)
	files, err := filepath.Glob(bad + "/*.yaml")
	require.NoError(t, err)
	refused := 0
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".yaml")
		kind, _, _ := strings.Cut(name, "-")
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		x, err := plain(data)
		if err != nil {
			continue // not YAML: an editor says so without a schema
		}
		if v[kind].Validate(x) == nil {
			beyond = append(beyond, name)
		} else {
			refused++
		}
	}
	t.Logf("%d of %d bad files are refused by their schema; only the reader refuses: %s", refused, len(files), strings.Join(beyond, ", "))
	require.GreaterOrEqual(t, refused, 50)
	for _, name := range schemaCatches {
		require.NotContains(t, beyond, name)
	}
	for _, tt := range []struct{ what, kind, text string }{
		{"a case without a verdict", "cases", strings.Replace(caseFile, "    verdict: [brake input active]\n", "", 1)},
		{"a case with another end", "cases", strings.Replace(caseFile, "alone", "lonely", 1)},
		{"a case of no guide", "cases", strings.Replace(caseFile, "throttle dead", "throttle deaf", 1)},
		{"an extension with a key too many", "guide", "extends: throttle dead\nversion: 2\nabout: x\n"},
		{"a swap that proves nothing", "guide", strings.Replace(tiny, "mode: ask", "mode: swap", 1)},
	} {
		x, err := plain([]byte(tt.text))
		require.NoError(t, err)
		require.Error(t, v[tt.kind].Validate(x), tt.what)
	}
}

// schemaCatches are mistakes that must show while one types.
var schemaCatches = []string{
	"guide-ohms-live", "guide-unknown-mode", "guide-unknown-power", "guide-unknown-source", "guide-live-without-cautions", "guide-zero-odds",
	"guide-when-missing", "guide-applies-wrong-word", "guide-fact-without-to", "harness-unknown-kind", "harness-unknown-key", "harness-unknown-top-key",
	"harness-negative-volts", "harness-zero-watts", "harness-missing-ground", "harness-switch-with-rating", "harness-wire-name-with-space",
	"harness-thousand-ways", "harness-value-with-unit", "harness-bad-gauge", "harness-unknown-guide", "part-no-source", "part-unknown-source",
	"part-newer-version", "part-no-rest", "part-pin-twice", "part-element-on-one-pin", "guide-continuity-answers", "guide-no-otherwise",
}

// TestSchemasKnowEveryKey holds the keys of each schema against those that the
// reader's code asks for.
func TestSchemasKnowEveryKey(t *testing.T) {
	b, _ := shipped(t)
	asked := keysAsked(t)
	at := func(kind string, steps ...string) map[string]any {
		var x any
		require.NoError(t, json.Unmarshal([]byte(printed(t, b, kind)), &x))
		for _, s := range steps {
			if i, err := strconv.Atoi(s); err == nil {
				x = x.([]any)[i]
				continue
			}
			m := x.(map[string]any)
			switch {
			case s == "item":
				x = m["items"]
			case s == "value":
				x = m["additionalProperties"]
			case m["properties"] != nil && m["properties"].(map[string]any)[s] != nil:
				x = m["properties"].(map[string]any)[s]
			default:
				x = m[s]
			}
			require.NotNil(t, x, "%s %v", kind, steps)
		}
		return x.(map[string]any)["properties"].(map[string]any)
	}
	tests := []struct {
		reader string // file, function, variable
		more   []string
		keys   map[string]any
	}{
		{"guide readGuideOf m", []string{"extends"}, at("guide")},
		{"guide applies m", nil, at("guide", "applies")},
		{"guide readFacts fm", nil, at("guide", "facts", "value")},
		{"template template m", nil, at("guide", "template", "anyOf", "1")},
		{"guide cause m", nil, at("guide", "causes", "item")},
		{"guide check m", []string{"measures", "sweep"}, at("guide", "checks", "item")},
		{"guide check rm", nil, at("guide", "checks", "item", "risk")},
		{"guide outcomes om", nil, at("guide", "checks", "item", "outcomes", "item")},
		{"guide computed m", nil, at("guide", "checks", "item", "computed")},
		{"part readPart m", nil, at("part")},
		{"part readKeys km", nil, at("part", "keys", "value")},
		{"part readElement m", []string{"resistance", "source", "follower", "diode", "mirror"}, at("part", "elements", "item")},
		{"part readElement wm", nil, at("part", "elements", "item", "when", "anyOf", "0")},
		{"part readSet vm", nil, at("part", "settings", "value", "value")},
		{"part readIndicator m", nil, at("part", "shows", "item")},
		{"part readIndicator bm", nil, at("part", "shows", "item", "bands", "item")},
		{"part readFailure m", nil, at("part", "failures", "item")},
		{"part readFailure vm", nil, at("part", "failures", "item", "variants", "item")},
		{"harness Harness m", nil, at("harness")},
		{"harness wire m", nil, at("harness", "wires", "item")},
		{"harness symptom m", nil, at("harness", "symptoms", "item")},
		{"cases ReadCases m", nil, at("cases")},
		{"cases one m", nil, at("cases", "play", "item")},
	}
	for _, tt := range tests {
		t.Run(tt.reader, func(t *testing.T) {
			if _, err := os.Stat("cases.go"); err != nil && strings.HasPrefix(tt.reader, "cases ") {
				t.Skip("worked cases are not read here yet")
			}
			require.NotEmpty(t, asked[tt.reader], "the reader has moved")
			want := append(slices.Clone(tt.more), asked[tt.reader]...)
			slices.Sort(want)
			require.Equal(t, slices.Compact(want), slices.Sorted(maps.Keys(tt.keys)))
			for key, s := range tt.keys {
				require.NotEmpty(t, describes(s), "%s has no description", key)
			}
		})
	}
	require.Equal(t, keyNames(b.Part("lamp")), slices.Sorted(maps.Keys(at("harness", "$defs", "lamp"))))
}

func describes(s any) string {
	text, _ := s.(map[string]any)["description"].(string)
	return text
}

// keyNames returns the keys that a harness gives a part, sorted.
func keyNames(p *rules.Part) []string {
	names := []string{"kind"}
	for _, k := range p.Keys {
		names = append(names, k.Name)
	}
	slices.Sort(names)
	return names
}

// keysAsked finds the keys that the readers ask their mappings for, by
// "FILE FUNCTION VARIABLE", in the package's source.
func keysAsked(t *testing.T) map[string][]string {
	t.Helper()
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	out := map[string][]string{}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") || file == "place.go" {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		require.NoError(t, err)
		for _, d := range f.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || fn.Body == nil {
				continue
			}
			ast.Inspect(fn.Body, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok || len(call.Args) != 1 {
					return true
				}
				sel, ok := call.Fun.(*ast.SelectorExpr)
				if !ok || sel.Sel.Name != "get" && sel.Sel.Name != "need" {
					return true
				}
				on, ok := sel.X.(*ast.Ident)
				lit, isLit := call.Args[0].(*ast.BasicLit)
				if !ok || !isLit || lit.Kind != token.STRING {
					return true
				}
				key, err := strconv.Unquote(lit.Value)
				require.NoError(t, err)
				at := strings.TrimSuffix(file, ".go") + " " + fn.Name.Name + " " + on.Name
				out[at] = append(out[at], key)
				return true
			})
		}
	}
	return out
}
