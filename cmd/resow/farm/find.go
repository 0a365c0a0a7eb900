package farm

import (
	"errors"
	"fmt"
	"strings"

	"resow/labels"
	"resow/medium"
	"resow/medium/trace"
	"resow/store"
)

// CodeError says that a typed or scanned text names no mat of this farm.
type CodeError struct {
	Input string
	Near  []string
	Err   error // what labels found wrong with it, nil for a valid code that is not registered
}

func (e *CodeError) Error() string {
	text := fmt.Sprintf("%q is not a mat of this farm", e.Input)
	if e.Err != nil {
		text = e.Err.Error()
	}
	if len(e.Near) > 0 {
		return text + "; did you mean " + strings.Join(e.Near, ", ") + "?"
	}
	if e.Err == nil {
		return text + "; a mat whose code is not on file is set apart until it is known, never given a new history"
	}
	return text
}

func (e *CodeError) Unwrap() error { return e.Err }

// Find gives the mat that a scanned or typed text names: a code in any form,
// an old code of a relabelled mat, or a mark as mark:TEXT.
func (f *Farm) Find(text string) (medium.Code, error) {
	if mark, ok := strings.CutPrefix(text, "mark:"); ok {
		return f.ByMark(mark)
	}
	code, err := labels.Read(text)
	if err == nil {
		mat, found := f.Resolve(medium.Code(code))
		if found == nil {
			return mat, nil
		}
		if !IsUnknownMat(found) {
			return "", found
		}
	}
	if err == nil {
		if other := f.Other(medium.Code(code)); other != "" {
			return "", &CodeError{Input: text, Err: errors.New(other)}
		}
	}
	near := labels.Near(text, func(code string) bool {
		_, err := f.Resolve(medium.Code(code))
		return err == nil
	})
	for i, n := range near {
		near[i] = medium.Code(n).String()
	}
	return "", &CodeError{Input: text, Near: near, Err: err}
}

// Other says what the code of a bottle or a card belongs to; empty for a mat's.
func (f *Farm) Other(code medium.Code) string {
	switch code[0] {
	case labels.Bottle:
		b, ok := f.Bottle(code)
		for _, gone := range f.Discarded {
			if !ok && gone.Solution.Code == code {
				b = gone
			}
		}
		if b.Solution.Code == "" {
			return fmt.Sprintf("%s is the code of a bottle, not of a mat, and no solution on file has it", code)
		}
		s := b.Solution
		text := fmt.Sprintf("%s is not a mat: it is the solution of %s, mixed %s, good until %s", code, s.Product,
			f.Stamp(b.MadeAt), f.Stamp(s.GoodUntil))
		if !b.DiscardedAt.IsZero() {
			return text + ", and was discarded " + f.Stamp(b.DiscardedAt)
		}
		return text + "; it is named with the sanitizing of the mats"
	case labels.Card:
		c, ok := f.Card(code)
		if !ok {
			return fmt.Sprintf("%s is the code of a card, not of a mat, and no card in force has it", code)
		}
		return fmt.Sprintf("%s is not a mat: it is the card %s; it is scanned at the wash station", code, CardWord(c))
	}
	return ""
}

// Mat gives the condition of the mat that a scanned or typed text names.
func (f *Farm) Mat(text string) (medium.Condition, error) {
	code, err := f.Find(text)
	if err != nil {
		return medium.Condition{}, err
	}
	return f.Condition(code)
}

// CodesError says of several texts that they name no mat.
type CodesError struct{ Errs []error }

// codesShown is how many of them it says more about.
const codesShown = 5

func (e *CodesError) Error() string {
	texts := make([]string, min(len(e.Errs), codesShown))
	for i := range texts {
		texts[i] = e.Errs[i].Error()
	}
	if more := len(e.Errs) - codesShown; more > 0 {
		texts = append(texts, fmt.Sprintf("and %d more", more))
	}
	return fmt.Sprintf("%d of the codes name no mat: %s", len(e.Errs), strings.Join(texts, "; "))
}

func (e *CodesError) Unwrap() []error { return e.Errs }

// FindAll gives the mats that texts name, each once, in their order, and those that
// were named more than once. With an error it gives those that name a mat.
func (f *Farm) FindAll(texts []string) (codes []medium.Code, twice []string, err error) {
	var bad []error
	seen := map[medium.Code]int{}
	for _, text := range texts {
		code, err := f.Find(text)
		if err != nil {
			bad = append(bad, err)
			continue
		}
		switch seen[code]++; seen[code] {
		case 1:
			codes = append(codes, code)
		case 2:
			twice = append(twice, code.String())
		}
	}
	switch len(bad) {
	case 0:
		return codes, twice, nil
	case 1:
		return codes, twice, bad[0]
	}
	return codes, twice, &CodesError{bad}
}

// CodesIn parts a text into the codes and marks that it names. A code is printed with a
// space in the middle, and a mark, which has its line to itself, may have some.
func CodesIn(text string) (codes []string) {
	for _, line := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune("\n\r\t,", r) }) {
		if line = strings.TrimSpace(line); strings.HasPrefix(line, "mark:") {
			codes = append(codes, line)
			continue
		}
		words := strings.Fields(line)
		for i := 0; i < len(words); i++ {
			if i+1 < len(words) && len(words[i]) == 4 && isCode(words[i]+words[i+1]) {
				words[i+1] = words[i] + words[i+1]
				continue
			}
			codes = append(codes, words[i])
		}
	}
	return codes
}

func isCode(text string) bool {
	_, err := labels.Parse(text)
	return err == nil
}

func IsUnknownMat(err error) bool {
	var unknown *store.UnknownMatError
	return errors.As(err, &unknown)
}

// TraceName brings a typed code to the form in which it is on file.
func (f *Farm) TraceName(from, name string) string {
	switch from {
	case trace.FromMat:
		if code, err := f.Find(name); err == nil {
			return string(code)
		}
	case trace.FromSolution:
		return strings.ToUpper(strings.ReplaceAll(name, " ", ""))
	}
	return name
}
