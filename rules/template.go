package rules

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"

	"probable/engine"
	"probable/engine/circuit"
)

// template reads the harness that stands in where the user has none, and which
// of its parts' keys take the value of a fact.
func (r *guideReader) template(n *yaml.Node) {
	if n == nil {
		return
	}
	name, set := n, map[string]string{}
	if n.Kind == yaml.MappingNode {
		m := r.mapping(n, "template")
		name = m.need("harness")
		sm := r.mapping(m.get("set"), "template: set")
		for _, key := range sm.keys {
			set[key] = r.text(sm.get(key), "template: set: "+key)
			i := slices.IndexFunc(r.g.Facts, func(f engine.Fact) bool { return f.Name == set[key] })
			switch {
			case i < 0 && r.facts != nil:
				r.known(sm.get(key), set[key], slices.Sorted(maps.Keys(r.facts)), "template: set: there is no fact")
			case i >= 0 && (r.g.Facts[i].YesNo || r.g.Facts[i].Choices != nil):
				r.errorf(sm.get(key), "template: set: the fact %s is not a number", set[key])
			}
			if strings.Count(key, ".") != 1 {
				r.errorf(sm.at[key], "template: set: %q is not a key of a part; write part.key", key)
			}
		}
		m.done()
	}
	id := r.text(name, "template")
	if !r.known(name, id, slices.Sorted(maps.Keys(r.base.templates)), "template: there is no harness in templates") {
		return
	}
	file, data := r.base.templates[id].name, r.base.templates[id].data
	base := r.base
	of := func(facts map[string]any) (*circuit.Harness, string, error) {
		filled, err := fill(data, set, facts)
		if err != nil {
			return nil, "", fmt.Errorf("%s: %w", file, err)
		}
		h, err := base.Harness(file, filled)
		if err != nil {
			return nil, "", err
		}
		if len(h.Symptoms) == 0 {
			return nil, "", fmt.Errorf("%s: a template names the symptom that it stands for", file)
		}
		return h, h.Symptoms[0].ID, nil
	}
	usual := map[string]any{}
	for _, f := range r.g.Facts {
		usual[f.Name] = f.Default
	}
	if _, _, err := of(usual); err != nil && r.usual {
		r.errorf(n, "template: %v", err)
		return
	}
	r.g.Template = of
}

// fill puts the values of facts into the keys of a harness file's parts.
func fill(data []byte, set map[string]string, facts map[string]any) ([]byte, error) {
	if len(set) == 0 {
		return data, nil
	}
	var root yaml.Node
	if err := yaml.Unmarshal(data, &root); err != nil {
		return nil, err
	}
	for _, key := range slices.Sorted(maps.Keys(set)) {
		part, name, _ := strings.Cut(key, ".")
		n := child(child(child(root.Content[0], "parts"), part), name)
		if n == nil {
			return nil, fmt.Errorf("there is no part with the key %s", key)
		}
		n.Value, n.Tag = strconv.FormatFloat(facts[set[key]].(float64), 'g', -1, 64), ""
	}
	return yaml.Marshal(&root)
}

// child returns the value of a key, or nil.
func child(n *yaml.Node, key string) *yaml.Node {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return n.Content[i+1]
		}
	}
	return nil
}
