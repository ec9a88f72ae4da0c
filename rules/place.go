package rules

import (
	"fmt"
	"strings"

	"gopkg.in/yaml.v3"
)

// Place is where something stands in a file.
type Place struct {
	File         string
	Line, Column int // from 1
}

// Places returns where the parts, wires, states and symptoms of a harness file
// stand, as "part NAME", "wire NAME", "state NAME" and "symptom ID"; and of a guide
// its own keys, "cause ID" and "check ID", and of these "check ID / KEY",
// "check ID / KEY / ITEM" of a list of texts, "check ID / outcome N" from 1 and
// "check ID / row NAME" of the table. What cannot be read is left out.
func Places(file string, data []byte) map[string]Place {
	d := &document{file: file}
	root := d.parse(data)
	if child(root, "guide") != nil {
		return d.guidePlaces(root)
	}
	at := map[string]Place{}
	note := func(kind string, n *yaml.Node) {
		if n == nil {
			return
		}
		if name := kind + " " + d.text(n, kind); at[name].Line == 0 {
			at[name] = Place{file, n.Line, n.Column}
		}
	}
	m := d.mapping(root, "harness file")
	for _, kind := range [][2]string{{"parts", "part"}, {"states", "state"}} {
		km := d.mapping(m.get(kind[0]), kind[0])
		for _, name := range km.keys {
			note(kind[1], km.at[name])
		}
	}
	for _, kind := range [][3]string{{"wires", "wire", "name"}, {"symptoms", "symptom", "id"}} {
		for _, n := range d.list(m.get(kind[0]), kind[0]) {
			note(kind[1], d.mapping(n, kind[1]).get(kind[2]))
		}
	}
	return at
}

// guidePlaces returns where the causes and checks of a guide stand, and what they
// say.
func (d *document) guidePlaces(root *yaml.Node) map[string]Place {
	at := map[string]Place{}
	note := func(name string, n *yaml.Node) {
		if at[name].Line == 0 {
			at[name] = d.place(n)
		}
	}
	m := d.mapping(root, "guide file")
	for _, key := range m.keys {
		note(key, m.at[key])
	}
	for _, list := range [][2]string{{"causes", "cause"}, {"checks", "check"}} {
		for _, n := range d.list(m.get(list[0]), list[0]) {
			im := d.mapping(n, list[1])
			id := im.get("id")
			name := d.text(id, "id")
			if id == nil {
				id = im.get("use")
				_, name, _ = strings.Cut(d.text(id, "use"), " / ")
			}
			if name == "" {
				continue
			}
			name = list[1] + " " + name
			note(name, id)
			for _, key := range im.keys {
				v := im.get(key)
				note(name+" / "+key, v)
				switch {
				case key == "outcomes" && v.Kind == yaml.SequenceNode:
					for i, o := range v.Content {
						note(fmt.Sprintf("%s / outcome %d", name, i+1), o)
						for _, part := range []string{"say", "when"} {
							if c := child(o, part); c != nil {
								note(fmt.Sprintf("%s / outcome %d / %s", name, i+1, part), c)
							}
						}
					}
				case key == "table":
					tm := d.mapping(v, "table")
					for _, row := range tm.keys {
						note(name+" / row "+row, tm.at[row])
					}
				case v.Kind == yaml.SequenceNode:
					for _, x := range v.Content {
						note(name+" / "+key+" / "+strings.TrimSpace(x.Value), x)
					}
				}
			}
		}
	}
	return at
}
