package medium

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

// Unprintable says whether a character could move a terminal's cursor, turn the
// text after it round, or stand in it unseen, on whatever shows it: controls,
// the marks of direction (Unicode Standard Annex 9), spaces and letters without
// width, tags, and code points that are no characters. before is the character
// in front of it: the joiners belong between the letters of many scripts and
// the parts of an emoji, and have no use behind a Latin one.
func Unprintable(before, r rune) bool {
	switch {
	case r < 0x7f:
		return r < ' '
	case r == 0x200c || r == 0x200d:
		return before < 0x300
	case r >= 0x200b && r <= 0x200f, r >= 0x2028 && r <= 0x202e, r >= 0x2060 && r <= 0x206f, r >= 0xe0000 && r <= 0xe0fff,
		r >= 0xfdd0 && r <= 0xfdef, r&0xfffe == 0xfffe:
		return true
	}
	switch r {
	case 0xad, 0x61c, 0x115f, 0x1160, 0x180e, 0x3164, 0xfeff, 0xffa0:
		return true
	}
	return unicode.IsControl(r)
}

// AppendVisible appends a character as an escape: \u202e, as JSON and Go write
// it.
func AppendVisible(to []byte, r rune) []byte {
	if r > 0xffff {
		high, low := utf16.EncodeRune(r)
		return fmt.Appendf(to, `\u%04x\u%04x`, high, low)
	}
	return fmt.Appendf(to, `\u%04x`, r)
}

// Visible gives a text of one line that is harmless wherever it is shown: what
// is unprintable in it stands as an escape.
func Visible(text string) string {
	plain := strings.IndexFunc(text, func(r rune) bool { return r < ' ' || r > '~' }) < 0
	if plain {
		return text
	}
	var out []byte
	before := rune(0)
	for len(text) > 0 {
		r, size := utf8.DecodeRuneInString(text)
		switch {
		case r == utf8.RuneError && size == 1:
			out = fmt.Appendf(out, `\x%02x`, text[0])
		case Unprintable(before, r):
			out = AppendVisible(out, r)
		default:
			out = append(out, text[:size]...)
		}
		before, text = r, text[size:]
	}
	return string(out)
}
