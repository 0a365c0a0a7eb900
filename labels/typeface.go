package labels

import (
	"encoding/binary"
	"strings"
	"sync"
	"unicode"

	"github.com/jung-kurt/gofpdf"

	"resow/labels/lettering"
)

const (
	family = "sans"

	// Metrics of DejaVu Sans in em, from its hhea and OS/2 tables.
	ascent    = 0.928
	lineEm    = 1.164
	capHeight = 0.729
)

// typeface knows which characters a font has and how wide they are, which is
// all that a layout needs. Reading a font takes a moment, so it is done when
// the first text is measured.
type typeface struct {
	glyphs   func(r rune) int // 0: the font lacks the character
	advances []byte           // hmtx table
	last     int              // last glyph with an advance of its own
	em       float64
}

var (
	bold = sync.OnceValue(func() *typeface { return readTypeface(lettering.Bold) })
	book = sync.OnceValue(func() *typeface { return readTypeface(lettering.Book) })
)

func face(isBold bool) *typeface {
	if isBold {
		return bold()
	}
	return book()
}

// readTypeface reads an embedded font. A broken one is a fault of the build,
// and a test catches it, hence no error.
func readTypeface(file string) *typeface {
	data := lettering.File(file)
	tables := map[string][]byte{}
	for i := range int(binary.BigEndian.Uint16(data[4:])) {
		entry := data[12+16*i:]
		from, size := binary.BigEndian.Uint32(entry[8:]), binary.BigEndian.Uint32(entry[12:])
		tables[string(entry[:4])] = data[from : from+size]
	}
	return &typeface{
		glyphs:   readCharacterMap(tables["cmap"]),
		advances: tables["hmtx"],
		last:     int(binary.BigEndian.Uint16(tables["hhea"][34:])) - 1,
		em:       float64(binary.BigEndian.Uint16(tables["head"][18:])),
	}
}

// readCharacterMap finds the format 4 subtable (Unicode up to U+FFFF), which
// is also as far as the PDF writer reaches. OpenType specification, "cmap".
func readCharacterMap(cmap []byte) func(rune) int {
	u16 := func(b []byte, at int) int { return int(binary.BigEndian.Uint16(b[at:])) }
	var sub []byte
	for i := range u16(cmap, 2) {
		from := binary.BigEndian.Uint32(cmap[4+8*i+4:])
		if u16(cmap, int(from)) == 4 {
			sub = cmap[from:]
		}
	}
	segments := u16(sub, 6) / 2
	ends, starts := 14, 16+2*segments
	deltas, offsets := starts+2*segments, starts+4*segments
	return func(r rune) int {
		if r > 0xffff {
			return 0
		}
		for i := range segments {
			if int(r) > u16(sub, ends+2*i) {
				continue
			}
			start := u16(sub, starts+2*i)
			if int(r) < start {
				return 0
			}
			offset := u16(sub, offsets+2*i)
			if offset == 0 {
				return (int(r) + u16(sub, deltas+2*i)) & 0xffff
			}
			glyph := u16(sub, offsets+2*i+offset+2*(int(r)-start))
			if glyph == 0 {
				return 0
			}
			return (glyph + u16(sub, deltas+2*i)) & 0xffff
		}
		return 0
	}
}

// width is the length of s in em.
func (t *typeface) width(s string) float64 {
	total := 0
	for _, r := range s {
		g := min(t.glyphs(r), t.last)
		total += int(binary.BigEndian.Uint16(t.advances[4*g:]))
	}
	return float64(total) / t.em
}

// missing lists the characters of s that the font lacks.
func (t *typeface) missing(s string) []rune {
	var out []rune
	for _, r := range s {
		if t.glyphs(r) == 0 {
			out = append(out, r)
		}
	}
	return out
}

func registerFonts(pdf *gofpdf.Fpdf) error {
	for _, f := range []struct{ style, file string }{{"", lettering.Book}, {"B", lettering.Bold}} {
		pdf.AddUTF8FontFromBytes(family, f.style, lettering.File(f.file))
	}
	return pdf.Error()
}

// fitted is a text broken into lines at one size.
type fitted struct {
	lines  []string
	points float64
	cut    bool // some text was left out
}

func mm(points float64) float64 { return points / pointsPerMM }

func (f fitted) height() float64 { return float64(len(f.lines)) * mm(f.points) * lineEm }

// fit sets text into w x h mm: as large as it goes on one line down to six
// tenths of most points, then on more lines, then smaller, and at least
// points it cuts the text with an ellipsis. It gives no lines when not even
// one line of the smallest size fits.
func fit(t *typeface, text string, w, h, most, least float64) fitted {
	rows := func(points float64) int { return int(h/(mm(points)*lineEm) + 1e-6) }
	text = strings.Join(strings.Fields(text), " ")
	if text == "" || rows(least) < 1 || w <= 0 {
		return fitted{cut: text != ""}
	}
	for points := most; points >= max(least, most*0.6); points -= 0.5 {
		if rows(points) >= 1 && t.width(text)*mm(points) <= w {
			return fitted{[]string{text}, points, false}
		}
	}
	return flow(t, text, w, h, most, least)
}

// flow is fit for running text: it breaks into lines before it shrinks.
func flow(t *typeface, text string, w, h, most, least float64) fitted {
	rows := func(points float64) int { return int(h/(mm(points)*lineEm) + 1e-6) }
	text = strings.Join(strings.Fields(text), " ")
	if text == "" || rows(least) < 1 || w <= 0 {
		return fitted{cut: text != ""}
	}
	for points := most; points >= least; points -= 0.5 {
		if n := rows(points); n >= 1 {
			if lines, whole := wrap(t, text, w/mm(points), n); whole {
				return fitted{lines, points, false}
			}
		}
	}
	lines, whole := wrap(t, text, w/mm(least), rows(least))
	return fitted{lines, least, !whole}
}

// wrap breaks text into at most n lines of width em. What does not fit is cut
// with an ellipsis, and then whole is false.
func wrap(t *typeface, text string, width float64, n int) (lines []string, whole bool) {
	line := ""
	words := strings.Fields(text)
	for i, word := range words {
		joined := strings.TrimSpace(line + " " + word)
		if t.width(joined) <= width {
			line = joined
			continue
		}
		if line != "" && len(lines) < n-1 && t.width(word) <= width {
			lines = append(lines, line)
			line = word
			continue
		}
		rest := strings.TrimSpace(line + " " + strings.Join(words[i:], " "))
		return append(lines, ellipsis(t, rest, width)), false
	}
	return append(lines, line), true
}

func ellipsis(t *typeface, s string, width float64) string {
	r := []rune(s)
	for len(r) > 0 {
		last := r[len(r)-1]
		if t.width(string(r)+"…") <= width && last != ' ' && !unicode.Is(unicode.Mn, last) {
			break
		}
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}
