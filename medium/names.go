package medium

import "strings"

// Names keeps one copy of each text. A text of a step is a part of all the texts
// of its record, so that whoever keeps one of a hundred thousand steps keeps them
// all; whoever keeps the copy does not.
type Names map[string]string

// Kept gives the copy of a text.
func (n Names) Kept(text string) string {
	if old, ok := n[text]; ok {
		return old
	}
	text = strings.Clone(text)
	n[text] = text
	return text
}
