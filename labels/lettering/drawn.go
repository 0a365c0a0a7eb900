package lettering

import (
	"slices"
	"strings"

	"golang.org/x/text/unicode/bidi"
)

// Drawn puts a line in the order in which it is drawn, from left to right
// (Unicode Standard Annex 9, rule L2, for text without embeddings); the PDF
// writer knows no other.
func Drawn(s string) string {
	if !strings.ContainsFunc(s, rightToLeft) {
		return s
	}
	var p bidi.Paragraph
	if _, err := p.SetString(s); err != nil {
		return s
	}
	order, err := p.Order()
	if err != nil {
		return s
	}
	first := strings.IndexFunc(s, func(r rune) bool { return rightToLeft(r) || leftToRight(r) })
	turned := strings.IndexFunc(s, rightToLeft) == first
	var out, group []string // group: runs within text from right to left, which stand in reverse
	flush := func() {
		slices.Reverse(group)
		out = append(out, group...)
		group = nil
	}
	for i := range order.NumRuns() {
		run := order.Run(i)
		switch {
		case run.Direction() == bidi.RightToLeft:
			group = append(group, bidi.ReverseString(run.String()))
		case turned || (len(group) > 0 && !strings.ContainsFunc(run.String(), leftToRight)):
			group = append(group, run.String())
		default:
			flush()
			out = append(out, run.String())
		}
	}
	flush()
	return strings.Join(out, "")
}

func rightToLeft(r rune) bool {
	p, _ := bidi.LookupRune(r)
	return p.Class() == bidi.R || p.Class() == bidi.AL
}

func leftToRight(r rune) bool {
	p, _ := bidi.LookupRune(r)
	return p.Class() == bidi.L
}
