package labels

import (
	_ "embed"
	"slices"
	"strings"
	"sync"
	"unicode"
)

// keyboard is a layout as the characters of the keys of a US keyboard, without
// and with Shift: see keyboards.txt. A scanner set to US sends key positions; a
// computer set to this layout types these.
type keyboard struct{ name, plain, shift string }

const unknownKey = '\ufffd'

const (
	usPlain = "`1234567890-=qwertyuiop[]asdfghjkl;'\\zxcvbnm,./"
	usShift = "~!@#$%^&*()_+QWERTYUIOP{}ASDFGHJKL:\"|ZXCVBNM<>?"
)

//go:embed keyboards.txt
var keyboardsSource string

// Layouts that only permute the letters among themselves (Dvorak, Turkish F) are
// left out: their images are letters of the alphabet again, so that a wrong
// reading could pass. They are refused and have to be set right on the scanner.
var keyboards = sync.OnceValue(func() (all []keyboard) {
	_, tables, _ := strings.Cut(keyboardsSource, "---\n")
	for three := range slices.Chunk(strings.Split(strings.TrimSpace(tables), "\n"), 3) {
		all = append(all, keyboard{three[0], three[1], three[2]})
	}
	return all
})

// inverse maps what the layout types back to what a US keyboard types. Where
// the case got lost on the way (Caps Lock), the other case serves if it is not
// a key of its own.
func (k keyboard) inverse() map[rune]rune {
	back := map[rune]rune{}
	us := []rune(usPlain + usShift)
	typed := []rune(k.plain + k.shift)
	for i, r := range typed {
		if _, taken := back[r]; !taken && r != unknownKey {
			back[r] = us[i]
		}
	}
	for i, r := range typed {
		if r == unknownKey {
			continue
		}
		for _, other := range []rune{unicode.ToUpper(r), unicode.ToLower(r)} {
			if _, taken := back[other]; !taken {
				back[other] = us[i]
			}
		}
	}
	return back
}

var inverses = sync.OnceValue(func() []map[rune]rune {
	var maps []map[rune]rune
	for _, k := range keyboards() {
		maps = append(maps, k.inverse())
	}
	return maps
})

// undo gives back what the scanner sent, and false when the layout cannot have
// typed s.
func undo(s string, back map[rune]rune) (string, bool) {
	possible := true
	out := strings.Map(func(r rune) rune {
		if r == ' ' {
			return r
		}
		us, ok := back[r]
		possible = possible && ok
		return us
	}, s)
	return out, possible
}

// parseAnyLayout tries parse on the input as it is, then on what each foreign
// layout could have made of it, and accepts those only if they agree.
func parseAnyLayout(input string, parse func(string) (string, error)) (string, error) {
	code, firstErr := parse(input)
	if firstErr == nil {
		return code, nil
	}
	trimmed := strings.TrimFunc(input, blank)
	var codes, names []string
	for i, back := range inverses() {
		sent, possible := undo(trimmed, back)
		if !possible || sent == trimmed {
			continue
		}
		code, err := parse(sent)
		if err != nil {
			continue
		}
		names = append(names, keyboards()[i].name)
		if !slices.Contains(codes, code) {
			codes = append(codes, code)
		}
	}
	if len(codes) == 1 {
		return codes[0], nil
	}
	if len(codes) > 1 {
		return "", noCode(input, ReasonLayout,
			"it gives %s on different keyboard layouts (%s); set the scanner to the computer's layout, or type the code",
			strings.Join(codes, " or "), strings.Join(names, ", "))
	}
	return "", firstErr
}
