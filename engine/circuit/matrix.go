package circuit

import (
	"errors"
	"math"
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
func factor(rows [][]term) (*sparseLU, error) {
	n := len(rows)
	f := &sparseLU{n: n, steps: make([]step, 0, n)}
	count := make([]int, n) // live entries of each column
	inCol := make([][]int, n)
	for r, row := range rows {
		for _, t := range row {
			count[t.at]++
			inCol[t.at] = append(inCol[t.at], r)
		}
	}
	doneRow, doneCol := make([]bool, n), make([]bool, n)
	for range n {
		r, c, ok := choosePivot(rows, inCol, count, doneRow, doneCol)
		if !ok {
			return nil, errSingular
		}
		st := step{row: r, col: c}
		for _, t := range rows[r] {
			if t.at == c {
				st.pivot = t.x
			} else {
				st.rest = append(st.rest, t)
			}
			count[t.at]--
		}
		doneRow[r], doneCol[c] = true, true
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
			rows[i] = subtract(rows[i], st.rest, m, c, func(col, delta int) {
				count[col] += delta
				if delta > 0 {
					inCol[col] = append(inCol[col], i)
				}
			})
		}
		f.steps = append(f.steps, st)
	}
	return f, nil
}

// choosePivot looks through the four sparsest live columns.
func choosePivot(rows [][]term, inCol [][]int, count []int, doneRow, doneCol []bool) (row, col int, ok bool) {
	const tries = 4
	var cand [tries]int
	k := 0
	for c := range count {
		if doneCol[c] || count[c] <= 0 {
			if !doneCol[c] {
				return 0, 0, false
			}
			continue
		}
		at := k
		for at > 0 && count[c] < count[cand[at-1]] {
			at--
		}
		if at == tries {
			continue
		}
		if k < tries {
			k++
		}
		copy(cand[at+1:k], cand[at:k-1])
		cand[at] = c
	}
	best := math.MaxInt
	var bestSize float64
	for _, c := range cand[:k] {
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
func subtract(row, rest []term, m float64, skip int, changed func(col, delta int)) []term {
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
			if x := row[i].x - m*rest[j].x; x != 0 {
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
	for k := range n {
		p := k
		for i := k + 1; i < n; i++ {
			if math.Abs(a[i*n+k]) > math.Abs(a[p*n+k]) {
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
