package lettering

import (
	"strings"
	"unicode"
)

// arabicForms gives the first of a letter's presentation forms in the Unicode
// block Arabic Presentation Forms-B, and how many it has: isolated and final,
// or isolated, final, initial and medial.
var arabicForms = func() map[rune]struct{ first, count rune } {
	forms := map[rune]struct{ first, count rune }{}
	next := rune(0xfe80)
	add := func(letter, count rune) {
		forms[letter] = struct{ first, count rune }{next, count}
		next += count
	}
	counts := "12222424244444222244444444" // from U+0621 to U+063A
	for i, n := range counts {
		add(0x621+rune(i), n-'0')
	}
	for i, n := range "4444444224" { // from U+0641 to U+064A
		add(0x641+rune(i), n-'0')
	}
	return forms
}()

// Join gives Arabic letters their joined forms. It comes before a line is
// measured; other letters stay as they are.
func Join(s string) string {
	if !strings.ContainsFunc(s, func(r rune) bool { return unicode.Is(unicode.Arabic, r) }) {
		return s
	}
	letters := []rune(s)
	var out []rune
	for i := 0; i < len(letters); i++ {
		r := letters[i]
		form, ok := arabicForms[r]
		if !ok {
			out = append(out, r)
			continue
		}
		before := i > 0 && joinsOnward(neighbour(letters, i, -1))
		if alef := lamAlef(letters, i); alef != 0 {
			i++
			if before {
				alef++
			}
			out = append(out, alef)
			continue
		}
		_, after := arabicForms[neighbour(letters, i, 1)]
		after = after && form.count == 4
		switch {
		case before && after:
			out = append(out, form.first+3)
		case after:
			out = append(out, form.first+2)
		case before && form.count > 1:
			out = append(out, form.first+1)
		default:
			out = append(out, form.first)
		}
	}
	return string(out)
}

// neighbour is the next letter in a direction, past vowel marks.
func neighbour(letters []rune, i, step int) rune {
	for i += step; i >= 0 && i < len(letters); i += step {
		if !unicode.Is(unicode.Mn, letters[i]) {
			return letters[i]
		}
	}
	return 0
}

func joinsOnward(r rune) bool { return arabicForms[r].count == 4 || r == 'ـ' }

// lamAlef is the isolated form of the ligature that starts at i, or 0.
func lamAlef(letters []rune, i int) rune {
	if letters[i] != 'ل' || i+1 == len(letters) {
		return 0
	}
	return map[rune]rune{'آ': 0xfef5, 'أ': 0xfef7, 'إ': 0xfef9, 'ا': 0xfefb}[letters[i+1]]
}
