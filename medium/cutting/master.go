package cutting

import "math"

// column is one pattern in the linear program of a demand: the copies it makes
// and what it costs (1 sheet, or millimetres of roll).
type column struct {
	n      *node
	copies []float64 // by row of the master
	cost   float64
}

// master is the linear program "least cost of patterns that meet the demand"
// (Gilmore and Gomory 1961), solved by the revised simplex method with columns
// made on demand.
type master struct {
	demand []float64
	cols   []column
	basis  []int // column by row; below 0: the surplus of row -1-basis
	inv    [][]float64
	x      []float64 // by row of the basis
}

const lpEps = 1e-9

// newMaster starts from one pattern for each row that makes only that size.
func newMaster(demand []float64, start []column) *master {
	m := &master{demand: demand, cols: start}
	for i, c := range start {
		row := make([]float64, len(demand))
		row[i] = 1 / c.copies[i]
		m.inv = append(m.inv, row)
		m.basis = append(m.basis, i)
		m.x = append(m.x, demand[i]/c.copies[i])
	}
	return m
}

// prices are the dual values: what one more copy of each size would cost.
func (m *master) prices() []float64 {
	pi := make([]float64, len(m.demand))
	for r, b := range m.basis {
		if b < 0 {
			continue
		}
		for i := range pi {
			pi[i] += m.cols[b].cost * m.inv[r][i]
		}
	}
	return pi
}

// solve improves the basis until price finds no better column, or gives up
// after most steps. It changes only what is tried, never a proof.
func (m *master) solve(price func(pi []float64) (column, bool), most int) {
	for range most {
		pi := m.prices()
		entering, a, ok := m.entering(pi, price)
		if !ok || !m.pivot(entering, a) {
			return
		}
	}
}

func (m *master) entering(pi []float64, price func(pi []float64) (column, bool)) (int, []float64, bool) {
	for i, p := range pi {
		if p < -lpEps {
			a := make([]float64, len(pi))
			a[i] = -1
			return -1 - i, a, true
		}
	}
	c, ok := price(pi)
	if !ok {
		return 0, nil, false
	}
	m.cols = append(m.cols, c)
	return len(m.cols) - 1, c.copies, true
}

func (m *master) pivot(entering int, a []float64) bool {
	n := len(m.demand)
	d := make([]float64, n)
	out, least := -1, math.Inf(1)
	for r := range n {
		for i := range n {
			d[r] += m.inv[r][i] * a[i]
		}
		if d[r] > lpEps && m.x[r]/d[r] < least {
			out, least = r, m.x[r]/d[r]
		}
	}
	if out < 0 {
		return false
	}
	for i := range n {
		m.inv[out][i] /= d[out]
	}
	for r := range n {
		if r == out {
			continue
		}
		for i := range n {
			m.inv[r][i] -= d[r] * m.inv[out][i]
		}
		m.x[r] = max(0, m.x[r]-d[r]*least)
	}
	m.x[out], m.basis[out] = least, entering
	return true
}

// whole gives the patterns to be used in full: the solution rounded down.
func (m *master) whole() []batch {
	var out []batch
	for r, b := range m.basis {
		if n := int(math.Floor(m.x[r] + 1e-7)); b >= 0 && n > 0 {
			out = append(out, batch{m.cols[b].n, n})
		}
	}
	return out
}

// batch is one pattern used so many times.
type batch struct {
	n     *node
	times int
}
