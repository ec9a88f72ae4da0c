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

// sparseLU is a factored square matrix: elimination steps in pivot order, with
// the entries of step k from at[k] to at[k+1].
type sparseLU struct {
	row, col []int32
	inverse  []float64 // of the pivots
	below    entries   // multipliers by row
	rest     entries   // of pivot rows by column
}

type entries struct {
	at []int32
	i  []int32
	x  []float64
}

func (e *entries) add(ts []term) {
	e.at = append(e.at, int32(len(e.i)))
	for _, t := range ts {
		e.i, e.x = append(e.i, int32(t.at)), append(e.x, t.x)
	}
}

// step returns the entries of a step.
func (e *entries) step(k int) ([]int32, []float64) {
	from, to := e.at[k], e.at[k+1]
	return e.i[from:to], e.x[from:to]
}

// step is one step of an elimination.
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
func factor(rows [][]term) (*sparseLU, error) {
	steps, err := eliminate(rows, nil)
	if err != nil {
		return nil, err
	}
	f := &sparseLU{}
	for i := range steps {
		st := &steps[i]
		f.row, f.col = append(f.row, int32(st.row)), append(f.col, int32(st.col))
		f.inverse = append(f.inverse, 1/st.pivot)
		f.below.add(st.below)
		f.rest.add(st.rest)
	}
	f.below.add(nil) // where the last step ends
	f.rest.add(nil)
	return f, nil
}

// varying are the rows of a matrix whose values will change, and what is asked
// of its solutions while they do.
type varying struct {
	row   []bool // these change
	first []int  // of them, those to be eliminated by their diagonal
	col   []bool // unknowns that are looked at
	steps int    // set by eliminate: how many steps come before all that changes
}

// eliminate is factor. With a varying it keeps entries that happen to cancel,
// and begins with all that neither changes nor is looked at, as far as that
// makes no more than mostFill entries a step.
func eliminate(rows [][]term, vary *varying) ([]step, error) {
	const mostFill = 8
	n := len(rows)
	steps := make([]step, 0, n)
	cols := &byCount{count: make([]int, n), done: make([]bool, n), stale: make([]bool, n)}
	inCol := make([][]int, n)
	var first []int
	var late []bool
	begin := vary != nil
	if begin {
		late = vary.row
		copy(cols.done, vary.col)
	}
	all := 0
	for _, row := range rows {
		for _, t := range row {
			cols.count[t.at]++
			all++
		}
	}
	room := make([]int, all)
	for c := range n {
		k := cols.count[c]
		inCol[c], room = room[:0:k], room[k:]
		cols.push(c)
	}
	for r, row := range rows {
		for _, t := range row {
			inCol[t.at] = append(inCol[t.at], r)
		}
	}
	doneRow, pivoted := make([]bool, n), make([]bool, n)
	var terms slab
	pivot := func(r, c int) {
		st := step{row: r, col: c, rest: terms.room(len(rows[r]))}
		k := cols.count[c]
		for _, t := range rows[r] {
			if t.at == c {
				st.pivot = t.x
			} else {
				st.rest = append(st.rest, t)
			}
			cols.add(t.at, -1)
		}
		terms.took(st.rest)
		if k > 1 {
			st.below = terms.room(k - 1)
			terms.took(st.below[:k-1])
		}
		doneRow[r], pivoted[c], cols.done[c] = true, true, true
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
			rows[i] = subtract(terms.room(len(rows[i])+len(st.rest)), rows[i], st.rest, m, c, vary != nil, func(col, delta int) {
				cols.add(col, delta)
				if delta > 0 {
					inCol[col] = append(inCol[col], i)
				}
			})
			terms.took(rows[i])
		}
		steps = append(steps, st)
	}
	for len(steps) < n {
		if begin {
			r, c, tried, ok := choosePivot(rows, inCol, cols, doneRow, late, mostFill)
			switch {
			case len(tried) == 0: // nothing left to begin with
				begin, late, first, vary.steps = false, nil, vary.first, len(steps)
				for c := range n {
					cols.done[c] = pivoted[c]
					cols.push(c)
				}
			case !ok:
				for _, p := range tried {
					cols.done[p.col] = true
				}
			default:
				pivot(r, c)
			}
			continue
		}
		if len(first) > 0 {
			r := first[0]
			first = first[1:]
			if x, _ := entry(rows[r], r); x != 0 {
				pivot(r, r)
			}
			continue
		}
		r, c, _, ok := choosePivot(rows, inCol, cols, doneRow, nil, math.MaxInt)
		if !ok {
			return nil, errSingular
		}
		pivot(r, c)
	}
	return steps, nil
}

// byCount keeps the live columns by their live entries, sparsest first and ties
// by index: a heap in which a column stands once for each count that it has
// had; only the place with its present count is good. Those that were asked for
// last stand before it.
type byCount struct {
	count   []int
	done    []bool
	heap    []place
	front   [4]place
	many    int    // of these
	stale   []bool // columns that have another count than their last place
	touched []int  // these
}

type place struct{ count, col int }

func (p place) before(q place) bool {
	return p.count < q.count || p.count == q.count && p.col < q.col
}

func (h *byCount) add(col, delta int) {
	h.count[col] += delta
	if !h.stale[col] {
		h.stale[col] = true
		h.touched = append(h.touched, col)
	}
}

func (h *byCount) push(col int) { h.put(place{h.count[col], col}) }

func (h *byCount) put(p place) {
	i := len(h.heap)
	h.heap = append(h.heap, p)
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

// sparsest returns the sparsest live columns, four or fewer.
func (h *byCount) sparsest() []place {
	for _, c := range h.touched {
		if h.stale[c] = false; !h.done[c] {
			h.push(c)
		}
	}
	h.touched = h.touched[:0]
	was, next, k := h.front, 0, 0
	for k < len(h.front) {
		var p place
		switch {
		case next < h.many && (len(h.heap) == 0 || was[next].before(h.heap[0])):
			p = was[next]
			next++
		case len(h.heap) > 0:
			p = h.pop()
		default:
			h.many = k
			return h.front[:k]
		}
		if !h.done[p.col] && h.count[p.col] == p.count && !slices.Contains(h.front[:k], p) {
			h.front[k] = p
			k++
		}
	}
	for _, p := range was[next:h.many] {
		h.put(p)
	}
	h.many = k
	return h.front[:k]
}

// choosePivot looks through the four sparsest live columns for a pivot that is
// not in a late row and makes no more than most entries, and returns them too.
func choosePivot(rows [][]term, inCol [][]int, cols *byCount, doneRow, late []bool, most int) (row, col int, tried []place, ok bool) {
	cand := cols.sparsest()
	if len(cand) > 0 && cand[0].count <= 0 {
		return 0, 0, cand, false
	}
	best := most
	if most < math.MaxInt {
		best++
	}
	var bestSize float64
	for _, p := range cand {
		c := p.col
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
			if size < pivotShare*largest || late != nil && late[r] {
				continue
			}
			cost := (len(rows[r]) - 1) * (len(live) - 1)
			if cost < best || cost == best && size > bestSize {
				best, bestSize, row, col, ok = cost, size, r, c, true
			}
		}
	}
	return row, col, cand, ok
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

// slab cuts rows of terms out of larger pieces of memory.
type slab struct{ left []term }

// room returns an empty row with room for so many terms. It stays free for the
// next one until it is said what was taken of it.
func (s *slab) room(n int) []term {
	if n > len(s.left) {
		const terms = 4096
		s.left = make([]term, max(n, terms))
	}
	return s.left[:0:n]
}

// took keeps what was written to the row that room returned last.
func (s *slab) took(row []term) { s.left = s.left[len(row):] }

// subtract appends row - m*rest, without the entry at column skip, to out, and
// reports each column that comes or goes.
func subtract(out, row, rest []term, m float64, skip int, zeros bool, changed func(col, delta int)) []term {
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
	for k, r := range f.row {
		if y := b[r]; y != 0 {
			at, x := f.below.step(k)
			for j, i := range at {
				b[i] -= x[j] * y
			}
		}
	}
	out := make([]float64, len(b))
	starts, all, xs := f.rest.at, f.rest.i, f.rest.x[:len(f.rest.i)]
	end := starts[len(f.row)]
	for k := len(f.row) - 1; k >= 0; k-- {
		y, begin := b[f.row[k]], starts[k]
		for j := begin; j < end; j++ {
			y -= xs[j] * out[all[j]]
		}
		out[f.col[k]], end = y*f.inverse[k], begin
	}
	return out
}

// solveTransposed returns x with A' x = b. b is used up.
func (f *sparseLU) solveTransposed(b []float64) []float64 {
	out := make([]float64, len(b))
	for k, c := range f.col {
		y := b[c] * f.inverse[k]
		out[f.row[k]] = y
		if y != 0 {
			at, x := f.rest.step(k)
			for j, i := range at {
				b[i] -= x[j] * y
			}
		}
	}
	for k := len(f.row) - 1; k >= 0; k-- {
		y := out[f.row[k]]
		at, x := f.below.step(k)
		for j, i := range at {
			y -= x[j] * out[i]
		}
		out[f.row[k]] = y
	}
	return out
}

// denseLU is a small full matrix, factored with row pivoting.
type denseLU struct {
	n    int
	a    []float64
	perm []int
	weak float64 // least pivot by the largest entry its row had, or by 1 where that is less
}

func factorDense(n int, a []float64) (*denseLU, error) {
	f := &denseLU{n: n, a: a, perm: make([]int, n), weak: math.Inf(1)}
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
		f.weak = min(f.weak, math.Abs(a[k*n+k])/max(1, scale[k]))
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
// of the same pattern is factored without looking for pivots. Rows are in pivot
// order; entries of row k stand from lowerAt[k] to lowerAt[k+1]. The first steps
// may be done once and for all.
type ordered struct {
	rowOf            []int     // original row of each pivot
	rowAt            []int     // pivot position of each original row
	colOf            []int32   // original column of each pivot
	colAt            []int     // pivot position of each original column
	pattern          [][]int32 // columns of each original row
	lower            []int32   // pivot positions of columns
	upper            []int32   // original columns
	lowerAt, upperAt []int32   // starts
	lx, ux           []float64
	diag, inverse    []float64 // pivots, and one over them
	work             []float64 // by original column
	dirty            []bool    // by position: the last factoring worked out its row anew

	done   int     // steps that are done once and for all
	late   []int32 // by position: where in lower the entries of later steps start
	starts []int32 // the same, and lowerAt where the row varies: what a vector has not begun with
	varies []bool  // by position: its row changes from one factoring to the next
	begun  *begun  // rows that do not, with the first steps done; nil before the first factoring
}

// begun is what the first steps make of the rows after them, and their own
// multipliers by column.
type begun struct {
	lower, upper, diag []float64
	first              entries
}

// errPattern says that a matrix does not fit the fixed pivots.
var errPattern = errors.New("the fixed pivots do not fit")

// fixPivots finds pivots and the pattern of a matrix given as rows of terms
// sorted by column, which is consumed. A nil vary means that all of it changes.
func fixPivots(rows [][]term, vary *varying) (*ordered, error) {
	if vary == nil {
		all := slices.Repeat([]bool{true}, len(rows))
		vary = &varying{row: all, col: all}
	}
	o := &ordered{pattern: make([][]int32, len(rows))}
	for r, row := range rows {
		o.pattern[r] = make([]int32, 0, len(row))
		for _, t := range row {
			o.pattern[r] = append(o.pattern[r], int32(t.at))
		}
	}
	steps, err := eliminate(rows, vary)
	if err != nil {
		return nil, err
	}
	o.done = vary.steps
	o.rowOf, o.rowAt = make([]int, len(steps)), make([]int, len(steps))
	o.colOf, o.colAt = make([]int32, len(steps)), make([]int, len(steps))
	for k := range steps {
		o.rowOf[k] = steps[k].row
		o.varies = append(o.varies, vary.row[steps[k].row])
		o.rowAt[steps[k].row] = k
		o.colOf[k], o.colAt[steps[k].col] = int32(steps[k].col), k
	}
	n := len(steps)
	o.lowerAt, o.upperAt, o.late = make([]int32, n+1), make([]int32, n+1), make([]int32, n)
	for k := range steps {
		o.upperAt[k+1] = o.upperAt[k] + int32(len(steps[k].rest))
		for _, t := range steps[k].below {
			o.lowerAt[o.rowAt[t.at]+1]++
		}
	}
	for k := range n {
		o.lowerAt[k+1] += o.lowerAt[k]
	}
	o.lower, o.upper = make([]int32, o.lowerAt[n]), make([]int32, 0, o.upperAt[n])
	next := slices.Clone(o.lowerAt)
	for k := range steps {
		if k == o.done {
			copy(o.late, next)
		}
		for _, t := range steps[k].below {
			to := &next[o.rowAt[t.at]]
			o.lower[*to] = int32(k)
			*to++
		}
		for _, t := range steps[k].rest {
			o.upper = append(o.upper, int32(t.at))
		}
	}
	o.starts = slices.Clone(o.late)
	for k, varies := range o.varies {
		if varies {
			o.starts[k] = o.lowerAt[k]
		}
	}
	o.diag, o.inverse, o.work = make([]float64, len(steps)), make([]float64, len(steps)), make([]float64, len(steps))
	o.lx, o.ux = make([]float64, len(o.lower)), make([]float64, len(o.upper))
	o.dirty = make([]bool, len(steps))
	return o, nil
}

// like returns a copy that shares the pattern, and the first steps where they
// are done.
func (o *ordered) like() *ordered {
	c := *o
	c.diag, c.inverse, c.work = slices.Clone(o.diag), slices.Clone(o.inverse), make([]float64, len(o.work))
	c.lx, c.ux = slices.Clone(o.lx), slices.Clone(o.ux)
	c.dirty = make([]bool, len(o.dirty))
	return &c
}

// take takes over how another with the same pattern and first steps is factored.
func (o *ordered) take(from *ordered) {
	copy(o.diag[o.done:], from.diag[o.done:])
	copy(o.inverse[o.done:], from.inverse[o.done:])
	copy(o.lx[o.lowerAt[o.done]:], from.lx[o.lowerAt[o.done]:])
	copy(o.ux[o.upperAt[o.done]:], from.ux[o.upperAt[o.done]:])
}

// leastPivot is the share of its row's largest entry under which a fixed pivot
// no longer serves; what floats has one of GMin.
const leastPivot = 1e-13

// factor eliminates rows with the fixed pivots; where one of them has become
// small, or a row has an entry outside of the pattern, it is errPattern. Once it
// has succeeded, rows that do not vary are not looked at again. Where anew says
// by original row which ones have changed since the last factoring, which has
// succeeded too, what hangs on none of them is left as it is.
func (o *ordered) factor(rows [][]term, anew []bool) error {
	start, save := 0, o.begun == nil && o.done > 0
	var now begun
	if save {
		now = begun{lower: make([]float64, len(o.lower)), upper: make([]float64, len(o.upper)), diag: make([]float64, len(o.diag))}
	} else if o.begun != nil {
		start = o.done
	}
	w, colOf := o.work, o.colOf
	// Rows are short: slicing each out would cost more than what is done with it.
	lower, lx := o.lower, o.lx[:len(o.lower)]
	upper, ux, upperAt := o.upper, o.ux[:len(o.upper)], o.upperAt
	for k := start; k < len(o.rowOf); k++ {
		i, to := o.lowerAt[k], o.lowerAt[k+1]
		up, upTo := o.upperAt[k], o.upperAt[k+1]
		if k >= o.done {
			o.dirty[k] = anew == nil || anew[o.rowOf[k]] || o.leansOnDirty(k)
			if !o.dirty[k] {
				continue
			}
		}
		fixed := k >= o.done && !o.varies[k]
		largest := 0.0
		if fixed && o.begun != nil {
			i = o.late[k]
			was := o.begun.lower
			for j := i; j < to; j++ {
				w[colOf[lower[j]]] = was[j]
			}
			was = o.begun.upper
			for j := up; j < upTo; j++ {
				w[upper[j]] = was[j]
			}
			w[colOf[k]] = o.begun.diag[k]
		} else {
			pattern := o.pattern[o.rowOf[k]]
			for _, t := range rows[o.rowOf[k]] {
				for len(pattern) > 0 && int(pattern[0]) < t.at {
					pattern = pattern[1:]
				}
				if len(pattern) == 0 || int(pattern[0]) != t.at {
					clear(w)
					return errPattern
				}
				w[t.at] = t.x
				largest = max(largest, math.Abs(t.x))
			}
		}
		begin := fixed && save
		for ; i < to; i++ {
			c := lower[i]
			if begin && int(c) >= o.done {
				begin = false
				for j := i; j < to; j++ {
					now.lower[j] = w[colOf[o.lower[j]]]
				}
				o.keep(&now, k, w)
			}
			y := w[colOf[c]]
			if y == 0 {
				lx[i] = 0
				continue
			}
			m := y * o.inverse[c]
			w[colOf[c]] = 0
			lx[i] = m
			for j, end := upperAt[c], upperAt[c+1]; j < end; j++ {
				w[upper[j]] -= m * ux[j]
			}
		}
		if begin {
			o.keep(&now, k, w)
		}
		d := w[colOf[k]]
		o.diag[k], o.inverse[k] = d, 1/d
		w[colOf[k]] = 0
		for j := up; j < upTo; j++ {
			c := upper[j]
			ux[j], w[c] = w[c], 0
		}
		if d = math.Abs(d); !(d >= leastPivot*largest) || d == 0 {
			clear(w)
			return errPattern
		}
	}
	if save {
		now.first = o.firstColumns()
		o.begun = &now
	}
	return nil
}

// leansOnDirty reports whether a row is made with dirty ones of later steps.
func (o *ordered) leansOnDirty(k int) bool {
	lower, dirty := o.lower, o.dirty
	for i, end := o.late[k], o.lowerAt[k+1]; i < end; i++ {
		if dirty[lower[i]] {
			return true
		}
	}
	return false
}

// firstColumns returns the multipliers of the first steps among themselves, by
// column.
func (o *ordered) firstColumns() entries {
	e := entries{at: make([]int32, o.done+1)}
	all := o.lower[:o.lowerAt[o.done]]
	for _, c := range all {
		e.at[c+1]++
	}
	for c := range o.done {
		e.at[c+1] += e.at[c]
	}
	e.i, e.x = make([]int32, len(all)), make([]float64, len(all))
	next := slices.Clone(e.at)
	for k := range o.done {
		for i := o.lowerAt[k]; i < o.lowerAt[k+1]; i++ {
			to := &next[o.lower[i]]
			e.i[*to], e.x[*to] = int32(k), o.lx[i]
			*to++
		}
	}
	return e
}

// keep notes what a row has in and after its pivot.
func (o *ordered) keep(b *begun, k int, w []float64) {
	for j := o.upperAt[k]; j < o.upperAt[k+1]; j++ {
		b.upper[j] = w[o.upper[j]]
	}
	b.diag[k] = w[o.colOf[k]]
}

// solve returns x with A x = b; b is kept.
func (o *ordered) solve(b []float64) []float64 {
	v := o.vector()
	v.forward(b, 0)
	o.one(v)
	o.back(v.x, v.y, 0, o.done)
	return v.x
}

// vector is a right side and the solution for it. What belongs to steps done once
// and for all is worked out when it is asked for.
type vector struct {
	o     *ordered
	begun []float64 // what the first steps make of the right side, for rows of later ones that do not vary
	b     []float64 // what the later steps see of the right side, from the first of them on
	y     []float64 // in pivot order
	first int       // y is zero before
	x     []float64
	have  []bool // of the first steps: x is there
	any   bool   // have is true somewhere
}

func (o *ordered) vector() *vector {
	n := len(o.diag)
	return &vector{o: o, begun: make([]float64, n-o.done), b: make([]float64, n-o.done), y: make([]float64, n), x: make([]float64, n), have: make([]bool, o.done)}
}

// forward takes in a right side that is zero before a step, as far as the first
// steps see it.
func (v *vector) forward(b []float64, first int) {
	o := v.o
	v.first = min(first, o.done)
	clear(v.y[:v.first])
	for k := first; k < o.done; k++ {
		v.y[k] = b[o.rowOf[k]]
	}
	for k := first; k < o.done; k++ {
		if y := v.y[k]; y != 0 {
			rows, x := o.begun.first.step(k)
			for j, i := range rows {
				v.y[i] -= x[j] * y
			}
		}
	}
	lower, lx, y := o.lower, o.lx[:len(o.lower)], v.y
	for i := range v.begun {
		k, sum := o.done+i, 0.0
		for j, end := o.lowerAt[k], o.starts[k]; j < end; j++ {
			sum -= lx[j] * y[lower[j]]
		}
		v.begun[i] = sum
	}
	v.later(b)
}

// later takes in what the later steps see of a right side.
func (v *vector) later(b []float64) {
	to, begun := v.b, v.begun[:len(v.b)]
	for i, r := range v.o.rowOf[v.o.done:][:len(to)] {
		to[i] = begun[i] + b[r]
	}
}

// backward solves vectors for what belongs to the later steps: two at a time, as
// each number waits for the one before it in its own vector only.
func (o *ordered) backward(vs []*vector) {
	for len(vs) > 1 {
		o.both(vs[0], vs[1])
		vs = vs[2:]
	}
	for _, v := range vs {
		o.one(v)
	}
}

func (o *ordered) one(v *vector) {
	y, lower, lx := v.y, o.lower, o.lx[:len(o.lower)]
	for i, s := range v.b {
		k := o.done + i
		for j, end := o.starts[k], o.lowerAt[k+1]; j < end; j++ {
			s -= lx[j] * y[lower[j]]
		}
		y[k] = s
	}
	o.back(v.x, y, o.done, len(y))
	v.forget()
}

// both is one for two vectors.
func (o *ordered) both(v, w *vector) {
	vy, wy, vx, wx := v.y, w.y[:len(v.y)], v.x, w.x[:len(v.x)]
	lower, lx := o.lower, o.lx[:len(o.lower)]
	vb, wb := v.b, w.b[:len(v.b)]
	for i, s := range vb {
		k, t := o.done+i, wb[i]
		for j, end := o.starts[k], o.lowerAt[k+1]; j < end; j++ {
			c, x := lower[j], lx[j]
			s -= x * vy[c]
			t -= x * wy[c]
		}
		vy[k], wy[k] = s, t
	}
	upper, ux, inverse, colOf := o.upper, o.ux[:len(o.upper)], o.inverse[:len(vy)], o.colOf[:len(vy)]
	end := o.upperAt[len(vy)]
	for k := len(vy) - 1; k >= o.done; k-- {
		begin, s, t := o.upperAt[k], vy[k], wy[k]
		for j := begin; j < end; j++ {
			c, x := upper[j], ux[j]
			s -= x * vx[c]
			t -= x * wx[c]
		}
		c := colOf[k]
		vx[c], wx[c], end = s*inverse[k], t*inverse[k], begin
	}
	v.forget()
	w.forget()
}

// forget drops the unknowns of the first steps.
func (v *vector) forget() {
	if v.any {
		clear(v.have)
		v.any = false
	}
}

// back finds the unknowns of the steps in [from, to), given those after them.
func (o *ordered) back(x, y []float64, from, to int) {
	upper, ux := o.upper, o.ux[:len(o.upper)]
	starts, inverse, colOf, y := o.upperAt[:to+1], o.inverse[:to], o.colOf[:to], y[:to]
	end := starts[to]
	for k := to - 1; k >= from; k-- {
		begin, s := starts[k], y[k]
		for j := begin; j < end; j++ {
			s -= ux[j] * x[upper[j]]
		}
		x[colOf[k]], end = s*inverse[k], begin
	}
}

// value returns an unknown.
func (v *vector) value(i int) float64 {
	v.need(int32(i))
	return v.x[i]
}

func (v *vector) need(i int32) {
	o := v.o
	k := o.colAt[i]
	if k >= o.done || v.have[k] {
		return
	}
	for _, u := range o.upper[o.upperAt[k]:o.upperAt[k+1]] {
		v.need(u)
	}
	o.back(v.x, v.y, k, k+1)
	v.have[k], v.any = true, true
}
