package engine

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Lesson is what a proven case says of odds, all by [Cause.Key].
type Lesson struct {
	// Was are the causes that it was: the one whose repair was proven, and those
	// that handed off to its guide.
	Was []string
	// Share is the chance before the first check of each cause that it could have
	// been, among those of its guide, or of its harness.
	Share map[string]float64
}

// Lesson returns what the case says of odds. The error says why it says nothing:
// only a case that closed as proven counts.
func (c *Course) Lesson() (Lesson, error) {
	if c.status != Proven {
		return Lesson{}, fmt.Errorf("it is not proven, but %s", c.status)
	}
	cause := c.m.cause(c.repaired)
	if cause.Key == "" {
		return Lesson{}, errors.New("what was repaired is none of the listed causes")
	}
	l := Lesson{Was: []string{cause.Key}, Share: c.first.shares("")}
	guide, _, _ := strings.Cut(cause.Key, " / ")
	for _, h := range slices.Backward(c.handOffs) {
		if h.Guide.ID == guide {
			l.Was = append(l.Was, h.key)
			maps.Copy(l.Share, h.share)
			guide, _, _ = strings.Cut(h.key, " / ")
		}
	}
	return l, nil
}

// shares returns the shares of the odds among the causes whose key begins so.
func (m *Model) shares(prefix string) map[string]float64 {
	share := map[string]float64{}
	var total float64
	for _, c := range m.Causes {
		if c.Key != "" && strings.HasPrefix(c.Key, prefix) {
			share[c.Key] += c.Odds
			total += c.Odds
		}
	}
	for k := range share {
		share[k] /= total
	}
	return share
}

// Bounds of learned odds, and how far the shipped ones are trusted (common
// practice, no source).
const (
	// priorCases is how many proven cases the shipped odds weigh.
	priorCases = 20
	// floorShare of its shipped odds is what no cause falls below: what has not
	// been met yet may be the next case.
	floorShare   = 0.1
	leastLearned = 1e-3
	mostLearned  = 1000
)

// Moved is what lessons make of a cause's odds.
type Moved struct {
	Key      string
	Old, New float64
	Was      int // cases that it was
	Of       int // cases that it could have been
}

// Learn returns what lessons make of odds by key, sorted by key. Keys that have no
// odds any more are left out.
//
// The chances of the causes of a case have a Dirichlet prior of strength S =
// priorCases with the mean p, the shares of the shipped odds. After N cases, n of
// which were the cause, its chance is the mean of the posterior (Gelman and
// others, Bayesian Data Analysis, the multinomial model; memory):
//
//	p' = (S p + n) / (S + N)
//
// and since odds are chances on a scale of their own, new odds = odds p' / p =
// odds (S + n/p) / (S + N). So the sum over the causes stays as it was. Where a
// cause had another share in each case, as in harnesses of different parts, p is
// their mean, and N counts the cases that could have been it.
func Learn(odds map[string]float64, lessons []Lesson) []Moved {
	type tally struct {
		was, of int
		share   float64
	}
	tallies := map[string]*tally{}
	at := func(key string) *tally {
		if tallies[key] == nil {
			tallies[key] = &tally{}
		}
		return tallies[key]
	}
	for _, l := range lessons {
		for key, p := range l.Share {
			t := at(key)
			t.of++
			t.share += p
		}
		for _, key := range l.Was {
			at(key).was++
		}
	}
	var out []Moved
	for _, key := range slices.Sorted(maps.Keys(tallies)) {
		t, old := tallies[key], odds[key]
		if old == 0 || t.share == 0 {
			continue
		}
		p := t.share / float64(t.of)
		now := old * (priorCases + float64(t.was)/p) / (priorCases + float64(t.of))
		out = append(out, Moved{key, old, min(max(now, floorShare*old, leastLearned), mostLearned), t.was, t.of})
	}
	return out
}
