package cutting

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// oracle is the plain recursion over every whole millimetre with the kerf taken
// as it is taken at the bench: a cut at c leaves c and x-c-kerf.
type oracle struct {
	sizes []Size
	kerf  int
	memo  map[[2]int]int
}

func (o *oracle) best(x, y int) int {
	if x <= 0 || y <= 0 {
		return 0
	}
	if v, ok := o.memo[[2]int{x, y}]; ok {
		return v
	}
	v := 0
	for _, s := range o.sizes {
		if fitsIn(s, x, y) {
			v = max(v, worthOf(s))
		}
	}
	for c := 1; c < x; c++ {
		v = max(v, o.best(c, y)+o.best(x-c-o.kerf, y))
	}
	for c := 1; c < y; c++ {
		v = max(v, o.best(x, c)+o.best(x, y-c-o.kerf))
	}
	o.memo[[2]int{x, y}] = v
	return v
}

func worthOf(s Size) int {
	if s.Value > 0 {
		return s.Value
	}
	return s.LengthMM * s.WidthMM
}

func fitsIn(s Size, x, y int) bool {
	return s.LengthMM <= x && s.WidthMM <= y || s.Turn && s.WidthMM <= x && s.LengthMM <= y
}

// sets gives every multiset of copies, at most want, that x by y can yield.
type sets struct {
	sizes []Size
	kerf  int
	memo  map[[2]int]map[string][]int
}

func (o *sets) of(x, y int) map[string][]int {
	none := make([]int, len(o.sizes))
	out := map[string][]int{fmt.Sprint(none): none}
	if x <= 0 || y <= 0 {
		return out
	}
	if m, ok := o.memo[[2]int{x, y}]; ok {
		return m
	}
	for i, s := range o.sizes {
		if fitsIn(s, x, y) {
			one := make([]int, len(o.sizes))
			one[i] = 1
			out[fmt.Sprint(one)] = one
		}
	}
	for c := 1; c < x; c++ {
		o.merge(out, o.of(c, y), o.of(x-c-o.kerf, y))
	}
	for c := 1; c < y; c++ {
		o.merge(out, o.of(x, c), o.of(x, y-c-o.kerf))
	}
	o.memo[[2]int{x, y}] = out
	return out
}

func (o *sets) merge(out, a, b map[string][]int) {
	for _, p := range a {
		for _, q := range b {
			s := make([]int, len(p))
			for i := range s {
				s[i] = min(o.sizes[i].Count, p[i]+q[i])
			}
			out[fmt.Sprint(s)] = s
		}
	}
}

func drawSizes(t *rapid.T, most, side, copies int) []Size {
	n := rapid.IntRange(1, most).Draw(t, "sizes")
	var out []Size
	for i := range n {
		out = append(out, Size{
			Name:     fmt.Sprintf("s%d", i),
			LengthMM: rapid.IntRange(2, side).Draw(t, "length"), WidthMM: rapid.IntRange(2, side).Draw(t, "width"),
			Turn: rapid.Bool().Draw(t, "turn"), Count: rapid.IntRange(min(1, copies), copies).Draw(t, "count"),
			Value: rapid.IntRange(0, 30).Draw(t, "value"),
		})
	}
	return out
}

func anyFits(sizes []Size, x, y int) bool {
	for _, s := range sizes {
		if fitsIn(s, x, y) {
			return true
		}
	}
	return false
}

func TestBestSheetIsBest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := drawSizes(t, 4, 14, 0)
		c := Cutting{KerfMM: rapid.IntRange(0, 2).Draw(t, "kerf"), KeepMM: rapid.IntRange(0, 4).Draw(t, "keep")}
		if rapid.Bool().Draw(t, "margin") {
			c.MarginMM = c.KerfMM + rapid.IntRange(0, 2).Draw(t, "more")
		}
		s := Sheet{rapid.IntRange(5, 30).Draw(t, "x"), rapid.IntRange(5, 30).Draw(t, "y")}
		x, y := s.LengthMM-2*c.MarginMM, s.WidthMM-2*c.MarginMM
		if x < 1 || y < 1 || !anyFits(sizes, x, y) {
			return
		}
		p, err := BestSheet(s, sizes, c, 0)
		require.NoError(t, err)
		o := oracle{sizes, c.KerfMM, map[[2]int]int{}}
		require.Equal(t, o.best(x, y), p.Value)
		require.True(t, p.Proven)
		checkPattern(t, p.Batches[0].Pattern, sizes, c, true)
		require.Equal(t, p.Value, madeValue(p.Batches[0].Pattern, sizes))
	})
}

func madeValue(p Pattern, sizes []Size) int {
	v := 0
	for _, m := range p.Placed {
		v += worthOf(sizes[m.Size])
	}
	return v
}

func TestLimitedSheetIsBest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sizes := drawSizes(t, 3, 8, 3)
		c := Cutting{KerfMM: rapid.IntRange(0, 2).Draw(t, "kerf")}
		s := Sheet{rapid.IntRange(4, 14).Draw(t, "x"), rapid.IntRange(4, 12).Draw(t, "y")}
		if !anyFits(sizes, s.LengthMM, s.WidthMM) {
			return
		}
		p, err := BestSheet(s, sizes, c, 0)
		require.NoError(t, err)
		o := sets{sizes, c.KerfMM, map[[2]int]map[string][]int{}}
		best := 0
		for _, copies := range o.of(s.LengthMM, s.WidthMM) {
			v := 0
			for i, n := range copies {
				v += n * worthOf(sizes[i])
			}
			best = max(best, v)
		}
		require.Equal(t, best, p.Value)
		require.True(t, p.Proven)
		for i, n := range p.Made {
			require.LessOrEqual(t, n, sizes[i].Count)
		}
		checkPattern(t, p.Batches[0].Pattern, sizes, c, true)
	})
}

func counts(sizes []Size) []int {
	out := make([]int, len(sizes))
	for i, s := range sizes {
		out[i] = s.Count
	}
	return out
}

func TestFewestSheetsAndShortestRoll(t *testing.T) {
	proven, all, rollProven := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		sizes := drawSizes(t, 3, 7, 3)
		c := Cutting{KerfMM: rapid.IntRange(0, 1).Draw(t, "kerf")}
		s := Sheet{rapid.IntRange(7, 12).Draw(t, "x"), rapid.IntRange(7, 12).Draw(t, "y")}
		p, err := FewestSheets(s, sizes, c, 20_000_000)
		require.NoError(t, err)
		o := sets{sizes, c.KerfMM, map[[2]int]map[string][]int{}}
		least := leastSheets(o.of(s.LengthMM, s.WidthMM), counts(sizes))
		require.LessOrEqual(t, p.Bound, least)
		require.GreaterOrEqual(t, p.Value, least)
		all++
		if p.Proven {
			proven++
		}
		for i, z := range sizes {
			require.GreaterOrEqual(t, p.Made[i], z.Count)
		}
		for _, b := range p.Batches {
			checkPattern(t, b.Pattern, sizes, c, true)
		}

		r, err := ShortestRoll(s.WidthMM, sizes, c, 20_000_000)
		require.NoError(t, err)
		checkPattern(t, r.Batches[0].Pattern, sizes, c, false)
		require.Equal(t, counts(sizes), r.Made)
		if r.Proven {
			rollProven++
		}
		// The length before the plan's own must hold less, the bound's nothing longer.
		full := fmt.Sprint(counts(sizes))
		for x := 1; ; x++ {
			if _, ok := o.of(x, s.WidthMM)[full]; !ok {
				continue
			}
			require.LessOrEqual(t, r.Bound, x)
			require.GreaterOrEqual(t, r.Value, x)
			if r.Proven {
				require.Equal(t, x, r.Value)
			}
			break
		}
	})
	t.Logf("of %d random demands: sheets proven fewest %d, roll proven shortest %d", all, proven, rollProven)
	require.Greater(t, proven, all*9/10)
	require.Greater(t, rollProven, all*9/10)
}

// leastSheets is a breadth-first search over the demand met so far.
func leastSheets(patterns map[string][]int, want []int) int {
	front := map[string][]int{fmt.Sprint(make([]int, len(want))): make([]int, len(want))}
	for sheets := 0; ; sheets++ {
		if _, ok := front[fmt.Sprint(want)]; ok {
			return sheets
		}
		next := map[string][]int{}
		for _, f := range front {
			for _, p := range patterns {
				s := make([]int, len(want))
				for i := range s {
					s[i] = min(want[i], f[i]+p[i])
				}
				next[fmt.Sprint(s)] = s
			}
		}
		front = next
	}
}

// Identical mats. The values are from two independent programs of the kerf-free
// recursion, rotation allowed and not; kerf rows from a direct kerf recursion.
func TestIdenticalMats(t *testing.T) {
	for _, c := range []struct{ x, y, a, b, kerf, turned, fixed int }{
		{22, 16, 5, 3, 0, 22, 20},
		{30, 22, 7, 4, 0, 22, 20},
		{43, 26, 7, 3, 0, 52, 48},
		{57, 44, 12, 5, 0, 39, 32},
		{86, 52, 15, 11, 0, 25, 20},
		{1020, 1020, 255, 510, 0, 8, 8},
		{2000, 1000, 254, 508, 0, 10, 7},
		{1200, 1000, 254, 254, 0, 12, 12},
		{100, 60, 20, 15, 0, 20, -1},
		{100, 60, 20, 15, 1, 16, -1},
		{60, 30, 20, 15, 0, 6, -1},
		{60, 30, 20, 15, 1, 3, -1}, // the exact fit that a kerf breaks
	} {
		for _, turn := range []bool{true, false} {
			want := c.turned
			if !turn {
				want = c.fixed
			}
			if want < 0 {
				continue
			}
			sizes := []Size{{LengthMM: c.a, WidthMM: c.b, Turn: turn}}
			p, err := BestSheet(Sheet{c.x, c.y}, sizes, Cutting{KerfMM: c.kerf}, 0)
			require.NoError(t, err)
			require.Len(t, p.Batches[0].Pattern.Placed, want, "%+v turn %v", c, turn)
			require.True(t, p.Proven)
			checkPattern(t, p.Batches[0].Pattern, sizes, Cutting{KerfMM: c.kerf}, true)
		}
	}
}

func TestFillNeverDisplacesAMat(t *testing.T) {
	mats := []Size{{Name: "tray", LengthMM: 254, WidthMM: 508, Turn: true}}
	with := append(mats, Size{Name: "small", LengthMM: 120, WidthMM: 170, Turn: true, Fill: true})
	c := Cutting{KerfMM: 2, MarginMM: 5, KeepMM: 100}
	alone, err := BestSheet(Sheet{2000, 1000}, mats, c, 0)
	require.NoError(t, err)
	both, err := BestSheet(Sheet{2000, 1000}, with, c, 0)
	require.NoError(t, err)
	require.Equal(t, alone.Made[0], both.Made[0])
	require.Positive(t, both.Made[1])
	require.Greater(t, both.Batches[0].Pattern.PieceMM2, alone.Batches[0].Pattern.PieceMM2)
	require.Equal(t, alone.Value, both.Value)
	checkPattern(t, both.Batches[0].Pattern, with, c, true)
}

func TestCutPlanRefusals(t *testing.T) {
	mat := []Size{{Name: "tray", LengthMM: 254, WidthMM: 508, Count: 3}}
	_, err := BestSheet(Sheet{1000, 400}, mat, Cutting{}, 0)
	var bad *Invalid
	require.ErrorAs(t, err, &bad)
	require.ErrorAs(t, err, &bad)
	require.Contains(t, err.Error(), "turned by 90 degrees")

	_, err = FewestSheets(Sheet{1000, 1000}, []Size{{LengthMM: 10, WidthMM: 10}}, Cutting{}, 0)
	require.ErrorAs(t, err, &bad)
	_, err = BestSheet(Sheet{1000, 1000}, mat, Cutting{KerfMM: 3, MarginMM: 1}, 0)
	require.ErrorAs(t, err, &bad)
	_, err = BestSheet(Sheet{100_000, 100_000}, []Size{{LengthMM: 2, WidthMM: 2}}, Cutting{}, 0)
	require.ErrorAs(t, err, &bad)
	require.Contains(t, err.Error(), "the limit is 20000")
}

// dissect cuts a rectangle without waste by random edge-to-edge cuts, so that
// the best plan for its pieces is known without solving anything.
func dissect(t *rapid.T, l, w, depth int, add func(l, w int)) {
	along := rapid.Bool().Draw(t, "along")
	side := w
	if along {
		side = l
	}
	if depth == 0 || side < 12 {
		add(l, w)
		return
	}
	at := rapid.IntRange(5, side-5).Draw(t, "at")
	if along {
		dissect(t, at, w, depth-1, add)
		dissect(t, l-at, w, depth-1, add)
		return
	}
	dissect(t, l, at, depth-1, add)
	dissect(t, l, w-at, depth-1, add)
}

// The bounds must hold where the best is known by construction: n sheets, or n
// lengths of roll, cut up without any waste.
func TestBoundsHoldOnPerfectDissections(t *testing.T) {
	sheets, rolls, all := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s := Sheet{rapid.IntRange(20, 60).Draw(t, "l"), rapid.IntRange(20, 60).Draw(t, "w")}
		n := rapid.IntRange(1, 4).Draw(t, "n")
		var sizes []Size
		at := map[[2]int]int{}
		dissect(t, s.LengthMM, s.WidthMM, rapid.IntRange(1, 4).Draw(t, "depth"), func(l, w int) {
			i, ok := at[[2]int{l, w}]
			if !ok {
				i = len(sizes)
				at[[2]int{l, w}] = i
				sizes = append(sizes, Size{LengthMM: l, WidthMM: w, Turn: rapid.Bool().Draw(t, "turn")})
			}
			sizes[i].Count += n
		})
		limit := 30_000_000
		f, err := FewestSheets(s, sizes, Cutting{}, limit)
		require.NoError(t, err)
		require.LessOrEqual(t, f.Bound, n)
		require.GreaterOrEqual(t, f.Value, n)
		r, err := ShortestRoll(s.WidthMM, sizes, Cutting{}, limit)
		require.NoError(t, err)
		require.LessOrEqual(t, r.Bound, n*s.LengthMM)
		require.GreaterOrEqual(t, r.Value, n*s.LengthMM)
		all++
		if f.Proven {
			sheets++
		}
		if r.Proven {
			rolls++
		}
	})
	t.Logf("of %d dissections without waste: fewest sheets found %d, shortest roll found %d", all, sheets, rolls)
	require.Greater(t, sheets, all*3/4)
	require.Greater(t, rolls, all/2)
}

// A demand too large for the bounded search: the bands reach the bound that
// their dual prices give.
func TestLongRollIsProvenByPrices(t *testing.T) {
	sizes := []Size{
		{LengthMM: 250, WidthMM: 510, Turn: true, Count: 40},
		{LengthMM: 250, WidthMM: 255, Turn: true, Count: 30},
		{LengthMM: 122, WidthMM: 122, Count: 24},
	}
	p, err := ShortestRoll(1200, sizes, Cutting{}, 0)
	require.NoError(t, err)
	require.Equal(t, counts(sizes), p.Made)
	require.True(t, p.Proven)
	require.Equal(t, 7000, p.Value)
	checkPattern(t, p.Batches[0].Pattern, sizes, Cutting{}, false)
}
