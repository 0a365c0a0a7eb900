package medium

import (
	"strings"
	"unicode"
)

// FoldName brings a name that a person gave (of a product, a crop, a printer, a
// person's initials) to one spelling: without space around it, and with letters
// that differ only in case made one.
func FoldName(name string) string {
	return strings.Map(func(r rune) rune {
		least := r
		for other := unicode.SimpleFold(r); other != r; other = unicode.SimpleFold(other) {
			least = min(least, other)
		}
		return least
	}, strings.TrimSpace(name))
}

// SameName says that two names differ in case and in space around them at most.
func SameName(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }

// FoldLot brings the name of a lot, a roll or a mark to one spelling: its letters small,
// one space where there are several, and none at its ends.
func FoldLot(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), " ")) }
