package medium

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestWhatATrimCanRemove: the mat is 510 x 250 mm before the trim.
func TestWhatATrimCanRemove(t *testing.T) {
	for _, k := range []struct {
		where         string
		mm            float64
		length, width float64
		gone          bool
	}{
		{"middle", 90, 509, 250, false},
		{"the middle", 8, 300, 250, false},
		{"middle", 8, 255, 250, false}, // half of it went, and half of the cut
		{"middle", 8, 251, 250, true},
		{"centre", 8, 510, 121, true},
		{"middle of the left edge", 8, 251, 250, false}, // either
		{"middle, edge", 8, 251, 250, false},
		{"edge", 8, 509, 250, false},
		{"edge", 8, 502, 250, true},
		{"Left edge.", 240, 270, 250, true},
		{"left edge", 240, 509, 250, false}, // it need not lie along the edge
		{"at the top right corner", 20, 490, 230, true},
		{"corner", 21, 490, 230, false},
		{"edge to edge", 8, 509, 250, false},
		{"edge to edge", 8, 400, 250, false}, // across, and nobody knows where
		{"from the edge inward", 8, 400, 250, false},
		{"hedge", 8, 400, 250, false},
		{"", 20, 400, 250, false}, // nobody knows where
		{"left of the label", 20, 400, 250, false},
		{"edge", 8, 510, 250, false}, // no trim at all
	} {
		b := &Trim{LengthMM: k.length, WidthMM: k.width, RemovesCuts: true, FromLengthMM: 510, FromWidthMM: 250}
		assert.Equal(t, k.gone, b.took(MeshCut{LengthMM: k.mm, Where: k.where}), "%g mm %q, to %g x %g", k.mm, k.where, k.length, k.width)
	}
}

// A strip comes off one edge: it can't have held cuts at two of them that do not fit
// in it side by side.
func TestOneStripTakesNoCutsOfTwoEdges(t *testing.T) {
	for _, k := range []struct {
		one, other string
		width      float64 // of 250
		left       int
	}{
		{"left edge", "right edge", 240, 2}, {"left edge", "right edge", 234, 0}, {"left edge", "the left edge", 240, 0},
		{"upper edge", "at the top edge", 240, 0}, {"left edge", "top edge", 240, 2}, {"left edge", "top left corner", 240, 0},
		{"edge", "right edge", 240, 0}, {"left edge", "right, middle", 240, 1},
	} {
		c := testCondition(Ready)
		for _, where := range []string{k.one, k.other} {
			c = c.Apply(Step{At: testSince, Kind: KindCut, Body: &Cut{LengthMM: 8, Where: where}})
		}
		s, err := Admit(c, testFarm(), testStep(&Trim{LengthMM: c.Mat.LengthMM, WidthMM: k.width, RemovesCuts: true}), testNow)
		require.NoError(t, err)
		assert.Len(t, c.Apply(s).CutList, k.left, "%+v", k)
		assert.Equal(t, k.left > 0, len(s.Outcome.Findings) > 0, "it says so")
	}
}

func TestATrimOfAMillimetreRemovesNoCutInTheMiddle(t *testing.T) {
	w := ready(t)
	w.do(&Cut{LengthMM: 90, Where: "middle", Through: true})
	w.do(&Cut{LengthMM: 1, Where: "edge"})
	size := w.c.Mat
	s := w.do(&Trim{LengthMM: size.LengthMM - 1, WidthMM: size.WidthMM, RemovesCuts: true}, ToWash)
	require.Equal(t, []string{"trim-cuts"}, rulesOf(s.Outcome.Findings))
	assert.Contains(t, s.Outcome.Findings[0].Text, "need not have held 1 cut (90 mm middle): it counts until an inspection after the trim finds no cuts")
	assert.Equal(t, 1, w.c.CutsThrough)
	assert.Zero(t, w.c.Cuts, "the one at the edge went")
	assert.Equal(t, 90.0, w.c.CutMM)
	v := w.verdict()
	f, _ := find(v, "cut-through")
	assert.Equal(t, "1 cut through the mesh; it was trimmed since: inspect it and say whether any is left", f.Text)
	assert.Equal(t, []any{DoNotSow, Stop, KindRinse}, []any{v.Word, f.Severity, v.NextStep})
	work, _ := WorkOn(w.c, w.f, berlin)
	require.Len(t, work.Dues, 3) // and one day its age
	assert.Equal(t, []Kind{KindRinse, KindInspect}, []Kind{work.Dues[0].Step, work.Dues[1].Step})
	assert.Contains(t, work.Dues[1].Text, "inspect it and say whether any is left")
	w.wash()
	assert.Equal(t, []any{DoNotSow, KindInspect}, []any{w.verdict().Word, w.verdict().NextStep})
	off := Judge(w.c, Farm{Policy: setting("cut-through", false, 1, 0)}, w.at)
	assert.Equal(t, SowWithCare, off.Word, "switched off it stops nothing")
	work, _ = WorkOn(w.c, w.f, berlin)
	assert.Equal(t, KindInspect, work.Step)
	w.do(&Inspect{}, Ready)
	assert.Equal(t, RetireMat, w.verdict().Word, "that look did not say so")
	w.do(&Inspect{NoCuts: true}, Ready)
	assert.Equal(t, SowIt, w.verdict().Word)
	assert.Zero(t, w.c.CutMM)

	w.do(&Cut{LengthMM: 5, Through: true})
	assert.ErrorContains(t, refuse(t, w, &Inspect{NoCuts: true}), "1 cut on record that no trim can have removed", "a look does not heal")
}

// TestHolesGoWithALookAfterTheTrim, and only those from before it.
func TestHolesGoWithALookAfterTheTrim(t *testing.T) {
	w := ready(t)
	w.do(&Inspect{Holes: 2})
	w.do(&Trim{LengthMM: 200, WidthMM: 200, RemovesCuts: true}, ToWash)
	assert.Equal(t, 2, w.c.Holes)
	assert.Equal(t, DoNotSow, w.verdict().Word, "until somebody looked")
	w.wash()
	assert.Equal(t, KindInspect, w.verdict().NextStep)
	w.do(&Inspect{NoCuts: true})
	assert.Equal(t, SowIt, w.verdict().Word)
	w.do(&Inspect{Holes: 1})
	w.do(&Inspect{NoCuts: true})
	assert.Equal(t, 1, w.c.Holes)
}

// TestATrimThatIsSaidToHaveRemovedTheDamage counts until the next look, and over
// another trim; one of which nobody said so never does.
func TestATrimThatIsSaidToHaveRemovedTheDamage(t *testing.T) {
	for _, damage := range []Body{&Inspect{Holes: 2}, &Cut{LengthMM: 90, Where: "middle", Through: true}} {
		w := ready(t)
		w.do(damage)
		w.do(&Trim{LengthMM: 220, WidthMM: 200})
		assert.Equal(t, RetireMat, w.verdict().Word)
		w.do(&Trim{LengthMM: 210, WidthMM: 200, RemovesCuts: true})
		assert.Equal(t, DoNotSow, w.verdict().Word)
		w.do(&Trim{LengthMM: 205, WidthMM: 200})
		assert.Equal(t, DoNotSow, w.verdict().Word, "it is still said")
		w.wash()
		w.do(&Inspect{})
		assert.Equal(t, RetireMat, w.verdict().Word, "somebody looked")
	}
}

// TestAnOldTrimKeepsItsMeaning: records without the size before took all cuts.
func TestAnOldTrimKeepsItsMeaning(t *testing.T) {
	c := testCondition(Ready).Apply(Step{At: testSince, Kind: KindCut, Body: &Cut{LengthMM: 90, Where: "middle", Through: true}})
	c.Holes = 1
	c = c.Apply(Step{At: testSince, Kind: KindTrim, Body: &Trim{LengthMM: 200, WidthMM: 100, RemovesCuts: true}})
	assert.Zero(t, c.CutsThrough+c.Cuts+c.Holes)
	assert.Empty(t, c.CutList)
}

// TestTheListOfCutsIsItsSums: however many there are, none drops out.
func TestTheListOfCutsIsItsSums(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c Condition
		c.Mat = testMat()
		for range rapid.IntRange(0, 150).Draw(t, "steps") {
			if rapid.IntRange(0, 30).Draw(t, "trim") == 0 {
				c.trim(&Trim{LengthMM: c.Mat.LengthMM - 1, WidthMM: c.Mat.WidthMM, RemovesCuts: rapid.Bool().Draw(t, "claim"),
					FromLengthMM: c.Mat.LengthMM, FromWidthMM: c.Mat.WidthMM})
				continue
			}
			c.cut(&Cut{LengthMM: float64(rapid.IntRange(1, 90).Draw(t, "mm")), Through: rapid.Bool().Draw(t, "through"),
				Where: rapid.SampledFrom([]string{"middle", "edge", ""}).Draw(t, "where")})
		}
		through, not, mm := 0, 0, 0.0
		for _, m := range c.CutList {
			mm += m.LengthMM
			if m.Through {
				through += m.count()
			} else {
				not += m.count()
			}
		}
		require.Equal(t, c.CutsThrough, through)
		require.Equal(t, c.Cuts, not)
		require.InDelta(t, c.CutMM, mm, 1e-9)
		require.Less(t, len(c.CutList), cutsListed+30)
	})
}

// A look that saw mold is taken, whatever it says of cuts.
func TestMoldSeenWithACutThatNoTrimRemoved(t *testing.T) {
	c := testCondition(ToDry).Apply(Step{At: testSince, Body: &Cut{LengthMM: 8, Where: "middle"}})
	_, err := Admit(c, testFarm(), testStep(&Inspect{NoCuts: true}), testNow)
	require.Error(t, err)
	seen, err := Admit(c, testFarm(), testStep(&Inspect{NoCuts: true, Mold: true}), testNow)
	require.NoError(t, err)
	require.Equal(t, OnHold, c.Apply(seen).Stage)
	require.Equal(t, 1, c.Apply(seen).Cuts)
}
