package store

import (
	"bytes"
	"encoding/json"
	"strings"
)

// repeatedKey gives a key that stands twice in one object of a text that is JSON,
// nothing where none does: readers differ on which of the two counts, and so the
// same line would say two things. Case does not tell keys apart, since
// encoding/json goes by that too.
func repeatedKey(text []byte) string {
	var objects [][]string // the keys of each that is open; nil: a list
	for i := 0; i < len(text); i++ {
		switch text[i] {
		case '{':
			objects = append(objects, []string{})
		case '[':
			objects = append(objects, nil)
		case '}', ']':
			objects = objects[:len(objects)-1]
		case '"':
			end := i + 1
			for ; text[end] != '"'; end++ {
				if text[end] == '\\' {
					end++
				}
			}
			quoted := text[i : end+1]
			i = end
			if !bytes.HasPrefix(bytes.TrimLeft(text[end+1:], " \t\r\n"), []byte{':'}) {
				continue
			}
			keys := &objects[len(objects)-1]
			key := unquoted(quoted)
			for _, k := range *keys {
				if strings.EqualFold(k, key) {
					return key
				}
			}
			*keys = append(*keys, key)
		}
	}
	return ""
}

func unquoted(quoted []byte) string {
	if bytes.IndexByte(quoted, '\\') < 0 {
		return string(quoted[1 : len(quoted)-1])
	}
	var text string
	_ = json.Unmarshal(quoted, &text) // it was read before
	return text
}
