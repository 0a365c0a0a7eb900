package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// strictJSON reads one document that holds only known names, each once, and
// nothing behind it.
func strictJSON(text []byte, v any) error {
	if err := knownJSON(text, v); err != nil {
		return err
	}
	if name := repeatedName(text); name != "" {
		return fmt.Errorf("the key %q stands in it twice", name)
	}
	return nil
}

// knownJSON does not look for names that stand there twice.
func knownJSON(text []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return fmt.Errorf("it can't be read: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("something follows the record")
	}
	return nil
}

// Members hands over each member of one JSON object, in its order. It refuses a name
// that stands twice, in small or capital letters, and what follows the object. An
// error of each ends it.
func Members(text []byte, each func(name string, value json.RawMessage) error) error {
	d := json.NewDecoder(bytes.NewReader(text))
	if open, err := d.Token(); err != nil || open != json.Delim('{') {
		return errors.New("it is not a JSON object")
	}
	var names []string
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return err
		}
		name := token.(string) // the decoder lets nothing else stand before a colon
		if slices.ContainsFunc(names, func(n string) bool { return strings.EqualFold(n, name) }) {
			return fmt.Errorf("%q stands in it twice; keep one", name)
		}
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return err
		}
		if err := each(name, value); err != nil {
			return err
		}
		names = append(names, name)
	}
	if _, err := d.Token(); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("something follows the object")
	}
	return nil
}

// repeatedName gives a name that an object of a valid document has twice, in
// small or capital letters: which of the two counts would differ from reader to
// reader.
func repeatedName(text []byte) string {
	var open [][]string // the names so far of each object that is open; nil for a list
	for i := 0; i < len(text); i++ {
		switch text[i] {
		case '{':
			open = append(open, []string{})
		case '[':
			open = append(open, nil)
		case '}', ']':
			open = open[:len(open)-1]
		case '"':
			end := i + 1
			for text[end] != '"' {
				if text[end] == '\\' {
					end++
				}
				end++
			}
			quoted := text[i : end+1]
			i = end
			after := bytes.TrimLeft(text[end+1:], " \t\r\n")
			if len(open) == 0 || open[len(open)-1] == nil || len(after) == 0 || after[0] != ':' {
				continue // a value
			}
			name := string(quoted[1 : len(quoted)-1])
			if bytes.IndexByte(quoted, '\\') >= 0 {
				_ = json.Unmarshal(quoted, &name) // it was read once already
			}
			last := &open[len(open)-1]
			for _, n := range *last {
				if strings.EqualFold(n, name) {
					return name
				}
			}
			*last = append(*last, name)
		}
	}
	return ""
}
