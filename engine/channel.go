package engine

import (
	"math"
	"slices"
)

// Channel returns what the check says of the causes, as the chances of its
// results: a row for each distinct prediction that a listed cause makes, of which
// each sums to one. Readings that no table has outcomes for are taken by cells, as in the choice
// of the next check; a reading of which nothing is known has a column of its own.
func (m *Model) Channel(c *Check) [][]float64 {
	if !c.hasPrediction() {
		return nil
	}
	used := make([]bool, len(c.shows.kinds))
	for _, of := range m.kinds(c) {
		for _, k := range of {
			used[k] = true
		}
	}
	var rows [][]float64
	for k, yes := range used {
		if yes {
			rows = append(rows, c.binned(k))
		}
	}
	return rows
}

// Row returns the chances of the check's results under a cause as in
// [Model.Channel], or nil where the model does not have it: by answer where a
// table says so, and the likeliest hypothesis of the cause as in [Model.Draw].
func (m *Model) Row(c *Check, cause string) []float64 {
	best := m.likeliest(cause)
	if best < 0 || !c.hasPrediction() {
		return nil
	}
	return c.binned(c.shows.kind(best))
}

// kinds returns by cause the predictions that it makes; Unexplained makes none.
func (m *Model) kinds(c *Check) [][]int {
	out := make([][]int, len(m.Causes))
	for i, h := range m.hyps {
		if m.Causes[h.cause].ID != Unexplained {
			out[h.cause] = append(out[h.cause], c.shows.kind(i))
		}
	}
	return out
}

// binned is a prediction as chances of answers, or of bins and last of what is in
// none.
func (c *Check) binned(kind int) []float64 {
	if row := c.shows.kinds[kind].row; row != nil {
		return slices.Clone(row)
	}
	row := make([]float64, c.nbins+1)
	row[c.nbins] = 1
	for _, s := range c.shows.kinds[kind].bins {
		row[s.bin] += s.p
		row[c.nbins] -= s.p
	}
	row[c.nbins] = max(0, row[c.nbins])
	return row
}

// capacityGap is how far a capacity may lie above the truth, in bits.
const capacityGap = 1e-6

// Capacity returns the most bits that one use of a channel can tell of its input,
// over all odds of the inputs: the capacity, by the alternating maximisation of
// Blahut and Arimoto (Cover and Thomas, Elements of Information Theory, chapters 7
// and 10; memory). Each row holds the chances of the outputs under one input and
// sums to one. The result is never below the capacity, and above it by at most a
// millionth of a bit unless ten thousand rounds are not enough.
func Capacity(rows [][]float64) float64 {
	if len(rows) < 2 {
		return 0
	}
	p := make([]float64, len(rows))
	for i := range p {
		p[i] = 1 / float64(len(rows))
	}
	out := make([]float64, len(rows[0]))
	told := make([]float64, len(rows)) // bits by input
	upper := math.Inf(1)
	for range 10_000 {
		clear(out)
		for i, row := range rows {
			for k, x := range row {
				out[k] += p[i] * x
			}
		}
		// What an input tells is a bound from above where it is the most, and
		// from below as the mean.
		most, mean := 0.0, 0.0
		for i, row := range rows {
			told[i] = 0
			for k, x := range row {
				if x > 0 {
					told[i] += x * math.Log2(x/out[k])
				}
			}
			most = max(most, told[i])
			mean += p[i] * told[i]
		}
		upper = min(upper, most)
		if upper-mean < capacityGap {
			break
		}
		var total float64
		for i := range p {
			p[i] = max(p[i]*math.Exp2(told[i]), math.SmallestNonzeroFloat64)
			total += p[i]
		}
		for i := range p {
			p[i] /= total
		}
	}
	return upper
}

// TellApart returns the bits that one result tells of which of two causes it is,
// at even odds: what they predict mixed, less what each predicts. Rows are as
// [Model.Channel] has them; 0 is nothing and 1 is all.
func TellApart(a, b []float64) float64 {
	var bits float64
	for k := range a {
		mix := (a[k] + b[k]) / 2
		for _, x := range []float64{a[k], b[k]} {
			if x > 0 {
				bits += x / 2 * math.Log2(x/mix)
			}
		}
	}
	return max(0, bits)
}
