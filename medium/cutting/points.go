package cutting

import "slices"

// axis is the set of lengths at which cuts need to be tried, with a look-up of
// the greatest member not above a length.
type axis struct {
	at    []int
	floor []int32 // by length; -1 where no member is small enough
}

func newAxis(points []int, length int) axis {
	a := axis{at: points, floor: make([]int32, length+1)}
	i := int32(-1)
	for v := range a.floor {
		for int(i)+1 < len(points) && points[i+1] <= v {
			i++
		}
		a.floor[v] = i
	}
	return a
}

func (a axis) below(length int) int {
	if length < 0 {
		return -1
	}
	return int(a.floor[length])
}

// normal gives the sums of sides up to length (Herz 1972, Christofides and
// Whitlock 1977: some best pattern cuts only there). With copies, a side is
// used at most so often.
func normal(sides []int, copies []int, length int) []int {
	reach := make([]bool, length+1)
	reach[0] = true
	for i, s := range sides {
		if copies == nil || copies[i] >= length/s {
			for v := s; v <= length; v++ {
				reach[v] = reach[v] || reach[v-s]
			}
			continue
		}
		boundedReach(reach, s, copies[i])
	}
	var out []int
	for v := 1; v <= length; v++ {
		if reach[v] {
			out = append(out, v)
		}
	}
	return out
}

// boundedReach adds up to n copies of side s to the reachable sums.
func boundedReach(reach []bool, s, n int) {
	used := make([]int, len(reach))
	for v := range reach {
		used[v] = n + 1
		if reach[v] {
			used[v] = 0
			continue
		}
		if v >= s && used[v-s] < n {
			used[v] = used[v-s] + 1
			reach[v] = true
		}
	}
}

// raster keeps of the normal points those that can border a complement that is
// itself normal (Terno, Lindemann and Scheithauer 1987). Rounding every part of
// a pattern up to the raster keeps it feasible, so no best pattern is lost: if
// a+b+p <= L with all normal, the rounded a is L minus a normal length of at
// least b+p, hence still leaves room for b and p.
func raster(normals []int, length int) []int {
	full := newAxis(normals, length)
	var out []int
	if len(normals) > 0 {
		out = append(out, normals[len(normals)-1])
	}
	for _, p := range normals {
		if i := full.below(length - p); i >= 0 {
			out = append(out, normals[i])
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// thin keeps at most n points: the sides themselves and their multiples first,
// then an even choice of the rest. Any subset gives valid patterns; only the
// proof of optimality is lost.
func thin(points, sides []int, n int) []int {
	if len(points) <= n {
		return points
	}
	member := make(map[int]bool, len(points))
	for _, p := range points {
		member[p] = true
	}
	keep := map[int]bool{points[len(points)-1]: true}
	length := points[len(points)-1]
	for k := 1; len(keep) < n; k++ {
		any := false
		for _, s := range sides {
			if k*s <= length && len(keep) < n {
				any = true
				if member[k*s] {
					keep[k*s] = true
				}
			}
		}
		if !any {
			break
		}
	}
	step := max(1, len(points)/max(1, n-len(keep)+1))
	for i := len(points) - 1; i >= 0 && len(keep) < n; i -= step {
		keep[points[i]] = true
	}
	out := make([]int, 0, len(keep))
	for p := range keep {
		out = append(out, p)
	}
	slices.Sort(out)
	return out
}
