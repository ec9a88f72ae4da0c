package rules

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strconv"
)

// Odds returns the odds of every cause of every guide as "GUIDE / CAUSE", and of
// every failure of every kind of part as "part KIND MODE".
func (b *Base) Odds() map[string]float64 {
	odds := map[string]float64{}
	for _, id := range b.ids() {
		for _, c := range b.Guide(id).Causes {
			odds[id+" / "+c.ID] = c.Odds
		}
	}
	for kind := range b.parts {
		for _, f := range b.Part(kind).failures {
			odds["part "+kind+" "+f.Mode] = f.Odds
		}
	}
	return odds
}

// WriteLearned writes a file of learned odds, which lies over the shipped ones:
// the cases that were counted, and odds by key as [Base.Odds] has them. Equal
// odds give equal files.
func WriteLearned(cases []string, odds map[string]float64) []byte {
	var b bytes.Buffer
	b.WriteString("# Odds that proven cases have moved, by `probable kb learn`. They stand for the\n" +
		"# shipped ones; delete this file and lessons.jsonl to go back to those.\n" +
		"learned: odds\nversion: 1\ncases: [")
	for i, id := range cases {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(strconv.Quote(id))
	}
	b.WriteString("]\nodds:")
	if len(odds) == 0 {
		b.WriteString(" {}")
	}
	b.WriteString("\n")
	for _, key := range slices.Sorted(maps.Keys(odds)) {
		fmt.Fprintf(&b, "  %s: %s\n", strconv.Quote(key), strconv.FormatFloat(odds[key], 'g', 4, 64))
	}
	return b.Bytes()
}
