package rules

import (
	"bytes"
	"errors"
	"maps"
	"slices"
	"sync"

	"probable/engine"
)

// held is a guide that a base holds. It is read when it is first asked for: a
// case needs one guide and those near it, and reading all takes longer than all
// else that a verb does before its first words.
type held struct {
	head   engine.Guide        // what is known of it unread: ID, Shared, Kind and Shows
	own    func() *guideReader // what its files say by themselves
	read   bool                // own is known
	beside []error             // of files that should have added to it

	// The problems that come of what it uses of other guides, and of hand-offs.
	resolved, circled func() error
}

// hold adds a guide, in the place of one of the same ID.
func (b *Base) hold(head engine.Guide, read bool, own func() *guideReader) {
	h := &held{head: head, read: read, own: own}
	h.resolved = sync.OnceValue(func() error {
		r := h.own()
		defer r.learn(b.learned)
		return r.resolve(b)
	})
	h.circled = sync.OnceValue(func() error { return h.whole().comesBack(b) })
	b.guides[head.ID] = h
}

// holdRead adds a guide that was read.
func (b *Base) holdRead(id string, r *guideReader) {
	head := engine.Guide{ID: id, Shared: r.g.Shared, Kind: r.g.Kind, Shows: r.g.Shows}
	b.hold(head, true, func() *guideReader { return r })
}

// whole is what its files say, with what it uses of other guides and with the
// odds that were learned.
func (h *held) whole() *guideReader {
	_ = h.resolved() // told by wrong
	return h.own()
}

// wrong returns the problems of the guide.
func (h *held) wrong() error {
	_, _ = h.resolved(), h.circled()
	return errors.Join(append([]error{h.own().problems.err()}, h.beside...)...)
}

// reader returns what read a guide of the base, or nil.
func (b *Base) reader(id string) *guideReader {
	if h := b.guides[id]; h != nil {
		return h.whole()
	}
	return nil
}

// ids returns the IDs of all guides, sorted.
func (b *Base) ids() []string {
	return slices.DeleteFunc(slices.Sorted(maps.Keys(b.guides)), func(id string) bool { return id == "" })
}

// orAny adds an empty word to names of guides if a guide's name could not be
// read: it may be any.
func (b *Base) orAny(ids []string) []string {
	if _, ok := b.guides[""]; ok {
		return append(ids, "")
	}
	return ids
}

// GuideIDs returns the IDs of all guides that are a symptom, sorted.
func (b *Base) GuideIDs() []string {
	return slices.DeleteFunc(b.ids(), func(id string) bool { return b.guides[id].head.Shared })
}

// Guides returns all guides by ID, those too that are only lent from.
func (b *Base) Guides() engine.Guides {
	guides := engine.Guides{}
	for id := range b.guides {
		guides[id] = b.reader(id).g
	}
	return guides
}

// Guide returns a guide, or nil. After a problem it has what could be read.
func (b *Base) Guide(id string) *engine.Guide {
	if r := b.reader(id); r != nil {
		return r.g
	}
	return nil
}

// Reach returns a guide and those that a case by it may be handed off to, by ID;
// none if there is no such guide. The error joins the [Problems] of these, and of
// those that they use something of.
func (b *Base) Reach(id string) (engine.Guides, error) {
	guides := engine.Guides{}
	var errs []error
	told := map[string]bool{}
	tell := func(id string) {
		if h := b.guides[id]; h != nil && !told[id] {
			told[id] = true
			errs = append(errs, h.wrong())
		}
	}
	for queue := []string{id}; len(queue) > 0; queue = queue[1:] {
		r := b.reader(queue[0])
		if r == nil || guides[queue[0]] != nil {
			continue
		}
		guides[queue[0]] = r.g
		tell(queue[0])
		for _, u := range r.uses {
			tell(u.from)
		}
		for _, c := range r.g.Causes {
			if c.HandOff != "" { // "" is one whose name could not be read
				queue = append(queue, c.HandOff)
			}
		}
	}
	return guides, errors.Join(errs...)
}

// holdUnread adds the guides of the shipped layer unread. One whose head does not
// stand by itself is read.
func (b *Base) holdUnread(l layer, ids SourceIDs) error {
	var rest []kbFile
	for _, f := range l.files["guides"] {
		head, ok := b.headOf(f)
		if !ok {
			rest = append(rest, f)
			continue
		}
		b.define("guide "+head.ID, f)
		b.hold(head, false, sync.OnceValue(func() *guideReader {
			r, _, _ := b.readGuide(f.name, f.data, ids)
			return r
		}))
	}
	return b.readGuides(rest, ids)
}

// headOf reads a guide's file without its causes and checks; false if its head
// does not stand by itself.
func (b *Base) headOf(f kbFile) (engine.Guide, bool) {
	r := &guideReader{document: &document{file: f.name}, base: b, g: &engine.Guide{}}
	m := r.mapping(r.parse(leavingOut(f.data, "causes", "checks")), "guide file")
	id := m.get("guide")
	r.g.ID = r.id(id, "guide")
	r.g.Shared = r.yes(m.get("shared"), "shared")
	r.applies(m.get("applies"))
	return *r.g, r.g.ID != "" && len(r.problems) == 0
}

// heldPart is a kind of part that a base holds, read when it is first asked for.
type heldPart struct {
	wire bool // it is the kind of wires, which no harness names
	read func() *Part
}

// holdParts adds the shipped kinds of parts unread, and returns the files whose
// heads do not stand by themselves.
func (b *Base) holdParts(files []kbFile, ids SourceIDs) []kbFile {
	var rest []kbFile
	for _, f := range files {
		d := &document{file: f.name}
		m := d.mapping(d.parse(leavingOut(f.data, "keys", "elements", "settings", "shows", "failures")), "part file")
		kind := d.name(m.get("part"), "part")
		wire := d.yes(m.get("wire"), "wire")
		if kind == "" || len(d.problems) > 0 {
			rest = append(rest, f)
			continue
		}
		b.define("part "+kind, f)
		b.parts[kind] = heldPart{wire, sync.OnceValue(func() *Part {
			p, _, _ := readPart(f.name, f.data, ids)
			return p
		})}
	}
	return rest
}

// leavingOut is a file's text without some of its keys, if these begin lines and all
// that follows, up to the next key, is indented.
func leavingOut(data []byte, keys ...string) []byte {
	var text []byte
	skip := false
	for line := range bytes.Lines(data) {
		if !bytes.ContainsAny(line[:1], " \t-#\r\n") {
			key, _, _ := bytes.Cut(line, []byte(":"))
			skip = slices.Contains(keys, string(key))
		}
		if !skip {
			text = append(text, line...)
		}
	}
	return text
}
