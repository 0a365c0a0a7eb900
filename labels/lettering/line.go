package lettering

import (
	"math"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"github.com/go-text/typesetting/bidi"
	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/language"
	"github.com/go-text/typesetting/shaping"
	"golang.org/x/image/math/fixed"
)

// Plain reports whether the PDF writer can set a text by itself: every
// character is in both DejaVu faces and stands on its own, from left to right.
func Plain(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return plainBeyondASCII(s[i:])
		}
	}
	return true
}

func plainBeyondASCII(s string) bool {
	if !utf8.ValidString(s) {
		return false
	}
	opened.Lock()
	defer opened.Unlock()
	for _, r := range s {
		known, ok := plain[r]
		if !ok {
			known = standsAlone(r) && inDejaVu(Book, r) && inDejaVu(Bold, r)
			plain[r] = known
		}
		if !known {
			return false
		}
	}
	return true
}

// plain remembers the characters that were looked at, under the lock of opened.
var plain = map[rune]bool{}

func standsAlone(r rune) bool {
	if r >= 0xffff || !unicode.IsPrint(r) && r != '\u00a0' || unicode.Is(unicode.M, r) { // the PDF writer goes no further
		return false
	}
	switch language.LookupScript(r) {
	case language.Latin, language.Greek, language.Cyrillic, language.Armenian, language.Georgian, language.Common:
		return true
	}
	return false
}

// inDejaVu says that a face has a character and that its ink stays in the line,
// which the second accent on a Vietnamese capital does not.
func inDejaVu(face string, r rune) bool {
	f := opened.face(face)
	g, ok := f.NominalGlyph(r)
	ink, _ := f.GlyphExtents(g)
	upem := float64(f.Upem())
	return ok && g != 0 && float64(ink.YBearing) <= Ascent*upem+1 && float64(ink.YBearing+ink.Height) >= -Descent*upem-1
}

// Missing lists the characters that no embedded font has. A printed text with
// one of them would have an empty box in its place.
func Missing(s string) []rune {
	if Plain(s) {
		return nil
	}
	var out []rune
	for _, r := range s {
		hidden := unicode.IsControl(r) || r == utf8.RuneError || turns(r) // by the shaper, some of them
		if hidden && !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	for _, r := range shaped(s, false).missing {
		if !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	return out
}

// turns says whether a character has no ink and changes what stands around it:
// marks of direction, spaces without width, tags. The joiners are letters' own.
func turns(r rune) bool {
	return r == 0xad || r == 0x61c || r >= 0x200b && r != 0x200c && r != 0x200d && unicode.Is(unicode.Cf, r)
}

// Width is the length of one line of text in em.
func Width(s string, bold bool) float64 {
	if !Plain(s) {
		return shaped(s, bold).width
	}
	total := 0.0
	for _, r := range s {
		total += measured(r, bold).advance
	}
	return total
}

// Overhang is how far the ink of a line goes beyond its width at either end, in
// em: that of a J does at the left. A shaped line has none.
func Overhang(s string, bold bool) (left, right float64) {
	if s == "" || !Plain(s) {
		return 0, 0
	}
	first, _ := utf8.DecodeRuneInString(s)
	last, _ := utf8.DecodeLastRuneInString(s)
	return max(0, -measured(first, bold).left), max(0, measured(last, bold).right)
}

// measure is a character of a DejaVu face: its advance, and its ink from the
// left end and beyond the right end of that, in em.
type measure struct{ advance, left, right float64 }

func measured(r rune, bold bool) measure {
	which := 0
	if bold {
		which = 1
	}
	if r <= unicode.MaxASCII {
		return ascii()[which][r]
	}
	return look(which, r)
}

// ascii has the measures of the most used characters in book and bold.
var ascii = sync.OnceValue(func() *[2][unicode.MaxASCII + 1]measure {
	var all [2][unicode.MaxASCII + 1]measure
	for which := range all {
		for r := range all[which] {
			all[which][r] = look(which, rune(r))
		}
	}
	return &all
})

func look(which int, r rune) measure {
	opened.Lock()
	defer opened.Unlock()
	f := opened.face([]string{Book, Bold}[which])
	g, _ := f.NominalGlyph(r)
	ink, _ := f.GlyphExtents(g)
	upem, advance := float64(f.Upem()), float64(f.HorizontalAdvance(g))
	return measure{advance / upem, float64(ink.XBearing) / upem, (float64(ink.XBearing+ink.Width) - advance) / upem}
}

// line is a shaped line, at a scale and above a base line that keep its ink in
// the line box. Lengths are em of the type size asked for.
type line struct {
	width   float64
	scale   float64 // of the glyphs
	left    float64 // of the first glyph's origin
	base    float64 // of the glyphs above the line's own base line
	glyphs  []placed
	missing []rune
}

// placed is a glyph and its origin in em, before the line's scale.
type placed struct {
	face    *font.Face
	id      font.GID
	x, y    float64
	heavier bool // the face has no bold of its own
}

// heavy is the width of the line drawn around shapes in place of a bold face,
// em: more would close the counters of Han characters.
const heavy = 0.024

// The size at which text is shaped: positions come out in thousandths of an em
// and finer.
const shapingSize = 1000

type lineKey struct {
	text string
	bold bool
}

// lines remembers what was shaped: a layout measures the same name many times.
var lines = map[lineKey]*line{}

const linesKept = 4096

func shaped(s string, bold bool) *line {
	opened.Lock()
	defer opened.Unlock()
	key := lineKey{s, bold}
	if l, ok := lines[key]; ok {
		return l
	}
	if len(lines) >= linesKept {
		clear(lines)
	}
	l := shape([]rune(s), bold)
	lines[key] = l
	return l
}

// extent is a stretch of ink or of a line, from low to high.
type extent struct{ low, high float64 }

func (e *extent) take(low, high float64) {
	e.low, e.high = math.Min(e.low, low), math.Max(e.high, high)
}

func shape(text []rune, bold bool) *line {
	l := &line{}
	across, up := extent{}, extent{}
	pen := 0.0
	for _, run := range runsInOrder(text, bold) {
		dejaVu := run.Face == opened.face(Bold) || (!bold && run.Face == opened.face(Book))
		heavier, around := bold && !dejaVu, 0.0
		if heavier {
			around = heavy / 2
		}
		for _, g := range run.Glyphs {
			if g.GlyphID == 0 {
				l.missing = append(l.missing, text[g.TextIndex()])
			}
			x, y := pen+em(g.XOffset), em(g.YOffset)
			if g.Width != 0 || g.Height != 0 {
				across.take(x+em(g.XBearing)-around, x+em(g.XBearing+g.Width)+around)
				up.take(y+em(g.YBearing+g.Height)-around, y+em(g.YBearing)+around)
				l.glyphs = append(l.glyphs, placed{run.Face, g.GlyphID, x, y, heavier})
			}
			pen += em(g.Advance)
		}
	}
	across.take(0, pen)
	l.scale = math.Min(1, (Ascent+Descent)/(up.high-up.low))
	l.left = -across.low * l.scale
	l.width = (across.high - across.low) * l.scale
	l.base = math.Min(0, Ascent-up.high*l.scale) + math.Max(0, -Descent-up.low*l.scale)
	return l
}

func em(v fixed.Int26_6) float64 { return float64(v) / 64 / shapingSize }

// runsInOrder shapes a text and gives its runs from left to right (Unicode
// Standard Annex 9, rule L2).
func runsInOrder(text []rune, bold bool) []shaping.Output {
	if len(text) == 0 {
		return nil
	}
	inputs := itemized(text, bold)
	runs := shapedRuns(inputs)
	levels := make([]bidi.Level, len(inputs))
	all := levelsOf(text)
	for i, in := range inputs {
		levels[i] = all[in.RunStart]
	}
	for at := slices.Max(levels); at >= 1; at-- {
		for from := 0; from < len(runs); from++ {
			to := from
			for to < len(runs) && levels[to] >= at {
				to++
			}
			slices.Reverse(runs[from:to])
			slices.Reverse(levels[from:to])
			from = to
		}
	}
	return runs
}

// itemized splits a text where direction, script or font change.
func itemized(text []rune, bold bool) []shaping.Input {
	var s shaping.Segmenter
	whole := shaping.Input{Text: text, RunEnd: len(text), Size: fixed.I(shapingSize)}
	return s.Split(whole, &choice{shelf: &opened, bold: bold})
}

func shapedRuns(inputs []shaping.Input) []shaping.Output {
	var shaper shaping.HarfbuzzShaper
	var out []shaping.Output
	for _, in := range inputs {
		out = append(out, shaper.Shape(in))
	}
	return out
}

func levelsOf(text []rune) []bidi.Level {
	var p bidi.Paragraph
	out := make([]bidi.Level, len(text))
	runs := p.Segment(text, bidi.LeftToRight)
	for i := range runs.NumRuns() {
		run := runs.Run(i)
		for k := run.Start; k < run.End; k++ {
			out[k] = run.Level
		}
	}
	return out
}

// Stand gives the text with a box in place of every character that is missing,
// and says which those are.
func Stand(s string, box rune) (string, []rune) {
	missing := Missing(s)
	if len(missing) == 0 {
		return s, nil
	}
	return strings.Map(func(r rune) rune {
		if slices.Contains(missing, r) {
			return box
		}
		return r
	}, s), missing
}
