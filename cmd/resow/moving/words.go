package moving

import (
	_ "embed"
	"slices"
	"strings"
	"sync"
	"time"

	"resow/medium"
)

//go:embed words.txt
var wordsText string

// meaning is what we call a thing, and the words that people use for it.
type meaning struct {
	word  string
	other []string
}

func (m meaning) is(word string) bool { return m.word == word || slices.Contains(m.other, word) }

// begins says whether one of the words begins so.
func (m meaning) begins(with string) bool {
	return strings.HasPrefix(m.word, with) ||
		slices.ContainsFunc(m.other, func(word string) bool { return strings.HasPrefix(word, with) })
}

// spoken are the meanings of words.txt by its parts, in their order.
var spoken = sync.OnceValue(func() map[string][]meaning {
	parts := map[string][]meaning{}
	part := ""
	for line := range strings.Lines(wordsText) {
		if name, ok := strings.CutPrefix(line, "## "); ok {
			part = strings.TrimSpace(name)
			continue
		}
		word, others, ok := strings.Cut(line, " =")
		if !ok {
			continue
		}
		m := meaning{word: word}
		for other := range strings.SplitSeq(others, ",") {
			if other = strings.TrimSpace(other); other != "" {
				m.other = append(m.other, other)
			}
		}
		parts[part] = append(parts[part], m)
	}
	return parts
})

// called gives what we call a thing of a part of words.txt that somebody names; empty
// where nobody does.
func called(part, word string) string {
	for _, m := range spoken()[part] {
		if m.is(word) {
			return m.word
		}
	}
	return ""
}

// kindCalled is the kind of step that somebody names by another word, or by what it is
// to do it; empty where nobody does.
func kindCalled(word string) medium.Kind {
	for _, row := range medium.StepKinds() {
		if word != "" && (word == row.Doing || word == row.Done) {
			return row.Kind
		}
	}
	return medium.Kind(called("kinds", word))
}

// Marks in cells: where there is nothing to say, and where it is as above.
const (
	nothing = "(nothing)"
	ditto   = "(as above)"
)

func isMark(cell, mark string) bool { return called("marks in cells", cell) == mark }

// field is one thing that a column can mean.
type field struct {
	meaning
	of medium.Measure
}

// matMeasures are the measures of a mat's columns; the others are text, or fields of
// steps.
var matMeasures = map[string]medium.Measure{"length": length, "width": length, "aperture": length, "thread": length,
	"layers": number, "cost": number, "weight": mass}

// fields are all that a column can mean: those that words.txt has, and behind them the
// fields of steps that have no other word than their names.
var fields = sync.OnceValue(func() (all []field) {
	measures := map[string]medium.Measure{}
	columns := slices.Clone(spoken()["columns"])
	for _, row := range medium.StepKinds() {
		for _, f := range row.Asked() {
			name := columnName(row.Kind, f)
			measures[name] = columnMeasure(f.Of)
			if !slices.ContainsFunc(columns, func(m meaning) bool { return m.word == name }) {
				columns = append(columns, meaning{word: name})
			}
		}
	}
	for _, m := range columns {
		of, ok := matMeasures[m.word]
		if !ok {
			of = columnMeasure(measures[m.word])
		}
		all = append(all, field{m, of})
	}
	return all
})

// columnMeasure is how the cells of a measure are read: what has units as such, and
// else as text.
func columnMeasure(m medium.Measure) medium.Measure {
	switch m {
	case medium.OfCount:
		return number
	case mass, volume, length, span, temperature, percent, strength, number, yesNo:
		return m
	}
	return text
}

// monthNamed gives the month of a name or of its beginning of three letters and
// more, 0 where it is none or more than one.
func monthNamed(word string) (found time.Month) {
	word = strings.TrimSuffix(strings.ToLower(word), ".")
	if len(word) < 3 {
		return 0
	}
	for i, m := range spoken()["months"] {
		if !m.begins(word) {
			continue
		}
		if found != 0 {
			return 0
		}
		found = time.Month(i + 1)
	}
	return found
}

func fieldNamed(name string) (field, bool) {
	p := plain(name)
	for _, is := range []func(field) bool{func(f field) bool { return f.word == p },
		func(f field) bool { return f.is(p) }} {
		if i := slices.IndexFunc(fields(), is); i >= 0 {
			return fields()[i], true
		}
	}
	return field{}, false
}

// FieldNames lists what --map can name.
func FieldNames() []string {
	names := make([]string, len(fields()))
	for i, f := range fields() {
		names[i] = f.word
	}
	return names
}
