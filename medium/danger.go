package medium

import (
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"
)

// mended is a report of danger without what can't be in it, and what that was: no
// detail is worth the report. What it must have and has not is asked for.
func mended(body Body) (Body, Finding, bool) {
	done := copyOf(body)
	var said []string
	for _, f := range byKind[body.kind()].Fields {
		v, _ := f.Value(done)
		err := f.check(done)
		if err == nil || v == "" || v == 0.0 {
			continue
		}
		said = append(said, err.Error())
		switch v := v.(type) {
		case string:
			if f.Of == OfChoice {
				f.Set(done, f.Choices[len(f.Choices)-1])
			} else {
				f.Set(done, oneLine(v))
			}
		case float64:
			switch {
			case !f.Needed:
				v = 0
			case v > f.Most: // it is there, however long
				v = f.Most
			default:
				v = f.Least
			}
			f.Set(done, v)
		case []string:
			good := slices.DeleteFunc(slices.Clone(v), func(n string) bool { return !IsPicture(n) })
			f.Set(done, good[:min(len(good), MaxPictures)])
		}
	}
	return done, Finding{Rule: "danger-detail", Severity: Care, Source: "a report of danger is never refused",
		Text: "recorded without what can't be right: " + strings.Join(said, "; ")}, len(said) > 0
}

func copyOf(b Body) Body {
	c := reflect.New(reflect.TypeOf(b).Elem())
	c.Elem().Set(reflect.ValueOf(b).Elem())
	return c.Interface().(Body)
}

// oneLine makes one short line of a text.
func oneLine(text string) string {
	line := Visible(strings.Join(strings.Fields(text), " "))
	for len(line) > maxText {
		_, last := utf8.DecodeLastRuneInString(line)
		line = line[:len(line)-last]
	}
	return line
}
