package rules

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// Layer is a folder of knowledge that lies over the shipped one: it adds to it
// and overrides it by id. Nothing in it is ever more than read: its files are
// those of fixed folders, and what they name is looked up in what was read.
type Layer struct {
	Name  string // how messages name the folder
	Files fs.FS
}

// maxFiles bounds a folder of a layer.
const maxFiles = 1000

// folders of a base, and the files beside them.
var (
	folders = []string{"guides", "parts", "templates"}
	single  = []string{sourcesFile, firstFile, oddsFile}
)

const (
	sourcesFile = "sources.yaml"
	firstFile   = "first.yaml"
	oddsFile    = "odds.yaml"
)

// kbFile is one file of a layer.
type kbFile struct {
	name    string // with the layer's
	data    []byte
	shipped bool
}

// stem is the file's name without folder and ending.
func (f kbFile) stem() string { return strings.TrimSuffix(path.Base(f.name), ".yaml") }

// layer is a layer that was read, by folder; the files beside the folders stand
// under their own names.
type layer struct {
	name  string
	files map[string][]kbFile
}

// load reads the files of a layer, which may be the shipped one. The error joins
// [Problems].
func (l Layer) load(shipped bool) (layer, error) {
	out := layer{l.Name, map[string][]kbFile{}}
	var errs []error
	read := func(as, name string) {
		data, err := l.read(name)
		switch {
		case errors.Is(err, fs.ErrNotExist) && as == name:
		case err != nil:
			errs = append(errs, err)
		default:
			out.files[as] = append(out.files[as], kbFile{path.Join(l.Name, name), data, shipped})
		}
	}
	for _, name := range single {
		read(name, name)
	}
	for _, dir := range folders {
		entries, err := fs.ReadDir(l.Files, dir)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			errs = append(errs, l.refuse(dir, err))
		}
		if len(entries) > maxFiles {
			errs = append(errs, l.refuse(dir, fmt.Errorf("it has %d files; the most is %d", len(entries), maxFiles)))
			continue
		}
		for _, e := range entries { // sorted by name
			switch path.Ext(e.Name()) {
			case ".yaml":
				read(dir, path.Join(dir, e.Name()))
			case ".yml":
				errs = append(errs, Problems{{File: path.Join(l.Name, dir, e.Name()), Line: 1, Column: 1, Text: "the file's name must end in .yaml"}})
			}
		}
	}
	return out, errors.Join(errs...)
}

// read reads a plain file of at most maxBytes.
func (l Layer) read(name string) ([]byte, error) {
	info, err := fs.Stat(l.Files, name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, err
	case err != nil:
		return nil, l.refuse(name, err)
	case !info.Mode().IsRegular():
		return nil, l.refuse(name, errors.New("it is not a plain file"))
	case info.Size() > maxBytes:
		return nil, l.refuse(name, fmt.Errorf("it has %d bytes; the most is %d", info.Size(), maxBytes))
	}
	data, err := fs.ReadFile(l.Files, name)
	if err != nil {
		return nil, l.refuse(name, err)
	}
	return data, nil
}

// refuse is the problem of a file that is not read.
func (l Layer) refuse(name string, err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return Problems{{File: path.Join(l.Name, name), Line: 1, Column: 1, Text: fmt.Sprintf("not read: %v; a layer holds plain files of its own, and no links out of it", err)}}
}

// define notes that a file defines something, and what that overrides.
func (b *Base) define(what string, by kbFile) {
	if of, ok := b.where[what]; ok {
		b.Notes = append(b.Notes, fmt.Sprintf("%s from %s overrides %s", what, by.name, of.one()))
	}
	b.where[what] = by
}

// one names what a file defines, for messages.
func (f kbFile) one() string {
	if f.shipped {
		return "the shipped one"
	}
	return "that of " + f.name
}

// extension is a guide file that adds to another guide.
type extension struct {
	*document
	root *yaml.Node
	of   *yaml.Node // the guide that it extends
}

// extended are the keys of a guide that an extension adds to.
var extended = []string{"cautions", "roles", "facts", "causes", "checks"}

// extend makes the guide that a layer's file adds to, and returns its reader.
// What the file gives by an ID that the guide has stands for that; a "use" of
// the guide itself changes a cause's odds, proof, traits or condition, or adds
// rows to a check's table, and leaves the rest.
func (b *Base) extend(x *extension, sources SourceIDs) error {
	m := x.mapping(x.root, "guide file")
	id := x.text(m.get("extends"), "extends")
	x.guideVersion(m.need("version"))
	for _, key := range extended {
		m.get(key)
	}
	m.done()
	over := b.guides[id]
	if over == nil {
		x.known(x.of, id, b.orAny(b.ids()), "extends: there is no guide")
		return x.problems.err()
	}
	below := over.own()
	if err := x.problems.err(); err != nil || below.broken { // its problems are told where they are
		over.beside = append(over.beside, err)
		return err
	}
	// The extension's lines come after those of the guide.
	has := bytes.Count(below.data, []byte("\n"))
	lines := max(has, last(below.root)) + 1
	d := &document{file: below.file, parts: append(slices.Clone(below.parts), segment{x.file, lines})}
	d.data = slices.Concat(below.data, bytes.Repeat([]byte("\n"), lines-has), x.data)
	shift(x.root, lines)
	root := *below.root
	root.Content = slices.Clone(below.root.Content)
	merged := &merger{base: b, d: d, id: id, file: x.file}
	for _, key := range extended {
		more := child(x.root, key)
		if more == nil {
			continue
		}
		at := 0
		for at < len(root.Content) && root.Content[at].Value != key {
			at += 2
		}
		if at >= len(root.Content) {
			root.Content = append(root.Content, keyNode(key, more), more)
			continue
		}
		root.Content[at+1] = merged.merge(key, root.Content[at+1], more)
	}
	r, _, err := b.readGuideOf(d, &root, sources)
	b.holdRead(id, r)
	b.guides[id].beside = over.beside
	return err
}

// keyNode is a key that stands where its value does.
func keyNode(key string, value *yaml.Node) *yaml.Node {
	return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: key, Line: value.Line, Column: value.Column}
}

// last returns the last line on which a node or one below it stands. YAML knows
// more line ends than one.
func last(n *yaml.Node) int {
	line := n.Line
	for _, c := range n.Content {
		line = max(line, last(c))
	}
	return line
}

// shift moves a node and all below it down.
func shift(n *yaml.Node, lines int) {
	n.Line += lines
	for _, c := range n.Content {
		shift(c, lines)
	}
}

// merger joins what an extension says with its guide.
type merger struct {
	base *Base
	d    *document
	id   string // the guide
	file string // the extension
}

// merge returns the guide's value of a key with the extension's added. Where the
// kinds of nodes differ the extension's stands alone, and reading reports it.
func (g *merger) merge(key string, old, more *yaml.Node) *yaml.Node {
	out := *old
	out.Content = slices.Clone(old.Content)
	switch {
	case old.Kind != more.Kind:
		return more
	case key == "cautions":
		out.Content = append(out.Content, more.Content...)
	case more.Kind == yaml.MappingNode:
		for i := 0; i+1 < len(more.Content); i += 2 {
			if g.put(&out, more.Content[i], more.Content[i+1]) {
				g.note(strings.TrimSuffix(key, "s") + " " + more.Content[i].Value)
			}
		}
	default:
		for _, item := range more.Content {
			g.item(strings.TrimSuffix(key, "s"), &out, item)
		}
	}
	return &out
}

// put sets a key of a mapping, and reports whether it was there.
func (g *merger) put(m, key, value *yaml.Node) bool {
	for i := 0; i+1 < len(m.Content); i += 2 {
		if m.Content[i].Value == key.Value {
			m.Content[i], m.Content[i+1] = key, value
			return true
		}
	}
	m.Content = append(m.Content, key, value)
	return false
}

func (g *merger) note(what string) {
	g.base.Notes = append(g.base.Notes, fmt.Sprintf("guide %s: %s from %s overrides %s", g.id, what, g.file, g.base.where["guide "+g.id].one()))
}

// item adds a cause or check to a list.
func (g *merger) item(kind string, list, item *yaml.Node) {
	id, own := itemID(item), false
	if use := child(item, "use"); use != nil {
		var from string
		from, _, _ = strings.Cut(use.Value, " / ")
		own = from == g.id
	}
	for i, old := range list.Content {
		if id == "" || itemID(old) != id {
			continue
		}
		if own {
			item = g.changed(kind, old, item)
		}
		list.Content[i] = item
		g.note(kind + " " + id)
		return
	}
	if own && id != "" {
		g.d.errorf(child(item, "use"), "use: %s has no %s %q", g.id, kind, id)
		return
	}
	list.Content = append(list.Content, item)
}

// changed is a cause or check of the guide with what the extension says anew.
func (g *merger) changed(kind string, old, item *yaml.Node) *yaml.Node {
	out := *old
	out.Content = slices.Clone(old.Content)
	anew := []string{"table", "source"}
	if kind == "cause" {
		anew = []string{"odds", "source", "prove", "traits", "when"}
	}
	m := g.d.mapping(item, kind)
	m.get("use")
	for _, key := range anew {
		value := m.get(key)
		if value == nil {
			continue
		}
		if (key == "odds" || key == "table") && child(item, "source") == nil {
			g.d.unmark(value)
		}
		if table := child(&out, key); key == "table" && table != nil && table.Kind == yaml.MappingNode && value.Kind == yaml.MappingNode {
			rows := *table
			rows.Content = slices.Clone(table.Content)
			for i := 0; i+1 < len(value.Content); i += 2 {
				g.put(&rows, value.Content[i], value.Content[i+1])
			}
			value = &rows
		}
		g.put(&out, m.at[key], value)
	}
	m.done()
	return &out
}

// itemID is the ID of a cause or check as its file gives it, or empty.
func itemID(item *yaml.Node) string {
	if use := child(item, "use"); use != nil {
		_, id, _ := strings.Cut(use.Value, " / ")
		return id
	}
	if id := child(item, "id"); id != nil {
		return id.Value
	}
	return ""
}
