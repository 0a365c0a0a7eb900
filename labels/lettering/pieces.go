package lettering

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/go-text/typesetting/segmenter"
)

// Pieces splits text into what must stay together on a line, each with the
// spaces that follow it. Plain words stay whole; others break where the rules
// of their script allow it (Unicode Standard Annex 14), and with fine between
// any two characters with their marks (Annex 29). Thai, Lao, Khmer and Burmese
// set no spaces between words and would need a dictionary: only fine breaks
// them, and so with Korean, which sets spaces.
func Pieces(text string, fine bool) []string {
	var out []string
	for text != "" {
		end := strings.IndexByte(text, ' ')
		if end < 0 {
			end = len(text)
		}
		word := text[:end]
		for end < len(text) && text[end] == ' ' {
			end++
		}
		spaces := text[len(word):end]
		text = text[end:]
		parts := []string{word}
		if !Plain(word) && (fine || !strings.ContainsFunc(word, hangul)) {
			parts = split(word, fine)
		}
		parts[len(parts)-1] += spaces
		out = append(out, parts...)
	}
	return out
}

// Letters splits text where a word may be broken at the worst: between any two
// characters with their marks.
func Letters(text string) []string {
	if Plain(text) {
		return strings.Split(text, "")
	}
	return Pieces(text, true)
}

// Thai and Lao vowels that are written before their consonant, and signs that
// never stand at the beginning of a line.
const (
	leading  = "\u0e40\u0e41\u0e42\u0e43\u0e44\u0ec0\u0ec1\u0ec2\u0ec3\u0ec4"
	trailing = "\u0e2f\u0e30\u0e32\u0e33\u0e45\u0e46\u0eaf\u0eb0\u0eb2\u0eb3\u0ec6"
)

func together(before, after string) bool {
	last, _ := utf8.DecodeLastRuneInString(before)
	first, _ := utf8.DecodeRuneInString(after)
	return strings.ContainsRune(leading, last) || strings.ContainsRune(trailing, first)
}

func hangul(r rune) bool { return unicode.Is(unicode.Hangul, r) }

func split(word string, fine bool) []string {
	var s segmenter.Segmenter
	s.Init([]rune(word))
	var parts []string
	if fine {
		for it := s.GraphemeIterator(); it.Next(); {
			letter := string(it.Grapheme().Text)
			if n := len(parts); n > 0 && together(parts[n-1], letter) {
				parts[n-1] += letter
				continue
			}
			parts = append(parts, letter)
		}
	} else {
		for it := s.LineIterator(); it.Next(); {
			parts = append(parts, string(it.Line().Text))
		}
	}
	if strings.Join(parts, "") != word { // not valid UTF-8
		return []string{word}
	}
	return parts
}
