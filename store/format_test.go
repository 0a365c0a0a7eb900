package store

import (
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// FORMAT.md lists every field that is stored: -update-derived writes the list anew.
func TestFormatListsEveryField(t *testing.T) {
	var list fieldList
	list.of("identity", reflect.TypeFor[identity]())
	list.of("ledger", reflect.TypeFor[ledger]())
	list.of("rest", reflect.TypeFor[frame]())
	for _, k := range slices.Concat(medium.Kinds(), medium.FarmKinds()) {
		list.of(string(k), reflect.TypeOf(medium.NewBody(k)).Elem())
	}
	list.of("mat entry", reflect.TypeFor[entry]())
	list.of("farm entry", reflect.TypeFor[farmEntry]())
	list.of("work", reflect.TypeFor[medium.Work]())
	page, err := os.ReadFile("FORMAT.md")
	require.NoError(t, err)
	words, fields, _ := strings.Cut(string(page), "- `identity`:")
	if *updateDerived {
		require.NoError(t, os.WriteFile("FORMAT.md", []byte(words+list.text.String()), 0o644))
		return
	}
	require.Equal(t, list.text.String(), "- `identity`:"+fields)
}

// fieldList writes structs, each once, and after each those that it holds.
type fieldList struct {
	text strings.Builder
	told map[string]bool
}

func (l *fieldList) of(name string, t reflect.Type) {
	if l.told == nil {
		l.told = map[string]bool{}
	}
	if l.told[name] {
		return
	}
	l.told[name] = true
	line := "- `" + name + "`:"
	var held []reflect.StructField
	for i := range t.NumField() {
		f := t.Field(i)
		key, _, _ := strings.Cut(f.Tag.Get("cbor"), ",")
		if key == "" || key == "-" {
			continue
		}
		said, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if said == "" || said == "-" {
			said = strings.ReplaceAll(spaced(f.Name), " ", "_")
		}
		text := fmt.Sprintf(" %s %s %s,", key, said, l.typeOf(f.Type))
		if len(line)-strings.LastIndex(line, "\n")+len(text) > 92 {
			line += "\n "
		}
		line += text
		held = append(held, f)
	}
	l.text.WriteString(strings.TrimSuffix(line, ",") + "\n")
	for _, f := range held {
		t := f.Type
		for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
			t = t.Elem()
		}
		if t.Kind() == reflect.Struct && t != reflect.TypeFor[time.Time]() {
			l.of(structName(t), t)
		}
	}
}

// structName is a struct's name; one that is also a kind's is the same struct.
func structName(t reflect.Type) string {
	if body, ok := reflect.New(t).Interface().(medium.Body); ok {
		return string(medium.KindOf(body))
	}
	name := spaced(t.Name())
	if medium.NewBody(medium.Kind(name)) != nil { // what is kept of them, not one record
		return "kept " + name
	}
	return name
}

// spaced writes a name of Go in small letters, with spaces between its words.
func spaced(name string) string {
	var b strings.Builder
	for i, r := range name {
		capital := r >= 'A' && r <= 'Z'
		if before := i > 0 && name[i-1] >= 'a' && name[i-1] <= 'z'; capital && before {
			b.WriteByte(' ')
		}
		b.WriteString(strings.ToLower(string(r)))
	}
	return b.String()
}

func (l *fieldList) typeOf(t reflect.Type) string {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return "time"
	case t == reflect.TypeFor[[]byte]():
		return "bytes"
	case t.Kind() == reflect.Pointer:
		return l.typeOf(t.Elem()) + "?"
	case t.Kind() == reflect.Slice:
		return "list of " + l.typeOf(t.Elem())
	case t == reflect.TypeFor[medium.Body]():
		return "`body`"
	case t.Kind() == reflect.Struct:
		return "`" + structName(t) + "`"
	}
	return map[reflect.Kind]string{reflect.String: "text", reflect.Bool: "bool", reflect.Int: "int", reflect.Int64: "int", reflect.Uint64: "uint", reflect.Float64: "float"}[t.Kind()]
}
