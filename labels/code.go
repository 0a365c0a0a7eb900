package labels

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
)

// Alphabet holds the 26 characters of a code after its type letter: Crockford's
// 32 (no I L O U) less A M Q W Y Z, which move on AZERTY and QWERTZ keyboards.
// I, L and O therefore never occur and can be read as 1, 1 and 0.
const Alphabet = "0123456789BCDEFGHJKNPRSTVX"

// CardAlphabet holds the letters of an action card's code. Letters only, so
// that a scanner that types through any layout but Dvorak needs no repair.
const CardAlphabet = "BCDEFGHJKNPRSTVX"

// CodeLength is the number of characters of a code: a type letter, six drawn
// at random and one check character.
const CodeLength = 8

// The type letters. The check character covers the letter, so a mat's code
// cannot pass as a bottle's.
const (
	Mat    byte = 'T'
	Bottle byte = 'B'
	Person byte = 'P'
	Card   byte = 'X'
)

var kindNames = []struct {
	letter byte
	name   string
}{{Mat, "mat"}, {Bottle, "solution bottle"}, {Person, "person"}, {Card, "action card"}}

// Reason says why a code or payload was refused.
type Reason string

// The reasons for which Parse and Read refuse an input.
const (
	ReasonEmpty      Reason = "empty"
	ReasonLength     Reason = "length"
	ReasonAlphabet   Reason = "alphabet"
	ReasonKind       Reason = "type letter"
	ReasonCheck      Reason = "check character"
	ReasonLayout     Reason = "ambiguous keyboard layout"
	ReasonCheckDigit Reason = "GRAI check digit"
	ReasonForm       Reason = "form"
)

// CodeError reports an input that is no code. Its message says what is wrong
// and what to do.
type CodeError struct {
	Input  string
	Reason Reason
	Detail string
}

func (e *CodeError) Error() string {
	return fmt.Sprintf("%q is not a code: %s", shorten(e.Input, 60), e.Detail)
}

func noCode(input string, reason Reason, format string, args ...any) error {
	return &CodeError{Input: input, Reason: reason, Detail: fmt.Sprintf(format, args...)}
}

// tooLong refuses what is longer than anything that was ever printed.
func tooLong(input string, most int) error {
	if len(input) <= most {
		return nil
	}
	return noCode(input, ReasonLength, "it has more than %d characters; scan one label at a time", most)
}

func shorten(s string, limit int) string {
	r := []rune(s)
	if len(r) <= limit {
		return s
	}
	return string(r[:limit]) + "…"
}

// RandomError reports a random source that failed or never gave a usable draw.
type RandomError struct{ Err error }

func (e *RandomError) Error() string {
	return fmt.Sprintf("no new code could be drawn: %v; use the system's random source (crypto/rand)", e.Err)
}

func (e *RandomError) Unwrap() error { return e.Err }

// checkCharacter is the MOD 37-2 check of ISO/IEC 7064 over 0-9 and A-Z. Value
// 36 comes back as '*'. Any other character gives 0.
func checkCharacter(s string) byte {
	p := 0
	for i := range len(s) {
		v := strings.IndexByte("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", s[i])
		if v < 0 {
			return 0
		}
		p = (p + v) * 2 % 37
	}
	return "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"[(38-p)%37]
}

// NewCode draws a code of the kind Mat, Bottle, Person or Card from random. It
// draws again when the check character falls outside the alphabet, about three
// times in ten. The caller must still make sure that the code is not in use.
func NewCode(kind byte, random io.Reader) (string, error) {
	if KindName(string(kind)) == "" {
		return "", noCode(string(kind), ReasonKind, "%s", kindHint(kind))
	}
	alphabet := Alphabet
	if kind == Card {
		alphabet = CardAlphabet
	}
	// A working source fails 1000 draws in a row with a chance of far under 1e-200.
	for range 1000 {
		body, err := draw(alphabet, CodeLength-2, random)
		if err != nil {
			return "", &RandomError{Err: err}
		}
		s := string(kind) + body
		check := checkCharacter(s)
		if strings.IndexByte(alphabet, check) >= 0 {
			return s + string(check), nil
		}
	}
	return "", &RandomError{Err: fmt.Errorf("1000 draws in a row were unusable, so the source repeats itself")}
}

// draw takes n characters of the alphabet, all equally likely: bytes beyond the
// last whole multiple of the alphabet's length are thrown away.
func draw(alphabet string, n int, random io.Reader) (string, error) {
	limit := 256 - 256%len(alphabet)
	out := make([]byte, 0, n)
	var one [1]byte
	for tries := 0; len(out) < n; tries++ {
		if tries == 1000 {
			return "", fmt.Errorf("the source keeps giving the byte %d", one[0])
		}
		if _, err := io.ReadFull(random, one[:]); err != nil {
			return "", err
		}
		if int(one[0]) < limit {
			out = append(out, alphabet[int(one[0])%len(alphabet)])
		}
	}
	return string(out), nil
}

// KindName names the kind of a code by its first letter: "mat", "solution
// bottle", "person" or "action card"; empty for anything else.
func KindName(code string) string {
	for _, k := range kindNames {
		if code != "" && code[0] == k.letter {
			return k.name
		}
	}
	return ""
}

// Parse reads a code as typed or as scanned: any case, spaces and hyphens
// anywhere, I and L for 1, O for 0, a scanner's AIM prefix (]Q1, ]Q3), and the
// letters that a scanner set to a US keyboard types into a computer set to
// another layout. It returns the eight characters, or a *CodeError.
//
// Passing says only that the code is well formed: one wrong string in 37 passes
// by chance. The register of issued codes has the last word.
func Parse(input string) (string, error) {
	if err := tooLong(input, 64); err != nil {
		return "", err
	}
	return parseAnyLayout(input, parsePlain)
}

func parsePlain(input string) (string, error) {
	return parseStripped(input, folded(input))
}

func parseStripped(input, s string) (string, error) {
	refuse := func(reason Reason, detail string, args ...any) (string, error) {
		return "", noCode(input, reason, detail, args...)
	}
	if s == "" {
		return refuse(ReasonEmpty, "nothing was read; scan the label again or type the eight characters "+
			"printed beside the symbol")
	}
	if n := len([]rune(s)); n != CodeLength {
		return refuse(ReasonLength, "it has %d characters and a code has %d; scan again, or type the code as printed, "+
			"such as TK7R 2N81", n, CodeLength)
	}
	for _, r := range s {
		if !strings.ContainsRune(Alphabet, r) {
			return refuse(ReasonAlphabet, "%q never occurs in a code (only %s do); look at the label again, or scan it",
				r, Alphabet)
		}
	}
	if KindName(s) == "" {
		return refuse(ReasonKind, "%s", kindHint(s[0]))
	}
	if checkCharacter(s[:CodeLength-1]) != s[CodeLength-1] {
		return refuse(ReasonCheck, "its check character does not fit, so at least one character is wrong; compare it "+
			"with the label, or scan it")
	}
	if s[0] == Card && strings.ContainsAny(s, "0123456789") {
		return refuse(ReasonAlphabet, "an action card's code has letters only; scan the card again")
	}
	return s, nil
}

func kindHint(letter byte) string {
	var parts []string
	for _, k := range kindNames {
		parts = append(parts, fmt.Sprintf("%c: %s", k.letter, k.name))
	}
	return fmt.Sprintf("the first letter %q is no kind of code; it is %s", string(rune(letter)), strings.Join(parts, ", "))
}

// Print writes a code in two groups of four, as on the label: "TK7R 2N81".
// Anything that is not eight characters long comes back unchanged.
func Print(code string) string {
	if len(code) != CodeLength {
		return code
	}
	return code[:4] + " " + code[4:]
}

// Near lists the registered codes that are one typing slip away from input: one
// wrong character, one missing, one too many, or two neighbours swapped. The
// list is sorted. exists is asked only about well-formed codes, at most some
// thirty times, because the check character rules out nearly all neighbours.
func Near(input string, exists func(code string) bool) []string {
	s := folded(input)
	found := []string{}
	for candidate := range slips(s) {
		code, err := parseStripped(candidate, candidate)
		if err == nil && exists(code) {
			found = append(found, code)
		}
	}
	slices.Sort(found)
	return found
}

// slips is the set of strings of code length one slip away from s.
func slips(s string) map[string]bool {
	r := []rune(s)
	out := map[string]bool{}
	add := func(before []rune, middle string, after []rune) { out[string(before)+middle+string(after)] = true }
	switch len(r) {
	case CodeLength:
		for i := range r {
			for _, a := range Alphabet {
				add(r[:i], string(a), r[i+1:])
			}
			if i > 0 {
				add(r[:i-1], string([]rune{r[i], r[i-1]}), r[i+1:])
			}
		}
		delete(out, s)
	case CodeLength - 1:
		for i := range len(r) + 1 {
			for _, a := range Alphabet {
				add(r[:i], string(a), r[i:])
			}
		}
	case CodeLength + 1:
		for i := range r {
			add(r[:i], "", r[i+1:])
		}
	}
	return out
}

func blank(r rune) bool {
	return unicode.IsSpace(r) || unicode.IsControl(r) || r == '\u200b' || r == '\ufeff'
}

// strip drops spaces and every sort of hyphen: phones replace a typed hyphen by
// a typographic one.
func strip(s string) string {
	return strings.Map(func(r rune) rune {
		if blank(r) || unicode.Is(unicode.Pd, r) {
			return -1
		}
		return r
	}, s)
}

// folded is what was typed or scanned, in the letters of a code.
func folded(input string) string {
	return foldLetters.Replace(strip(stripAIM(strings.ToUpper(strings.TrimFunc(input, blank)))))
}

var foldLetters = strings.NewReplacer("I", "1", "L", "1", "O", "0")

// stripAIM drops the symbology identifier that some scanners send first: "]Q1"
// for a QR code, "]Q3" for a GS1 QR code (ISO/IEC 15424; from memory).
func stripAIM(s string) string {
	if len(s) > 3 && s[0] == ']' && s[1] == 'Q' && s[2] >= '0' && s[2] <= '6' {
		return s[3:]
	}
	return s
}
