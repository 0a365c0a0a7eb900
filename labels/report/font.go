package report

import "resow/labels/lettering"

// stand is what is printed for a character that the fonts lack.
const stand = '\u25a1'

// printable gives the report with a box for every character that the fonts
// lack, and counts the different ones.
func printable(r Report) (Report, int) {
	lacking := map[rune]bool{}
	one := func(s string) string {
		s, missing := lettering.Stand(s, stand)
		for _, c := range missing {
			lacking[c] = true
		}
		return s
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
