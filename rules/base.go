package rules

import (
	"crypto/sha256"
	"encoding/hex"
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
	parts     map[string]heldPart
	guides    map[string]*held
	templates map[string]kbFile    // harness files by name
	where     map[string]kbFile    // where a part, template, guide or source stands, by kind and name
	learned   []map[string]float64 // odds by "GUIDE / CAUSE" and more, a layer's each
	Sources   []Source
	First     *Question // what to ask who does not know the guide; nil: nothing
	// Notes say what a layer put in the place of something below it.
	Notes []string
	// Unfit joins the [Problems] of guides of layers. None of them can be worked by,
	// and [Base.Reach] refuses those that use or extend one.
	Unfit  error
	layers []layer
	Digest string // names the knowledge by the contents of all files, those too that were overridden
}

// shippedName is how messages name the base that layers lie over.
const shippedName = "kb"

// ReadBase reads a knowledge base laid out as sources.yaml, parts/*.yaml,
// templates/*.yaml, guides/*.yaml and first.yaml, and layers that lie over it, the
// last on top. All but the shipped sources.yaml may be absent. The error joins the
// [Problems] of all files; with one the base holds what could be read.
func ReadBase(shipped fs.FS, over ...Layer) (*Base, error) {
	layers, err := load(shipped, over)
	if layers == nil {
		return nil, err
	}
	b, wrong := readLayers(layers)
	return b, errors.Join(err, wrong)
}

// OpenBase reads as little as a case needs: of the shipped base, which is taken to
// be right, parts and guides when they are first asked for and templates where
// they are used; of layers all. The error joins [Problems], but for those of guides, which
// are in Unfit. Its guides, unlike those of ReadBase, are for one goroutine at a time.
func OpenBase(shipped fs.FS, over ...Layer) (*Base, error) {
	layers, err := load(shipped, over)
	if layers == nil {
		return nil, err
	}
	b, ids, wrong := readFrame(layers, true)
	errs := []error{err, wrong}
	unfit := []error{b.holdUnread(layers[0], ids)}
	for _, l := range layers[1:] {
		unfit = append(unfit, b.readGuides(l.files["guides"], ids))
	}
	errs = append(errs, b.readRest(layers))
	for _, id := range b.ids() {
		if h := b.guides[id]; h.read {
			unfit = append(unfit, h.resolved(), h.circled())
		}
	}
	for _, name := range slices.Sorted(maps.Keys(b.templates)) {
		if f := b.templates[name]; !f.shipped {
			errs = append(errs, b.checkTemplate(f))
		}
	}
	b.Unfit = errors.Join(unfit...)
	return b, errors.Join(errs...)
}

// ReadFiles reads a base as [ReadBase] does, and over it files by their names,
// each taken for what its keys say that it is. Worked cases and harnesses among
// them are only read.
func ReadFiles(files map[string][]byte, shipped fs.FS, over ...Layer) (*Base, error) {
	layers, err := load(shipped, over)
	if layers == nil {
		return nil, err
	}
	top := layer{files: map[string][]kbFile{}}
	var others []string
	for _, name := range slices.Sorted(maps.Keys(files)) {
		f := kbFile{name: name, data: files[name]}
		if as := folderOf(f); as != "" {
			top.files[as] = append(top.files[as], f)
		} else {
			others = append(others, name)
		}
	}
	b, wrong := readLayers(append(layers, top))
	errs := []error{err, wrong}
	for _, name := range others {
		if root := (&document{}).parse(files[name]); child(root, "cases") != nil {
			_, err = b.ReadCases(name, files[name])
		} else {
			_, err = b.Harness(name, files[name])
		}
		errs = append(errs, err)
	}
	return b, errors.Join(errs...)
}

// folderOf is the folder of a layer, or the file beside the folders, that a file
// belongs to by its keys; "" if it is of none, or cannot be read.
func folderOf(f kbFile) string {
	root := (&document{file: f.name}).parse(f.data)
	for key, as := range map[string]string{"guide": "guides", "extends": "guides", "part": "parts", "sources": sourcesFile, "ask": firstFile, "learned": oddsFile} {
		if child(root, key) != nil {
			return as
		}
	}
	return ""
}

// load reads the files of the shipped base and of the layers over it; nil if
// there is no base.
func load(shipped fs.FS, over []Layer) ([]layer, error) {
	if _, err := fs.Stat(shipped, sourcesFile); err != nil {
		return nil, err
	}
	var errs []error
	var layers []layer
	for i, l := range append([]Layer{{shippedName, shipped}}, over...) {
		read, err := l.load(i == 0)
		errs = append(errs, err)
		layers = append(layers, read)
	}
	return layers, errors.Join(errs...)
}

// readLayers reads what the files of layers say, the last on top.
func readLayers(layers []layer) (*Base, error) {
	b, ids, err := readFrame(layers, false)
	errs := []error{err}
	for _, l := range layers {
		errs = append(errs, b.readGuides(l.files["guides"], ids))
	}
	errs = append(errs, b.readRest(layers))
	for _, id := range b.ids() {
		errs = append(errs, b.guides[id].resolved())
	}
	for _, id := range b.ids() {
		errs = append(errs, b.guides[id].circled())
	}
	for _, name := range slices.Sorted(maps.Keys(b.templates)) {
		errs = append(errs, b.checkTemplate(b.templates[name]))
	}
	return b, errors.Join(errs...)
}

// readFrame reads what guides lean on: sources, whose IDs it returns, and parts;
// and which templates there are. The shipped parts may be left unread, until they
// are asked for.
func readFrame(layers []layer, unread bool) (*Base, SourceIDs, error) {
	b := &Base{parts: map[string]heldPart{}, guides: map[string]*held{}, templates: map[string]kbFile{}, where: map[string]kbFile{}, layers: layers}
	var errs []error
	b.Digest = digest(layers)
	ids := SourceIDs{}
	for _, l := range layers {
		errs = append(errs, b.readSources(l, ids))
	}
	for i, l := range layers {
		files := l.files["parts"]
		if i == 0 && unread {
			files = b.holdParts(files, ids)
		}
		parts, err := readAll(files, "part: there is another kind", func(f kbFile) (*Part, *yaml.Node, error) {
			return readPart(f.name, f.data, ids)
		})
		errs = append(errs, err)
		lay(b, "part", parts, func(kind string, p *Part) { b.parts[kind] = heldPart{p.wire, func() *Part { return p }} })
		for _, f := range l.files["templates"] {
			b.define("template "+f.stem(), f)
			b.templates[f.stem()] = f
		}
	}
	return b, ids, errors.Join(errs...)
}

// readRest reads what goes by the names of guides and comes before they are taken
// whole: learned odds and first questions.
func (b *Base) readRest(layers []layer) error {
	var errs []error
	for _, l := range layers {
		errs = append(errs, b.readOdds(l))
	}
	for i, l := range layers {
		errs = append(errs, b.readFirst(l, b.upTo(layers[:i+1])))
	}
	return errors.Join(errs...)
}

// digest names the files of layers by their contents.
func digest(layers []layer) string {
	h := sha256.New()
	for i, l := range layers {
		for _, folder := range slices.Sorted(maps.Keys(l.files)) {
			for _, f := range l.files[folder] {
				fmt.Fprintf(h, "%d %s/%s %d\n", i, folder, path.Base(f.name), len(f.data))
				h.Write(f.data)
			}
		}
	}
	return "sha256:" + hex.EncodeToString(h.Sum(nil)[:8])
}

// readSources adds a layer's sources, and their IDs.
func (b *Base) readSources(l layer, ids SourceIDs) error {
	for _, f := range l.files[sourcesFile] {
		sources, err := ReadSources(f.name, f.data)
		ids[""] = ids[""] || err != nil
		for _, s := range sources {
			b.define("source "+s.ID, f)
			ids[s.ID] = true
			if i := slices.IndexFunc(b.Sources, func(old Source) bool { return old.ID == s.ID }); i >= 0 {
				b.Sources[i] = s
			} else {
				b.Sources = append(b.Sources, s)
			}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// readGuides adds a layer's guides, then what it adds to guides.
func (b *Base) readGuides(files []kbFile, ids SourceIDs) error {
	documents := make(map[string]*extension, len(files))
	for _, f := range files {
		x := &extension{document: &document{file: f.name}}
		x.root = x.parse(f.data)
		x.of = child(x.root, "extends")
		documents[f.name] = x
	}
	guides, err := readAll(files, "guide: there is another guide", func(f kbFile) (*guideReader, *yaml.Node, error) {
		x := documents[f.name]
		if x.of != nil {
			return nil, nil, nil
		}
		return b.readGuideOf(x.document, x.root, ids)
	})
	errs := []error{err}
	lay(b, "guide", guides, b.holdRead)
	for _, f := range files {
		if x := documents[f.name]; x.of != nil {
			errs = append(errs, b.extend(x, ids))
		}
	}
	return errors.Join(errs...)
}

// checkTemplate reads a template as it stands, before facts are put in.
func (b *Base) checkTemplate(f kbFile) error {
	h, err := b.Harness(f.name, f.data)
	if err == nil && len(h.Symptoms) == 0 {
		err = Problems{{File: f.name, Line: 1, Column: 1, Text: "a template names the symptom that it stands for"}}
	}
	return err
}

// read is what one file gives, and where it names it.
type read[T any] struct {
	value *T
	file  kbFile
}

// lay puts what a layer has over what is there, by name.
func lay[T any](b *Base, kind string, with map[string]read[T], put func(string, *T)) {
	for _, name := range slices.Sorted(maps.Keys(with)) {
		if name != "" {
			b.define(kind+" "+name, with[name].file)
		}
		put(name, with[name].value)
	}
}

// readAll reads files side by side, and returns what could be read by the names
// that the files give it, which parse finds; what has no name that could be read
// has an empty one. The text another is for a name that an earlier file gives
// too; a file with problems does not count.
func readAll[T any](files []kbFile, another string, parse func(kbFile) (*T, *yaml.Node, error)) (map[string]read[T], error) {
	values := make([]*T, len(files))
	names := make([]*yaml.Node, len(files))
	errs := make([]error, len(files))
	var wg sync.WaitGroup
	for i, f := range files {
		wg.Go(func() { values[i], names[i], errs[i] = parse(f) })
	}
	wg.Wait()
	out := map[string]read[T]{}
	first := map[string]string{} // file by name
	for i, f := range files {
		name := ""
		if names[i] != nil {
			name = strings.TrimSpace(names[i].Value)
		}
		other, dup := first[name]
		switch {
		case values[i] == nil:
		case errs[i] != nil && out[name].value == nil:
			out[name] = read[T]{values[i], f}
		case errs[i] != nil:
		case dup:
			errs[i] = Problems{{File: f.name, Line: names[i].Line, Column: names[i].Column, Text: fmt.Sprintf("%s %s, in %s", another, name, other)}}
		default:
			out[name], first[name] = read[T]{values[i], f}, f.name
		}
	}
	return out, errors.Join(errs...)
}

// upTo returns the guides, among those that are a symptom, that stand in this layer or below.
func (b *Base) upTo(layers []layer) []string {
	var ids []string
	for _, id := range b.GuideIDs() {
		for _, l := range layers {
			if slices.ContainsFunc(l.files["guides"], func(f kbFile) bool { return f.name == b.where["guide "+id].name }) {
				ids = append(ids, id)
			}
		}
	}
	return ids
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
func (b *Base) Part(kind string) *Part {
	if p, ok := b.parts[kind]; ok {
		return p.read()
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
		if b.guides[id].head.Applies(h, s) {
			return b.Guide(id)
		}
	}
	return nil
}

// Source is one published source.
type Source struct {
	ID, Title, Where, Reached string
	// ForProgram says that the program's own code or its tests lean on it, and
	// nothing in the knowledge need do so.
	ForProgram bool
	at         Place
}

const forProgram = "program"

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
		if x := sm.get("for"); x != nil {
			if word := d.text(x, "source: for"); word != forProgram && word != "" {
				d.errorf(x, "source %s: for: %q is none of: %s", s.ID, word, forProgram)
			}
			s.ForProgram = true
		}
		if id != nil {
			s.at = d.place(id)
		}
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
