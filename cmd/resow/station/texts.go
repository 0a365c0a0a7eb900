package station

import (
	_ "embed"
	"fmt"
	"strings"
)

//go:embed words/english.txt
var englishWords string

var english = readTexts(englishWords)

// texts are all words of the pages in one language, by their keys.
type texts map[string]string

// readTexts reads a file of words: a key, an equals sign and the text on each line;
// # begins a comment.
func readTexts(words string) texts {
	t := texts{}
	for line := range strings.Lines(words) {
		if key, text, ok := strings.Cut(line, "="); ok && line[0] != '#' {
			t[strings.TrimSpace(key)] = strings.TrimSpace(text)
		}
	}
	return t
}

// get gives a text; a missing one shows its key, so that it is noticed.
func (t texts) get(key string, args ...any) string {
	text, ok := t[key]
	if !ok {
		return "[" + key + "]"
	}
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}
