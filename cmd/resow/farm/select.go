package farm

import (
	"cmp"
	"errors"
	"slices"
	"strings"

	"resow/cmd/resow/amount"
	"resow/medium"
)

// Selectors are words that stand where codes stand, and name mats by what they have in
// common: these two, and the keys of selectorKeys with a value, as in lot:R-12.
const (
	SelectDue   = "due"   // those that need the step by now
	SelectAgain = "again" // those of the person's last act
)

type matches func(medium.Condition) bool

// selectorKeys make of a value what says whether a mat has it.
var selectorKeys = map[string]func(value string) (matches, error){
	"lot":      named(func(c medium.Condition) []string { return []string{c.Lot} }),
	"seed-lot": named(func(c medium.Condition) []string { return c.SeedLots() }),
	"place":    named(func(c medium.Condition) []string { return []string{c.Place} }),
	"material": named(func(c medium.Condition) []string { return []string{c.Mat.Material} }),
	"crop":     named(cropsOn),
	"stage":    inStage,
	"size":     ofSize,
}

func named(of func(medium.Condition) []string) func(string) (matches, error) {
	return func(value string) (matches, error) {
		return func(c medium.Condition) bool {
			return slices.ContainsFunc(of(c), func(name string) bool { return medium.SameName(name, value) })
		}, nil
	}
}

// cropsOn are the crops that grow on a mat, also where it is on hold.
func cropsOn(c medium.Condition) (names []string) {
	if c.Stage != medium.Growing && (c.Stage != medium.OnHold || c.HeldIn != medium.Growing) {
		return nil
	}
	for _, s := range c.Crops {
		names = append(names, s.Crop)
	}
	return names
}

func inStage(value string) (matches, error) {
	stage := medium.Stage(value)
	if !slices.Contains(medium.Stages, stage) {
		return nil, &medium.InputError{Field: "stage", Value: value, Want: Stages()}
	}
	return func(c medium.Condition) bool { return c.Stage == stage }, nil
}

// Stages lists the stages for a message.
func Stages() string {
	names := make([]string, len(medium.Stages))
	for i, s := range medium.Stages {
		names[i] = string(s)
	}
	return strings.Join(names, ", ")
}

func ofSize(value string) (matches, error) {
	length, width, err := amount.Size("size", value)
	return func(c medium.Condition) bool { return c.Mat.LengthMM == length && c.Mat.WidthMM == width }, err
}

// IsSelector says whether a word where a code could stand is a selector.
func IsSelector(word string) bool {
	key, _, ok := strings.Cut(word, ":")
	return word == SelectDue || word == SelectAgain || ok && selectorKeys[key] != nil
}

// SelectorNames are the words that begin a selector, for messages and completion.
func SelectorNames() []string {
	names := []string{}
	for key := range selectorKeys {
		names = append(names, key+":")
	}
	slices.Sort(names)
	return append([]string{SelectDue, SelectAgain}, names...)
}

// NoneError says that no mat is named by some selectors, for what was to be done.
type NoneError struct {
	Words []string
	Step  medium.Kind
}

func (e *NoneError) Error() string {
	others := slices.DeleteFunc(slices.Clone(e.Words), func(w string) bool { return w == SelectDue })
	text := "no mat is named by " + strings.Join(others, " and ")
	if row, ok := medium.KindNamed(e.Step); ok && len(others) < len(e.Words) {
		text = "no mat needs " + cmp.Or(row.Doing, string(e.Step)) + " by now"
		if len(others) > 0 {
			text += ", of those that are named by " + strings.Join(others, " and ")
		}
	}
	return text
}

// Select gives the mats that all of some selectors name: in the order of the due list
// or of the last act where one of them asks for that, and else of their codes. step is
// what is to be done to them, and by who does it. Retired mats are named by their
// stage alone.
func (f *Farm) Select(words []string, step medium.Kind, by string) ([]medium.Code, error) {
	var tests []matches
	lists := [][]medium.Code{}
	retired := false
	for _, word := range words {
		key, value, _ := strings.Cut(word, ":")
		retired = retired || key == "stage"
		switch word {
		case SelectDue, SelectAgain:
			list, err := f.listed(word, step, by)
			if err != nil {
				return nil, err
			}
			lists = append(lists, list)
			continue
		}
		if value = strings.TrimSpace(value); value == "" {
			return nil, &medium.InputError{Field: "selector", Value: word, Want: "something behind the colon"}
		}
		test, err := selectorKeys[key](value)
		if err != nil {
			return nil, err
		}
		tests = append(tests, test)
	}
	if !retired {
		tests = append(tests, func(c medium.Condition) bool { return c.Stage != medium.Retired })
	}
	codes, err := f.sift(lists, tests)
	if err == nil && len(codes) == 0 {
		err = &NoneError{words, step}
	}
	return codes, err
}

// listed are the mats of one of the two selectors that make a list of their own.
func (f *Farm) listed(word string, step medium.Kind, by string) ([]medium.Code, error) {
	if word == SelectDue {
		return f.dueFor(step)
	}
	acts, err := f.Acts(by, 1)
	if err != nil || len(acts) == 0 {
		return nil, err
	}
	return acts[0].Codes, nil
}

// sift keeps the mats of all the lists, or of the farm where there is none, that pass
// all the tests.
func (f *Farm) sift(lists [][]medium.Code, tests []matches) (kept []medium.Code, err error) {
	keep := func(c medium.Condition) {
		for _, test := range tests {
			if !test(c) {
				return
			}
		}
		kept = append(kept, c.Code)
	}
	if len(lists) == 0 {
		for c := range f.EachMat(&err) {
			keep(c)
		}
		return kept, err
	}
	for _, code := range lists[0] {
		if !slices.ContainsFunc(lists[1:], func(l []medium.Code) bool { return !slices.Contains(l, code) }) {
			c, broken := f.Condition(code)
			if err = errors.Join(err, broken); broken == nil {
				keep(c)
			}
		}
	}
	return kept, err
}

// dueFor gives the mats that need a step by now, in the order of the due list.
func (f *Farm) dueFor(step medium.Kind) ([]medium.Code, error) {
	now := f.Now()
	work, err := f.Due(now, 0)
	if err != nil {
		return nil, err
	}
	codes := []medium.Code{}
	for _, round := range medium.Rounds(work, now) {
		if round.Step == step {
			codes = append(codes, round.Codes...)
		}
	}
	return codes, nil
}
