package report

import "golang.org/x/image/font/sfnt"

// stand is what is printed for a character that the font lacks.
const stand = '\u25a1'

// font knows which characters can be printed.
type font struct {
	file *sfnt.Font
	buf  sfnt.Buffer
	has  map[rune]bool
}

func readFont(file []byte) (*font, error) {
	f, err := sfnt.Parse(file)
	if err != nil {
		return nil, err
	}
	return &font{file: f, has: map[rune]bool{}}, nil
}

// prints says whether a character can be printed; the PDF writer goes no
// further than U+FFFF.
func (f *font) prints(r rune) bool {
	if known, ok := f.has[r]; ok {
		return known
	}
	glyph, err := f.file.GlyphIndex(&f.buf, r)
	f.has[r] = err == nil && glyph != 0 && r < 0xffff
	return f.has[r]
}

// fit gives the report with a box for every character that the font lacks, and
// counts the different ones.
func (f *font) fit(r Report) (Report, int) {
	lacking := map[rune]bool{}
	one := func(s string) string {
		out := []rune(s)
		for i, c := range out {
			if !f.prints(c) {
				lacking[c] = true
				out[i] = stand
			}
		}
		return string(out)
	}
	all := func(list []string) {
		for i := range list {
			list[i] = one(list[i])
		}
	}
	for _, s := range []*string{&r.Title, &r.Farm, &r.Place, &r.StoreID, &r.Anchor, &r.Mark} {
		*s = one(*s)
	}
	all(r.Summary)
	all(r.Cautions)
	all(r.Method)
	for i := range r.Sections {
		s := &r.Sections[i]
		s.Heading, s.Note, s.Empty = one(s.Heading), one(s.Note), one(s.Empty)
		for j := range s.Columns {
			s.Columns[j].Head = one(s.Columns[j].Head)
		}
		for _, row := range s.Rows {
			all(row)
		}
		for j := range s.Plots {
			s.Plots[j] = s.Plots[j].changed(one)
		}
		for j := range s.Layouts {
			s.Layouts[j] = s.Layouts[j].changed(one)
		}
	}
	return r, len(lacking)
}
