package rules

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"

	"gopkg.in/yaml.v3"

	"probable/engine"
	"probable/engine/circuit"
)

// Base is the knowledge: kinds of parts, guides and their sources.
type Base struct {
	parts     map[string]*Part
	readers   map[string]*guideReader // by guide
	templates map[string][]byte       // harness files by name
	Sources   []Source
}

// ReadBase reads a knowledge base laid out as sources.yaml, parts/*.yaml,
// templates/*.yaml and guides/*.yaml. The error joins the [Problems] of all files; with one the base
// holds what could be read.
func ReadBase(fsys fs.FS) (*Base, error) {
	b := &Base{templates: map[string][]byte{}}
	var errs []error
	data, err := fs.ReadFile(fsys, "sources.yaml")
	if err != nil {
		return nil, err
	}
	if b.Sources, err = ReadSources("kb/sources.yaml", data); err != nil {
		errs = append(errs, err)
	}
	ids := SourceIDs{"": err != nil}
	for _, s := range b.Sources {
		ids[s.ID] = true
	}
	var perr, gerr error
	b.parts, perr = readAll(fsys, "parts", "part: there is another kind", func(file string, data []byte) (*Part, *yaml.Node, error) {
		return readPart(file, data, ids)
	})
	files, err := fs.Glob(fsys, "templates/*.yaml")
	if err != nil {
		return nil, err
	}
	for _, f := range files {
		if b.templates[strings.TrimSuffix(path.Base(f), ".yaml")], err = fs.ReadFile(fsys, f); err != nil {
			return nil, err
		}
	}
	b.readers, gerr = readAll(fsys, "guides", "guide: there is another guide", func(file string, data []byte) (*guideReader, *yaml.Node, error) {
		return b.readGuide(file, data, ids)
	})
	errs = append(errs, perr, gerr)
	for _, id := range slices.Sorted(maps.Keys(b.readers)) {
		errs = append(errs, b.readers[id].resolve(b.readers))
	}
	for _, id := range slices.Sorted(maps.Keys(b.readers)) {
		errs = append(errs, b.readers[id].comesBack(b.readers))
	}
	return b, errors.Join(errs...)
}

// readAll reads every YAML file of a folder, side by side, and returns what
// could be read by the names that the files give it, which read finds; what has
// no name that could be read has an empty one. The text another is for a name
// that an earlier file gives too; a file with problems does not count.
func readAll[T any](fsys fs.FS, dir, another string, read func(file string, data []byte) (*T, *yaml.Node, error)) (map[string]*T, error) {
	files, err := fs.Glob(fsys, dir+"/*.yaml")
	if err != nil {
		return nil, err
	}
	sorted(files)
	values := make([]*T, len(files))
	names := make([]*yaml.Node, len(files))
	errs := make([]error, len(files))
	var wg sync.WaitGroup
	for i, f := range files {
		wg.Go(func() {
			data, err := fs.ReadFile(fsys, f)
			if err == nil {
				values[i], names[i], err = read(path.Join("kb", f), data)
			}
			errs[i] = err
		})
	}
	wg.Wait()
	out := map[string]*T{}
	first := map[string]string{} // file by name
	for i, f := range files {
		file, name := path.Join("kb", f), ""
		if names[i] != nil {
			name = strings.TrimSpace(names[i].Value)
		}
		other, dup := first[name]
		switch {
		case values[i] == nil:
		case errs[i] != nil && out[name] == nil:
			out[name] = values[i]
		case errs[i] != nil:
		case dup:
			errs[i] = Problems{{File: file, Line: names[i].Line, Column: names[i].Column, Text: fmt.Sprintf("%s %s, in %s", another, name, other)}}
		default:
			out[name], first[name] = values[i], file
		}
	}
	return out, errors.Join(errs...)
}

// Kinds returns the kinds of parts that a harness may use, sorted.
func (b *Base) Kinds() []string {
	var kinds []string
	for k, p := range b.parts {
		if !p.wire {
			kinds = append(kinds, k)
		}
	}
	return sorted(kinds)
}

// Part returns a kind of part, or nil.
func (b *Base) Part(kind string) *Part { return b.parts[kind] }

// GuideIDs returns the IDs of all guides that are a symptom, sorted.
func (b *Base) GuideIDs() []string { return symptoms(b.readers) }

// Guides returns all guides by ID, those too that are only lent from.
func (b *Base) Guides() engine.Guides {
	guides := engine.Guides{}
	for id, r := range b.readers {
		guides[id] = r.g
	}
	return guides
}

// Guide returns a guide, or nil.
func (b *Base) Guide(id string) *engine.Guide {
	if r := b.readers[id]; r != nil {
		return r.g
	}
	return nil
}

// GuideFor returns the guide that joins a symptom of the harness: the one that
// the symptom names, else the first that applies to what a part shows; nil if
// there is none.
func (b *Base) GuideFor(h *circuit.Harness, symptom string) *engine.Guide {
	s, ok := h.Symptom(symptom)
	if !ok {
		return nil
	}
	if s.Guide != "" {
		return b.Guide(s.Guide)
	}
	for _, id := range b.GuideIDs() {
		if g := b.Guide(id); g.Applies(h, s) {
			return g
		}
	}
	return nil
}

// Source is one published source.
type Source struct{ ID, Title, Where, Reached string }

// ReadSources reads the list of sources. The error, if any, is [Problems].
func ReadSources(file string, data []byte) ([]Source, error) {
	d := &document{file: file}
	root := d.parse(data)
	if root == nil {
		return nil, d.problems.err()
	}
	m := d.mapping(root, "sources file")
	d.version(m.need("version"))
	var out []Source
	seen := map[string]bool{"practice": true, "memory": true}
	for _, n := range d.list(m.need("sources"), "sources") {
		sm := d.mapping(n, "source")
		id := sm.need("id")
		s := Source{ID: d.name(id, "source: id"), Title: d.text(sm.need("title"), "source: title"),
			Where: d.text(sm.need("where"), "source: where"), Reached: d.text(sm.need("reached"), "source: reached")}
		sm.done()
		if seen[s.ID] {
			d.errorf(id, "source %s: the id stands twice", s.ID)
		}
		seen[s.ID] = true
		out = append(out, s)
	}
	m.done()
	return out, d.problems.err()
}
