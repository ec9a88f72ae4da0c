package circuit

import (
	"errors"
	"math"
	"slices"
)

// errSingular says that a matrix has no usable pivot left.
var errSingular = errors.New("singular matrix")

// term is one entry of a sparse row or column.
type term struct {
	at int
	x  float64
}

// sparseLU is a factored square matrix: elimination steps in pivot order.
type sparseLU struct {
	n     int
	steps []step
}

type step struct {
	row, col int     // pivot
	pivot    float64 // its value
	rest     []term  // the pivot row's other entries, all in columns eliminated later
	below    []term  // multipliers by row
}

// pivotShare is the least share of its column's largest entry that a pivot may
// have; 0.1 is the usual compromise between sparsity and growth.
const pivotShare = 0.1

// factor eliminates the matrix given as rows of terms sorted by column. It
// picks pivots by Markowitz count among those of at least pivotShare of their
// column's largest, and breaks ties by index, so that equal input gives equal
// bits. rows is consumed.
func factor(rows [][]term) (*sparseLU, error) { return eliminate(rows, nil, false) }

// eliminate is factor; the pivots of the rows in first come first and lie on the
// diagonal, and with zeros, entries that happen to cancel are kept.
func eliminate(rows [][]term, first []int, zeros bool) (*sparseLU, error) {
	n := len(rows)
	f := &sparseLU{n: n, steps: make([]step, 0, n)}
	cols := &byCount{count: make([]int, n), done: make([]bool, n)}
	inCol := make([][]int, n)
	for r, row := range rows {
		for _, t := range row {
			cols.count[t.at]++
			inCol[t.at] = append(inCol[t.at], r)
		}
	}
	for c := range n {
		cols.push(c)
	}
	doneRow := make([]bool, n)
	for k := range n {
		var r, c int
		if k < len(first) {
			r, c = first[k], first[k]
		} else {
			var ok bool
			if r, c, ok = choosePivot(rows, inCol, cols, doneRow); !ok {
				return nil, errSingular
			}
		}
		st := step{row: r, col: c}
		for _, t := range rows[r] {
			if t.at == c {
				st.pivot = t.x
			} else {
				st.rest = append(st.rest, t)
			}
			cols.add(t.at, -1)
		}
		doneRow[r], cols.done[c] = true, true
		for _, i := range inCol[c] {
			if doneRow[i] {
				continue
			}
			x, found := entry(rows[i], c)
			if !found {
				continue
			}
			m := x / st.pivot
			st.below = append(st.below, term{i, m})
			rows[i] = subtract(rows[i], st.rest, m, c, zeros, func(col, delta int) {
				cols.add(col, delta)
				if delta > 0 {
					inCol[col] = append(inCol[col], i)
				}
			})
		}
		f.steps = append(f.steps, st)
	}
	return f, nil
}

// byCount keeps the live columns by their live entries, sparsest first and ties
// by index: a heap in which a column stands once for each count that it has
// had; only the place with its present count is good.
type byCount struct {
	count []int
	done  []bool
	heap  []place
}

type place struct{ count, col int }

func (p place) before(q place) bool {
	return p.count < q.count || p.count == q.count && p.col < q.col
}

func (h *byCount) add(col, delta int) {
	h.count[col] += delta
	h.push(col)
}

func (h *byCount) push(col int) {
	i := len(h.heap)
	h.heap = append(h.heap, place{h.count[col], col})
	for up := (i - 1) / 2; i > 0 && h.heap[i].before(h.heap[up]); i, up = up, (up-1)/2 {
		h.heap[i], h.heap[up] = h.heap[up], h.heap[i]
	}
}

func (h *byCount) pop() place {
	first, last := h.heap[0], len(h.heap)-1
	h.heap[0] = h.heap[last]
	h.heap = h.heap[:last]
	for i := 0; ; {
		next := 2*i + 1
		if next >= last {
			return first
		}
		if next+1 < last && h.heap[next+1].before(h.heap[next]) {
			next++
		}
		if !h.heap[next].before(h.heap[i]) {
			return first
		}
		h.heap[i], h.heap[next] = h.heap[next], h.heap[i]
		i = next
	}
}

// sparsest returns the sparsest live columns, as many as cand holds or fewer.
func (h *byCount) sparsest(cand []int) []int {
	k := 0
	for k < len(cand) && len(h.heap) > 0 {
		p := h.pop()
		if !h.done[p.col] && h.count[p.col] == p.count && !slices.Contains(cand[:k], p.col) {
			cand[k] = p.col
			k++
		}
	}
	for _, c := range cand[:k] {
		h.push(c)
	}
	return cand[:k]
}

// choosePivot looks through the four sparsest live columns.
func choosePivot(rows [][]term, inCol [][]int, cols *byCount, doneRow []bool) (row, col int, ok bool) {
	var room [4]int
	cand := cols.sparsest(room[:])
	if len(cand) > 0 && cols.count[cand[0]] <= 0 {
		return 0, 0, false
	}
	best := math.MaxInt
	var bestSize float64
	for _, c := range cand {
		live := inCol[c][:0]
		largest := 0.0
		for _, r := range inCol[c] {
			if doneRow[r] {
				continue
			}
			if x, found := entry(rows[r], c); found {
				largest = max(largest, math.Abs(x))
				live = append(live, r)
			}
		}
		inCol[c] = live
		if largest == 0 {
			continue
		}
		for _, r := range live {
			x, _ := entry(rows[r], c)
			size := math.Abs(x)
			if size < pivotShare*largest {
				continue
			}
			cost := (len(rows[r]) - 1) * (len(live) - 1)
			if cost < best || cost == best && size > bestSize {
				best, bestSize, row, col, ok = cost, size, r, c, true
			}
		}
	}
	return row, col, ok
}

func entry(row []term, col int) (float64, bool) {
	lo, hi := 0, len(row)
	for lo < hi {
		mid := (lo + hi) / 2
		switch {
		case row[mid].at < col:
			lo = mid + 1
		case row[mid].at > col:
			hi = mid
		default:
			return row[mid].x, true
		}
	}
	return 0, false
}

// subtract returns row - m*rest without the entry at column skip, and reports
// each column that comes or goes.
func subtract(row, rest []term, m float64, skip int, zeros bool, changed func(col, delta int)) []term {
	out := make([]term, 0, len(row)+len(rest))
	i, j := 0, 0
	for i < len(row) || j < len(rest) {
		switch {
		case i < len(row) && row[i].at == skip:
			changed(skip, -1)
			i++
		case j == len(rest) || i < len(row) && row[i].at < rest[j].at:
			out = append(out, row[i])
			i++
		case i == len(row) || rest[j].at < row[i].at:
			out = append(out, term{rest[j].at, -m * rest[j].x})
			changed(rest[j].at, 1)
			j++
		default:
			if x := row[i].x - m*rest[j].x; x != 0 || zeros {
				out = append(out, term{row[i].at, x})
			} else {
				changed(row[i].at, -1)
			}
			i++
			j++
		}
	}
	return out
}

// solve returns x with A x = b. b is used up.
func (f *sparseLU) solve(b []float64) []float64 {
	for i := range f.steps {
		st := &f.steps[i]
		if y := b[st.row]; y != 0 {
			for _, t := range st.below {
				b[t.at] -= t.x * y
			}
		}
	}
	x := make([]float64, f.n)
	for i := len(f.steps) - 1; i >= 0; i-- {
		st := &f.steps[i]
		y := b[st.row]
		for _, t := range st.rest {
			y -= t.x * x[t.at]
		}
		x[st.col] = y / st.pivot
	}
	return x
}

// solveTransposed returns x with A' x = b. b is used up.
func (f *sparseLU) solveTransposed(b []float64) []float64 {
	x := make([]float64, f.n)
	for i := range f.steps {
		st := &f.steps[i]
		y := b[st.col] / st.pivot
		x[st.row] = y
		if y != 0 {
			for _, t := range st.rest {
				b[t.at] -= t.x * y
			}
		}
	}
	for i := len(f.steps) - 1; i >= 0; i-- {
		st := &f.steps[i]
		y := x[st.row]
		for _, t := range st.below {
			y -= t.x * x[t.at]
		}
		x[st.row] = y
	}
	return x
}

// denseLU is a small full matrix, factored with row pivoting.
type denseLU struct {
	n    int
	a    []float64
	perm []int
}

func factorDense(n int, a []float64) (*denseLU, error) {
	f := &denseLU{n: n, a: a, perm: make([]int, n)}
	for i := range f.perm {
		f.perm[i] = i
	}
	scale := make([]float64, n) // rows of 1e9 ohm stand beside rows of 1
	for i := range n {
		for j := range n {
			scale[i] = max(scale[i], math.Abs(a[i*n+j]))
		}
	}
	for k := range n {
		p := k
		for i := k + 1; i < n; i++ {
			if math.Abs(a[i*n+k])*scale[p] > math.Abs(a[p*n+k])*scale[i] {
				p = i
			}
		}
		if x := a[p*n+k]; x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, errSingular
		}
		if p != k {
			for j := range n {
				a[p*n+j], a[k*n+j] = a[k*n+j], a[p*n+j]
			}
			f.perm[p], f.perm[k] = f.perm[k], f.perm[p]
			scale[p], scale[k] = scale[k], scale[p]
		}
		for i := k + 1; i < n; i++ {
			m := a[i*n+k] / a[k*n+k]
			a[i*n+k] = m
			if m == 0 {
				continue
			}
			for j := k + 1; j < n; j++ {
				a[i*n+j] -= m * a[k*n+j]
			}
		}
	}
	return f, nil
}

// solve returns x with A x = b.
func (f *denseLU) solve(b []float64) []float64 {
	n := f.n
	x := make([]float64, n)
	for i := range n {
		x[i] = b[f.perm[i]]
		for j := range i {
			x[i] -= f.a[i*n+j] * x[j]
		}
	}
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			x[i] -= f.a[i*n+j] * x[j]
		}
		x[i] /= f.a[i*n+i]
	}
	return x
}

// solveTransposed returns x with A' x = b.
func (f *denseLU) solveTransposed(b []float64) []float64 {
	n := f.n
	y := make([]float64, n)
	for i := range n {
		y[i] = b[i]
		for j := range i {
			y[i] -= f.a[j*n+i] * y[j]
		}
		y[i] /= f.a[i*n+i]
	}
	x := make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			y[i] -= f.a[j*n+i] * y[j]
		}
		x[f.perm[i]] = y[i]
	}
	return x
}

// ordered is a factored matrix whose pivots are fixed, so that another matrix
// of the same pattern is factored without looking for pivots. Rows and columns
// are in pivot order; entries of row k stand from start[k] to start[k+1].
type ordered struct {
	rowOf            []int     // original row of each pivot
	colAt            []int     // pivot position of each original column
	pattern          [][]int32 // columns of each original row
	lower, upper     []int32
	lowerAt, upperAt []int32 // starts
	lx, ux           []float64
	diag             []float64
	work             []float64
}

// errPattern says that a matrix does not fit the fixed pivots.
var errPattern = errors.New("the fixed pivots do not fit")

// fixPivots finds pivots and the pattern of a matrix given as rows of terms
// sorted by column, which is consumed; those of the rows in first come first and
// lie on the diagonal.
func fixPivots(rows [][]term, first ...int) (*ordered, error) {
	o := &ordered{pattern: make([][]int32, len(rows))}
	for r, row := range rows {
		for _, t := range row {
			o.pattern[r] = append(o.pattern[r], int32(t.at))
		}
	}
	f, err := eliminate(rows, first, true)
	if err != nil {
		return nil, err
	}
	o.rowOf, o.colAt = make([]int, f.n), make([]int, f.n)
	rowAt := make([]int, f.n)
	for k := range f.steps {
		o.rowOf[k] = f.steps[k].row
		rowAt[f.steps[k].row] = k
		o.colAt[f.steps[k].col] = k
	}
	lower := make([][]int32, f.n)
	for k := range f.steps {
		for _, t := range f.steps[k].below {
			i := rowAt[t.at]
			lower[i] = append(lower[i], int32(k))
		}
	}
	for k := range f.steps {
		o.lowerAt = append(o.lowerAt, int32(len(o.lower)))
		o.upperAt = append(o.upperAt, int32(len(o.upper)))
		o.lower = append(o.lower, lower[k]...)
		for _, t := range f.steps[k].rest {
			o.upper = append(o.upper, int32(o.colAt[t.at]))
		}
	}
	o.lowerAt = append(o.lowerAt, int32(len(o.lower)))
	o.upperAt = append(o.upperAt, int32(len(o.upper)))
	o.diag, o.work = make([]float64, f.n), make([]float64, f.n)
	o.lx, o.ux = make([]float64, len(o.lower)), make([]float64, len(o.upper))
	return o, nil
}

// like returns an unfactored copy that shares the pattern.
func (o *ordered) like() *ordered {
	c := *o
	c.diag, c.work = make([]float64, len(o.rowOf)), make([]float64, len(o.rowOf))
	c.lx, c.ux = make([]float64, len(o.lower)), make([]float64, len(o.upper))
	return &c
}

// leastPivot is the share of its row's largest entry under which a fixed pivot
// no longer serves; what floats has one of GMin.
const leastPivot = 1e-13

// factor eliminates rows with the fixed pivots; where one of them has become
// small, or a row has an entry outside of the pattern, it is errPattern.
func (o *ordered) factor(rows [][]term) error {
	w := o.work
	for k, r := range o.rowOf {
		largest, pattern := 0.0, o.pattern[r]
		for _, t := range rows[r] {
			for len(pattern) > 0 && int(pattern[0]) < t.at {
				pattern = pattern[1:]
			}
			if len(pattern) == 0 || int(pattern[0]) != t.at {
				clear(w)
				return errPattern
			}
			w[o.colAt[t.at]] = t.x
			largest = max(largest, math.Abs(t.x))
		}
		for i := o.lowerAt[k]; i < o.lowerAt[k+1]; i++ {
			c := o.lower[i]
			m := w[c] / o.diag[c]
			w[c] = 0
			o.lx[i] = m
			if m == 0 {
				continue
			}
			from, to := o.upperAt[c], o.upperAt[c+1]
			ux := o.ux[from:to]
			for j, u := range o.upper[from:to] {
				w[u] -= m * ux[j]
			}
		}
		o.diag[k] = w[k]
		w[k] = 0
		for i := o.upperAt[k]; i < o.upperAt[k+1]; i++ {
			o.ux[i] = w[o.upper[i]]
			w[o.upper[i]] = 0
		}
		if d := math.Abs(o.diag[k]); !(d >= leastPivot*largest) || d == 0 {
			clear(w)
			return errPattern
		}
	}
	return nil
}

// solve returns x with A x = b; b is kept.
func (o *ordered) solve(b []float64) []float64 {
	y := o.work
	for k, r := range o.rowOf {
		s := b[r]
		from, to := o.lowerAt[k], o.lowerAt[k+1]
		lx := o.lx[from:to]
		for i, c := range o.lower[from:to] {
			s -= lx[i] * y[c]
		}
		y[k] = s
	}
	for k := len(y) - 1; k >= 0; k-- {
		s := y[k]
		from, to := o.upperAt[k], o.upperAt[k+1]
		ux := o.ux[from:to]
		for i, u := range o.upper[from:to] {
			s -= ux[i] * y[u]
		}
		y[k] = s / o.diag[k]
	}
	x := make([]float64, len(y))
	for c, k := range o.colAt {
		x[c] = y[k]
	}
	clear(y)
	return x
}
