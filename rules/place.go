package rules

import "gopkg.in/yaml.v3"

// Place is where something stands in a file.
type Place struct {
	File         string
	Line, Column int // from 1
}

// Places returns where the parts, wires, states and symptoms of a harness file
// stand, as "part NAME", "wire NAME", "state NAME" and "symptom ID". What cannot
// be read is left out.
func Places(file string, data []byte) map[string]Place {
	d := &document{file: file}
	at := map[string]Place{}
	note := func(kind string, n *yaml.Node) {
		if n == nil {
			return
		}
		if name := kind + " " + d.text(n, kind); at[name].Line == 0 {
			at[name] = Place{file, n.Line, n.Column}
		}
	}
	m := d.mapping(d.parse(data), "harness file")
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
