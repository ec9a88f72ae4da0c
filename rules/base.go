package rules

import (
	"errors"
	"io/fs"
	"path"
	"slices"
	"sync"

	"probable/engine"
	"probable/engine/circuit"
)

// Base is the knowledge: kinds of parts, guides and their sources.
type Base struct {
	parts   map[string]*Part
	guides  map[string]*engine.Guide
	Sources []Source
}

// ReadBase reads a knowledge base laid out as sources.yaml, parts/*.yaml and
// guides/*.yaml. The error joins the [Problems] of all files.
func ReadBase(fsys fs.FS) (*Base, error) {
	b := &Base{parts: map[string]*Part{}, guides: map[string]*engine.Guide{}}
	var errs []error
	data, err := fs.ReadFile(fsys, "sources.yaml")
	if err != nil {
		return nil, err
	}
	if b.Sources, err = ReadSources("kb/sources.yaml", data); err != nil {
		errs = append(errs, err)
	}
	ids := SourceIDs{}
	for _, s := range b.Sources {
		ids[s.ID] = true
	}
	parts, perr := readAll(fsys, "parts", func(file string, data []byte) (*Part, error) { return ReadPart(file, data, ids) })
	for _, p := range parts {
		b.parts[p.Kind] = p
	}
	guides, gerr := readAll(fsys, "guides", func(file string, data []byte) (*engine.Guide, error) { return b.ReadGuide(file, data, ids) })
	for _, g := range guides {
		b.guides[g.ID] = g
	}
	errs = append(errs, perr, gerr)
	return b, errors.Join(errs...)
}

// readAll reads every YAML file of a folder, side by side, and returns what
// could be read in the order of the names.
func readAll[T any](fsys fs.FS, dir string, read func(file string, data []byte) (*T, error)) ([]*T, error) {
	files, err := fs.Glob(fsys, dir+"/*.yaml")
	if err != nil {
		return nil, err
	}
	sorted(files)
	out := make([]*T, len(files))
	errs := make([]error, len(files))
	var wg sync.WaitGroup
	for i, f := range files {
		wg.Go(func() {
			data, err := fs.ReadFile(fsys, f)
			if err == nil {
				out[i], err = read(path.Join("kb", f), data)
			}
			if err != nil {
				out[i], errs[i] = nil, err
			}
		})
	}
	wg.Wait()
	return slices.DeleteFunc(out, func(t *T) bool { return t == nil }), errors.Join(errs...)
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

// GuideIDs returns the IDs of all guides, sorted.
func (b *Base) GuideIDs() []string {
	var ids []string
	for id := range b.guides {
		ids = append(ids, id)
	}
	return sorted(ids)
}

// Guide returns a guide, or nil.
func (b *Base) Guide(id string) *engine.Guide { return b.guides[id] }

// GuideFor returns the guide that joins a symptom of the harness: the one that
// the symptom names, else the first that applies to what a part shows; nil if
// there is none.
func (b *Base) GuideFor(h *circuit.Harness, symptom string) *engine.Guide {
	s, ok := h.Symptom(symptom)
	if !ok {
		return nil
	}
	if s.Guide != "" {
		return b.guides[s.Guide]
	}
	for _, id := range b.GuideIDs() {
		if g := b.guides[id]; g.Applies(h, s) {
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
	d.version(m.need("version"), "version")
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
