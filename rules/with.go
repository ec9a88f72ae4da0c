package rules

import (
	"errors"
	"maps"
	"slices"
)

// With returns the base with more files over it, each by its name and read as
// what its keys say that it is: a guide, in the place of the one with its ID, a
// kind of part, or else a harness, which is read and not kept. The error joins the
// [Problems] of all files.
func (b *Base) With(files map[string][]byte) (*Base, error) {
	out := *b
	out.parts, out.readers = maps.Clone(b.parts), maps.Clone(b.readers)
	ids := SourceIDs{}
	for _, s := range b.Sources {
		ids[s.ID] = true
	}
	var errs []error
	var guides []*guideReader
	var harnesses []string
	for _, name := range slices.Sorted(maps.Keys(files)) {
		d := &document{file: name}
		root := d.parse(files[name])
		switch {
		case root == nil:
			errs = append(errs, d.problems.err())
		case child(root, "part") != nil:
			p, err := ReadPart(name, files[name], ids)
			errs = append(errs, err)
			if err == nil {
				out.parts[p.Kind] = p
			}
		case child(root, "guide") != nil:
			r, _, err := out.readGuide(name, files[name], ids)
			errs = append(errs, err)
			guides = append(guides, r)
			out.readers[r.g.ID] = r
		default:
			harnesses = append(harnesses, name)
		}
	}
	for _, r := range guides {
		errs = append(errs, r.resolve(out.readers))
	}
	for _, r := range guides {
		errs = append(errs, r.comesBack(out.readers))
	}
	for _, name := range harnesses {
		_, err := out.Harness(name, files[name])
		errs = append(errs, err)
	}
	return &out, errors.Join(errs...)
}
