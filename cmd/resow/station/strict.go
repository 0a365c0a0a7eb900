package station

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// readSteps reads the one document of a request: one step of one or many mats, with
// the fields of the page's form, as text. What it does not know it refuses: a field
// that is dropped is lost to every recall, and an answer of 200 says that it is on
// record.
func readSteps(text []byte) (o order, err error) {
	if !utf8.Valid(text) {
		return o, &RequestError{"the document is not in UTF-8"}
	}
	doc, err := members("the document", text, []string{"token", "kind", "mats", "fields"})
	if err != nil {
		return o, err
	}
	for _, part := range []struct {
		name, want string
		to         any
	}{{"token", "a text", &o.token}, {"kind", "a text", &o.kind}, {"mats", "a list of codes, each a text", &o.mats}} {
		if value, ok := doc[part.name]; ok && json.Unmarshal(value, part.to) != nil {
			return o, &RequestError{part.name + ": want " + part.want}
		}
	}
	if !slices.Contains(farm.Recordable, o.kind) {
		return o, &medium.InputError{Field: "kind", Value: string(o.kind), Want: "a step that the pages have"}
	}
	if !tokenForm().MatchString(o.token) {
		return o, &RequestError{fmt.Sprintf("token %.70q: want 16 to 64 letters, digits, - and _, made anew for each step",
			o.token)}
	}
	if o.form, err = readFields(o.kind, doc["fields"]); err != nil {
		return o, err
	}
	return o, saysAll(o)
}

// readFields reads what is said of a step; nothing where the document has no fields.
func readFields(k medium.Kind, text []byte) (url.Values, error) {
	form := url.Values{}
	if text == nil {
		return form, nil
	}
	fields, err := members("a step of "+string(k), text, fieldNames(k))
	if err != nil {
		return form, err
	}
	for name, value := range fields {
		var said string
		if json.Unmarshal(value, &said) != nil || string(value) == "null" {
			return form, &RequestError{fmt.Sprintf("%s: want a text, with its unit where it has one; got %s", name, value)}
		}
		form.Set(name, said)
	}
	row, _ := medium.KindNamed(k)
	for _, f := range row.Asked() { // a page names the unit beside the field; here nothing does
		v := strings.TrimSpace(form.Get(f.Name))
		if with := amount.Beside(v, farm.Unit(f, false)); with != v {
			return form, &medium.InputError{Field: f.Name, Value: v, Want: "its unit with it, such as " + with}
		}
	}
	return form, nil
}

// lookedFor is what an inspection says in every case.
var lookedFor = []string{"fold_snaps", "fuzz", "smell", "mold"}

// saysAll refuses a look that does not say what it saw: on the page the boxes
// that were left empty are before the person's eyes, in a document nothing is.
func saysAll(o order) error {
	if o.kind != medium.KindInspect || strings.EqualFold(o.form.Get("mold"), "yes") {
		return nil // no report of danger waits for the rest
	}
	for _, name := range lookedFor {
		if strings.TrimSpace(o.form.Get(name)) == "" {
			return &medium.InputError{Field: name, Want: "yes or no: an inspection also says what was looked for and not found"}
		}
	}
	return nil
}

// fieldNames are those of all that a step of a kind may say.
func fieldNames(k medium.Kind) (names []string) {
	row, _ := medium.KindNamed(k)
	for _, f := range row.Asked() {
		names = append(names, f.Name)
	}
	return append(names, "at", "ago_ms")
}

// members reads an object that has only known names, each once, and nothing
// behind it.
func members(what string, text []byte, known []string) (map[string]json.RawMessage, error) {
	out := map[string]json.RawMessage{}
	err := store.Members(text, func(name string, value json.RawMessage) error {
		if !slices.Contains(known, name) {
			return &RequestError{fmt.Sprintf("%s has no field %q%s It has %s",
				what, name, didYouMean(name, known), strings.Join(known, ", "))}
		}
		out[name] = value
		return nil
	})
	var unknown *RequestError
	if err != nil && !errors.As(err, &unknown) {
		err = &RequestError{"the document can't be read: " + what + ": " + err.Error()}
	}
	return out, err
}

// didYouMean ends a sentence about an unknown name with a known one that is near: in
// one of four letters, and one more.
func didYouMean(name string, known []string) string {
	best, least := "", 2+len(name)/4
	for _, k := range known {
		k = strings.TrimSuffix(k, "*")
		if n := distance(strings.ToLower(name), k); n < least {
			best, least = k, n
		}
	}
	if best == "" {
		return "."
	}
	return fmt.Sprintf("; did you mean %q?", best)
}

// distance counts the letters to change, put in or take out between two words.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		corner := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := corner
			if a[i] != b[j] {
				cost++
			}
			corner = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
