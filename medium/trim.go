package medium

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// MeshCut is a cut that is on the mat.
type MeshCut struct {
	record
	LengthMM float64 `cbor:"10,keyasint,omitzero" json:"length_mm"` // of all of them, where N is more than one
	Where    string  `cbor:"11,keyasint,omitzero" json:"where,omitempty"`
	Through  bool    `cbor:"12,keyasint,omitzero" json:"through,omitempty"`
	Trimmed  bool    `cbor:"13,keyasint,omitzero" json:"trimmed_since,omitempty"` // a trim may have removed it
	N        int     `cbor:"14,keyasint,omitzero" json:"n,omitempty"`             // cuts in this line, 0 for one
	// with that trim, and nobody has looked since
	Said bool `cbor:"15,keyasint,omitzero" json:"said_removed,omitempty"`
}

func (m MeshCut) count() int { return max(m.N, 1) }

// cutsListed bounds the cuts of a mat that are kept one by one. Those after them
// are summed in one line for each of through and not through, without a place:
// they count as before, and only an inspection after a trim removes them.
const cutsListed = 50

func (c *Condition) cut(b *Cut) {
	c.CutMM += b.LengthMM
	if b.Through {
		c.CutsThrough++
	} else {
		c.Cuts++
	}
	list := append([]MeshCut(nil), c.CutList...)
	if len(list) < cutsListed {
		c.CutList = append(list, MeshCut{LengthMM: b.LengthMM, Where: b.Where, Through: b.Through})
		return
	}
	for i := cutsListed; i < len(list); i++ {
		if m := &list[i]; m.Through == b.Through && !m.Trimmed {
			m.LengthMM, m.N = m.LengthMM+b.LengthMM, m.N+1
			c.CutList = list
			return
		}
	}
	c.CutList = append(list, MeshCut{LengthMM: b.LengthMM, Through: b.Through, N: 1})
}

// uncut takes away the cuts that gone says went.
func (c *Condition) uncut(gone func(MeshCut) bool) {
	var left []MeshCut
	for _, m := range c.CutList {
		if !gone(m) {
			left = append(left, m)
			continue
		}
		c.CutMM = max(0, c.CutMM-m.LengthMM)
		if m.Through {
			c.CutsThrough -= m.count()
		} else {
			c.Cuts -= m.count()
		}
	}
	c.CutList = left
	if len(left) == 0 && c.CutsThrough+c.Cuts <= 0 {
		c.CutMM = 0 // of rounded sums nothing is left over
	}
}

func (c *Condition) trim(b *Trim) {
	c.backToWash()
	c.Mat.LengthMM, c.Mat.WidthMM = b.LengthMM, b.WidthMM
	if b.RemovesCuts && b.FromLengthMM == 0 {
		c.CutsThrough, c.Cuts, c.CutMM, c.Holes, c.CutList = 0, 0, 0, 0, nil
		return
	}
	if b.RemovesCuts {
		c.uncut(b.tookOf(c.CutList))
	}
	left := append([]MeshCut(nil), c.CutList...)
	for i := range left {
		left[i].Trimmed, left[i].Said = true, left[i].Said || b.RemovesCuts
	}
	c.CutList, c.HolesTrimmed = left, c.Holes > 0
	c.HolesSaid = c.HolesTrimmed && (c.HolesSaid || b.RemovesCuts)
}

// looked ends the time in which a trim is only said to have removed the damage.
func (c *Condition) looked() {
	c.HolesSaid = false
	c.CutList = slices.Clone(c.CutList)
	for i := range c.CutList {
		c.CutList[i].Said = false
	}
}

// sure is the damage without what a trim is said to have removed.
func (c *Condition) sure() (through int, mm float64, holes int) {
	through, mm, holes = c.CutsThrough, c.CutMM, c.Holes
	for _, m := range c.CutList {
		if m.Said {
			mm -= m.LengthMM
		}
		if m.Said && m.Through {
			through -= m.count()
		}
	}
	if c.HolesSaid {
		holes = 0
	}
	return through, mm, holes
}

// took says whether the place of a cut lay wholly in what was cut off, where the
// person says that the damaged part did. One at an edge or a corner goes with a
// strip that it fits in however it lay, one in the middle with half the side and
// half of its own length. Of any other place, or in other words, nobody can tell.
func (b *Trim) took(m MeshCut) bool {
	if m.N > 0 {
		return false
	}
	place, _ := placeOf(m.Where)
	for _, s := range [2]struct{ deep, side float64 }{
		{b.FromLengthMM - b.LengthMM, b.FromLengthMM}, {b.FromWidthMM - b.WidthMM, b.FromWidthMM},
	} {
		if place == "edge" && s.deep >= m.LengthMM || place == "middle" && s.deep >= (s.side+m.LengthMM)/2 {
			return true
		}
	}
	return false
}

// tookOf is took among all cuts: one strip comes off one edge, so cuts at edges that
// are called by other names go together only where their lengths fit in side by side.
func (b *Trim) tookOf(cuts []MeshCut) func(MeshCut) bool {
	return func(m MeshCut) bool {
		_, sides := placeOf(m.Where)
		for _, other := range cuts {
			place, others := placeOf(other.Where)
			apart := !slices.ContainsFunc(others, func(s string) bool { return slices.Contains(sides, s) })
			if place == "edge" && apart && len(sides) > 0 && len(others) > 0 {
				m.LengthMM += other.LengthMM
			}
		}
		return b.took(m)
	}
}

// places are the words of a place that is clear: which one they name, or nothing.
var places = map[string]string{"edge": "edge", "corner": "edge", "middle": "middle", "centre": "middle",
	"center": "middle",
	"the":    "", "at": "", "in": "", "on": ""}

// sides are the words for the edges of a mat.
var sides = map[string]string{"left": "left", "right": "right", "top": "top", "upper": "top", "bottom": "bottom",
	"lower": "bottom",
	"front": "front", "back": "back"}

// placeOf gives edge or middle where the words say no more than that, and which edge.
func placeOf(where string) (place string, at []string) {
	for _, word := range strings.FieldsFunc(strings.ToLower(where), func(r rune) bool { return !unicode.IsLetter(r) }) {
		if side, ok := sides[word]; ok {
			at = append(at, side)
			continue
		}
		is, clear := places[word]
		if !clear || is != "" && place != "" {
			return "", nil
		}
		place = cmp.Or(is, place)
	}
	return place, at
}

// decideTrim says which cuts still count after a trim that is said to have
// removed them.
func decideTrim(c Condition, b *Trim) []Finding {
	if !b.RemovesCuts {
		return nil
	}
	var left []string
	took := b.tookOf(c.CutList)
	for _, m := range c.CutList {
		if !took(m) {
			left = append(left, strings.TrimSpace(trimZeros(m.LengthMM)+" mm "+m.Where))
		}
	}
	if len(left) == 0 {
		return nil
	}
	shown := left[:min(len(left), 5)]
	more := ""
	if n := len(left) - len(shown); n > 0 {
		more = fmt.Sprintf(" and %d more", n)
	}
	return []Finding{{Rule: "trim-cuts", Severity: Care, Source: "the sizes before and after the trim",
		Text: fmt.Sprintf("what was cut off, from %s x %s mm, need not have held %s (%s%s): %s until an inspection "+
			"after the trim finds no cuts",
			trimZeros(b.FromLengthMM), trimZeros(b.FromWidthMM), plural(len(left), "cut"), strings.Join(shown, "; "), more,
			countsOn(len(left)))}}
}

func countsOn(n int) string {
	if n == 1 {
		return "it counts"
	}
	return "they count"
}

// trimmed says of cuts that a trim may have removed what clears them.
func (c Condition) trimmed(through bool) string {
	for _, m := range c.CutList {
		if m.Trimmed && (m.Through || !through) {
			return trimmedText
		}
	}
	return ""
}

const trimmedText = "; it was trimmed since: inspect it and say whether any is left"

// uncleared counts the cuts that no trim since can have removed.
func (c Condition) uncleared() int {
	n := 0
	for _, m := range c.CutList {
		if !m.Trimmed {
			n += m.count()
		}
	}
	return n
}
