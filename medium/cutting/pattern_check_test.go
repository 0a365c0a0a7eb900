package cutting

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// checkPattern judges a pattern by its geometry alone, without the code that
// made it: mats inside the usable mesh, in allowed directions, no overlap, the
// area accounted for to the square millimetre, and every mat obtainable by
// edge-to-edge cuts that each take a full kerf.
func checkPattern(t require.TestingT, p Pattern, sizes []Size, c Cutting, margins bool) {
	if h, ok := t.(*testing.T); ok {
		h.Helper()
	}
	area := 0
	var all []Rect
	var pieces []Rect
	for _, m := range p.Placed {
		s := sizes[m.Size]
		l, w := s.LengthMM, s.WidthMM
		if m.Turned {
			require.True(t, s.Turn, "size %d turned against the mesh direction", m.Size)
			l, w = w, l
		}
		require.Equal(t, [2]int{l, w}, [2]int{m.Length, m.Width})
		all, pieces = append(all, m.Rect), append(pieces, m.Rect)
		area += m.AreaMM2()
	}
	require.Equal(t, p.PieceMM2, area)
	kept := 0
	for _, r := range p.Remnants {
		all = append(all, r.Rect)
		if r.Keep {
			kept += r.AreaMM2()
		}
		require.Equal(t, c.KeepMM > 0 && min(r.Length, r.Width) >= c.KeepMM, r.Keep)
	}
	require.Equal(t, p.KeptMM2, kept)
	for _, r := range p.Cuts {
		if r.AreaMM2() > 0 {
			all = append(all, r.Rect)
		}
	}
	accounted(t, p)
	if margins {
		require.Equal(t, Rect{c.MarginMM, c.MarginMM, p.Sheet.LengthMM - 2*c.MarginMM, p.Sheet.WidthMM - 2*c.MarginMM}, p.Usable)
	}
	for i, r := range all {
		require.True(t, inside(r, p.Usable), "%v outside %v", r, p.Usable)
		for _, q := range all[:i] {
			require.False(t, overlap(r, q), "%v over %v", r, q)
		}
	}
	require.NoError(t, separable(p.Usable, pieces, c.KerfMM))
}

// accounted wants the usable area accounted for to the square millimetre.
func accounted(t require.TestingT, p Pattern) {
	area := p.PieceMM2
	for _, r := range p.Remnants {
		area += r.AreaMM2()
	}
	for _, c := range p.Cuts {
		area += c.AreaMM2()
	}
	require.Equal(t, p.Usable.AreaMM2(), area)
}

func inside(r, in Rect) bool {
	return r.Length > 0 && r.Width > 0 && r.X >= in.X && r.Y >= in.Y &&
		r.X+r.Length <= in.X+in.Length && r.Y+r.Width <= in.Y+in.Width
}

func overlap(a, b Rect) bool {
	return a.X < b.X+b.Length && b.X < a.X+a.Length && a.Y < b.Y+b.Width && b.Y < a.Y+a.Width
}

// separable cuts region until each piece lies alone and trimmed. Any cut that
// harms no piece may be made first, so it never needs to go back.
func separable(region Rect, pieces []Rect, kerf int) error {
	if len(pieces) == 0 || len(pieces) == 1 && pieces[0] == region {
		return nil
	}
	for _, flip := range []bool{false, true} {
		reg, ps := region, pieces
		if flip {
			reg, ps = mirror(region), mirrors(pieces)
		}
		for _, p := range ps {
			for _, strip := range [][2]int{{p.X - kerf, p.X}, {p.X + p.Length, p.X + p.Length + kerf}} {
				// The strip must leave mesh on the side of a piece and be a real cut.
				if strip[1] <= reg.X || strip[0] >= reg.X+reg.Length {
					continue
				}
				left, right, ok := part(ps, strip)
				if !ok {
					continue
				}
				lr := Rect{reg.X, reg.Y, strip[0] - reg.X, reg.Width}
				rr := Rect{strip[1], reg.Y, reg.X + reg.Length - strip[1], reg.Width}
				if flip {
					lr, rr, left, right = mirror(lr), mirror(rr), mirrors(left), mirrors(right)
				}
				if err := separable(lr, left, kerf); err != nil {
					return err
				}
				return separable(rr, right, kerf)
			}
		}
	}
	return fmt.Errorf("no edge-to-edge cut through %v parts %v", region, pieces)
}

func part(ps []Rect, strip [2]int) (left, right []Rect, ok bool) {
	for _, p := range ps {
		switch {
		case p.X+p.Length <= strip[0]:
			left = append(left, p)
		case p.X >= strip[1]:
			right = append(right, p)
		default:
			return nil, nil, false
		}
	}
	return left, right, true
}

func mirror(r Rect) Rect { return Rect{r.Y, r.X, r.Width, r.Length} }

func mirrors(rs []Rect) []Rect {
	out := make([]Rect, len(rs))
	for i, r := range rs {
		out[i] = mirror(r)
	}
	return out
}

// The checker itself must be able to fail.
func TestCheckerRefuses(t *testing.T) {
	pinwheel := []Rect{{0, 0, 2, 1}, {2, 0, 1, 2}, {1, 2, 2, 1}, {0, 1, 1, 2}, {1, 1, 1, 1}}
	require.Error(t, separable(Rect{0, 0, 3, 3}, pinwheel, 0), "a pinwheel is no guillotine pattern")
	two := []Rect{{0, 0, 2, 2}, {3, 0, 2, 2}}
	require.NoError(t, separable(Rect{0, 0, 5, 2}, two, 1))
	require.Error(t, separable(Rect{0, 0, 5, 2}, two, 2), "one millimetre is no room for a kerf of two")
}
