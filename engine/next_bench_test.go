package engine

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// bigModel has so many causes, of so many hypotheses each, and so many checks.
// With tables every cause has one of twelve rows of three answers; else each
// check reads volts, and a cause in forty something of its own.
func bigModel(causes, each, checks int, tables bool) *Model {
	rng := rand.New(rand.NewPCG(6, 50))
	m := &Model{Misreading: DefaultMisreading, Highest: 48, scale: 58}
	for i := range causes {
		id := fmt.Sprintf("cause %d", i)
		m.Causes = append(m.Causes, Cause{ID: id, Mends: id})
		for range each {
			m.hyps = append(m.hyps, hypothesis{i, math.Log(1 + 5*rng.Float64())})
		}
	}
	for k := range checks {
		c := &Check{ID: fmt.Sprintf("check %d", k), Mode: Look, Power: Live, Minutes: 0.5 + rng.Float64(), Answers: []string{"a", "b", "c"}}
		if !tables {
			c.Mode, c.Answers = VoltsDC, nil
		}
		rows := make([][]float64, 12)
		for i := range rows {
			a, b := rng.Float64(), rng.Float64()
			rows[i] = []float64{(1 - a) / 2, a * b, (1-a)/2 + a*(1-b)}
		}
		c.shows.usual(prediction{row: rows[0]})
		if !tables {
			c.shows.usual(prediction{spans: []span{{weight: 1, low: 47, high: 49, sigma: 0.1}}})
		}
		for i := range m.hyps {
			switch {
			case tables:
				c.shows.set(i, prediction{row: rows[rng.IntN(len(rows))]})
			case rng.IntN(40) == 0:
				v := 40 * rng.Float64()
				c.shows.set(i, prediction{spans: []span{{weight: 1, low: v, high: v + 1, sigma: 0.1}}})
			}
		}
		m.Checks = append(m.Checks, c)
	}
	m.finish()
	return m
}

// BenchmarkNext is the time to the next check at 2,000 causes and 2,000 checks,
// before the first reading and after two.
func BenchmarkNext(b *testing.B) {
	for _, kind := range []struct {
		name   string
		each   int
		tables bool
	}{{"tables", 1, true}, {"readings", 1, false}, {"tables, 3 hypotheses a cause", 3, true}} {
		m := bigModel(2000, kind.each, 2000, kind.tables)
		for _, taken := range []int{0, 2} {
			b.Run(fmt.Sprintf("%s, %d taken", kind.name, taken), func(b *testing.B) {
				c := NewCourse(m, Gate{})
				for range taken {
					ch := c.Next().Check
					if err := c.Apply(Event{Kind: Read, Check: ch.ID, Result: m.Likeliest(ch, "cause 7")}); err != nil {
						b.Fatal(err)
					}
				}
				for b.Loop() {
					c.next = nil
					if c.Next().Check == nil {
						b.Fatal("no check")
					}
				}
			})
		}
	}
}
