package station

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// stepsRequest asks for one step of one or many mats. Fields are those of the
// page's form, as text.
type stepsRequest struct {
	Token  string
	Kind   medium.Kind
	Mats   []string
	Fields url.Values
}

// readSteps reads the one document of a request. What it does not know it
// refuses: a field that is dropped is lost to every recall, and an answer of
// 200 says that it is on record.
func readSteps(text []byte) (stepsRequest, error) {
	var in stepsRequest
	if !utf8.Valid(text) {
		return in, &RequestError{"the document is not in UTF-8"}
	}
	doc, err := members("the document", text, []string{"token", "kind", "mats", "fields"})
	if err != nil {
		return in, err
	}
	for name, to := range map[string]any{"token": &in.Token, "kind": &in.Kind, "mats": &in.Mats} {
		if value, ok := doc[name]; ok && json.Unmarshal(value, to) != nil {
			return in, &RequestError{name + ": want " + map[string]string{"token": "a text", "kind": "a text", "mats": "a list of codes, each a text"}[name]}
		}
	}
	if !isRecordable(in.Kind) {
		return in, &medium.InputError{Field: "kind", Value: string(in.Kind), Want: "a step that the pages have"}
	}
	if !tokenForm().MatchString(in.Token) {
		return in, &RequestError{fmt.Sprintf("token %.70q: want 16 to 64 letters, digits, - and _, made afresh for each step",
			in.Token)}
	}
	known := knownFields(in.Kind)
	in.Fields = url.Values{}
	if doc["fields"] == nil {
		return in, saysAll(in)
	}
	fields, err := members("a step of "+string(in.Kind), doc["fields"], fieldNames(known))
	if err != nil {
		return in, err
	}
	for name, value := range fields {
		var text string
		if json.Unmarshal(value, &text) != nil || string(value) == "null" {
			return in, &RequestError{fmt.Sprintf("%s: want a text, with its unit where it has one; got %s", name, value)}
		}
		in.Fields.Set(name, text)
	}
	for _, f := range known { // a page names the unit beside the field; here nothing does
		if v := strings.TrimSpace(in.Fields.Get(f.Name)); f.Unit != "" && v != "" && strings.Contains("0123456789", v[len(v)-1:]) {
			return in, &medium.InputError{Field: f.Name, Value: v, Want: "its unit with it, such as " + v + f.Unit}
		}
	}
	return in, saysAll(in)
}

// lookedFor is what an inspection says in every case.
var lookedFor = []string{"fold_snaps", "fuzz", "smell", "mold"}

// saysAll refuses a look that does not say what it saw: on the page the boxes
// that were left empty are before the person's eyes, in a document nothing is.
func saysAll(in stepsRequest) error {
	if in.Kind != medium.KindInspect || strings.EqualFold(in.Fields.Get("mold"), "yes") { // no report of danger waits for the rest
		return nil
	}
	for _, name := range lookedFor {
		if strings.TrimSpace(in.Fields.Get(name)) == "" {
			return &medium.InputError{Field: name, Want: "yes or no: an inspection says what was looked for and not seen, too"}
		}
	}
	return nil
}

// knownFields are all the fields that a step of a kind may have.
func knownFields(k medium.Kind) []field {
	row, _ := medium.KindNamed(k)
	var known []field
	for _, f := range row.Asked() {
		known = append(known, field{Name: f.Name, Unit: farm.Unit(f, false)})
	}
	return append(known, field{Name: "at"}, field{Name: "ago_ms"})
}

func fieldNames(fields []field) []string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.Name
	}
	return names
}

// members reads an object that has only known names, each once, and nothing
// behind it.
func members(what string, text []byte, known []string) (map[string]json.RawMessage, error) {
	out := map[string]json.RawMessage{}
	err := store.Members(text, func(name string, value json.RawMessage) error {
		if !slices.Contains(known, name) {
			return &RequestError{fmt.Sprintf("%s has no field %q%s It has %s", what, name, didYouMean(name, known), strings.Join(known, ", "))}
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

// checkForm refuses a field that a form does not know, and one that came twice: a
// value that is dropped without a word is lost to every recall. A name that ends in *
// may come as often as it likes.
func checkForm(form url.Values, known ...string) error {
	for name, given := range form {
		if slices.Contains(known, name+"*") {
			continue
		}
		if !slices.Contains(known, name) {
			return &medium.InputError{Field: "field of the form", Value: name,
				Want: "one that it has" + didYouMean(name, known) + " Open the page again"}
		}
		if len(given) > 1 {
			return &medium.InputError{Field: name, Value: strings.Join(given, ", "), Want: "one value, not several"}
		}
	}
	return nil
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
