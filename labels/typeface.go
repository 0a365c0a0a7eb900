package labels

import (
	"strings"

	"resow/labels/lettering"
)

const (
	ascent    = lettering.Ascent
	lineEm    = lettering.Ascent + lettering.Descent
	capHeight = 0.729 // of DejaVu Sans, em, from its OS/2 table
)

// width is the length of a line in em, with what its ends stand out.
func width(line string, bold bool) float64 {
	left, right := lettering.Overhang(line, bold)
	return left + lettering.Width(line, bold) + right
}

// fitted is a text broken into lines at one size.
type fitted struct {
	lines  []string
	points float64
	cut    bool // some text was left out
}

func mm(points float64) float64 { return points / pointsPerMM }

func (f fitted) height() float64 { return float64(len(f.lines)) * mm(f.points) * lineEm }

// rowsIn is how many lines of a size a height holds.
func rowsIn(h, points float64) int { return int(h/(mm(points)*lineEm) + 1e-6) }

// fit sets text into w x h mm: as large as it goes on one line down to six
// tenths of most points, then on more lines, then smaller, and at least
// points it cuts the text with an ellipsis. It gives no lines when not even
// one line of the smallest size fits.
func fit(bold bool, text string, w, h, most, least float64) fitted {
	line := strings.Join(strings.Fields(text), " ")
	for points := most; line != "" && points >= max(least, most*0.6); points -= 0.5 {
		if rowsIn(h, points) >= 1 && width(line, bold)*mm(points) <= w {
			return fitted{[]string{line}, points, false}
		}
	}
	return flow(bold, text, w, h, most, least)
}

// flow is fit for running text: it breaks into lines before it shrinks.
func flow(bold bool, text string, w, h, most, least float64) fitted {
	text = strings.Join(strings.Fields(text), " ")
	if text == "" || rowsIn(h, least) < 1 || w <= 0 {
		return fitted{cut: text != ""}
	}
	words, letters := lettering.Pieces(text, false), lettering.Pieces(text, true)
	for points := most; points >= least; points -= 0.5 {
		n := rowsIn(h, points)
		if n < 1 {
			continue
		}
		if lines, whole := wrap(bold, words, w/mm(points), n); whole {
			return fitted{lines, points, false}
		}
		if points > most*leastWhole {
			continue
		}
		if lines, whole := wrap(bold, letters, w/mm(points), n); whole {
			return fitted{lines, points, false}
		}
	}
	lines, whole := wrap(bold, letters, w/mm(least), rowsIn(h, least))
	return fitted{lines, least, !whole}
}

// leastWhole is the share of the largest size down to which words of a script
// without spaces shrink before they are broken: rather broken than too small.
const leastWhole = 0.7

// wrap sets pieces of text in at most n lines of most em. What does not fit is
// cut with an ellipsis, and then whole is false.
func wrap(bold bool, pieces []string, most float64, n int) (lines []string, whole bool) {
	fits := func(s string) bool { return width(strings.TrimRight(s, " "), bold) <= most }
	line := ""
	for i, piece := range pieces {
		if fits(line + piece) {
			line += piece
			continue
		}
		if line != "" && len(lines) < n-1 && fits(piece) {
			lines = append(lines, strings.TrimRight(line, " "))
			line = piece
			continue
		}
		rest := line + strings.Join(pieces[i:], "")
		return append(lines, ellipsis(bold, rest, most)), false
	}
	return append(lines, strings.TrimRight(line, " ")), true
}

func ellipsis(bold bool, s string, most float64) string {
	letters := lettering.Letters(s)
	cut := "…"
	for n := range letters {
		head := strings.TrimRight(strings.Join(letters[:n+1], ""), " ")
		if width(head+"…", bold) > most {
			break
		}
		cut = head + "…"
	}
	return cut
}
