package store

import (
	"crypto/sha256"
	"encoding/binary"
	"strconv"
	"strings"
)

// Two threads of SHA-256 run through the ledger. A record holds the position and
// the hash of its mat's record before it, so that the history of one mat can be
// read and checked alone. And one head runs over all records in the order in which
// they were written, so that a mat or a tail that is missing shows.

const hashLen = sha256.Size

// hash is a SHA-256.
type hash [hashLen]byte

// recordHash is the hash of a record: of its stored bytes, never of a
// re-encoding.
func recordHash(stored []byte) hash { return sha256.Sum256(stored) }

// genesis is the ledger's head before the first record. It covers what the
// file says of itself.
func genesis(identity []byte) hash {
	return sha256.Sum256(append([]byte("resow ledger\n"), identity...))
}

// next gives the ledger's head after one more record: SHA-256(head || record).
func (h hash) next(stored []byte) hash {
	var room [1024]byte
	return sha256.Sum256(append(append(room[:0], h[:]...), stored...))
}

// Anchor names one state of the ledger: the number of its records and the
// first 80 bits of its head. Printed on paper it is a witness that no later
// change of the file can reach.
type Anchor struct {
	Count uint64   // records, those about the farm included
	Head  [10]byte // 80 bits
}

func anchorOf(count uint64, head hash) Anchor {
	a := Anchor{Count: count}
	copy(a.Head[:], head[:])
	return a
}

// anchorDigits are Crockford's base 32: no I, L, O or U, so that 80 bits take
// 16 characters.
const anchorDigits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// String gives the anchor as it is printed: the count, 16 characters of the
// head and two that catch a typing error: 1234-BCDE-FGHJ-KNPR-STVX-42.
func (a Anchor) String() string {
	var b strings.Builder
	b.WriteString(strconv.FormatUint(a.Count, 10))
	text := base32(a.Head[:]) + a.check()
	for len(text) > 0 {
		n := min(4, len(text))
		b.WriteByte('-')
		b.WriteString(text[:n])
		text = text[n:]
	}
	return b.String()
}

// check gives two characters made from count and head. Of random typing errors
// one in 1,024 passes; the head itself then tells.
func (a Anchor) check() string {
	b := binary.BigEndian.AppendUint64([]byte("resow anchor\n"), a.Count)
	sum := sha256.Sum256(append(b, a.Head[:]...))
	return string([]byte{anchorDigits[sum[0]&31], anchorDigits[sum[1]&31]})
}

func base32(b []byte) string {
	var out []byte
	var acc, n uint
	for _, v := range b {
		acc, n = acc<<8|uint(v), n+8
		for n >= 5 {
			n -= 5
			out = append(out, anchorDigits[acc>>n&31])
		}
	}
	return string(out)
}

// ParseAnchor reads an anchor as it was typed: in any case, with spaces or
// dashes or without, with the letters I and L for 1 and O for 0. The count must
// be set off by a dash or a space.
func ParseAnchor(text string) (Anchor, error) {
	refuse := func(why string) (Anchor, error) {
		if len(text) > 60 {
			text = text[:60]
		}
		return Anchor{}, &AnchorError{Text: text, Why: why}
	}
	parts := strings.FieldsFunc(strings.ToUpper(text), func(r rune) bool { return strings.ContainsRune("- \t\n\r", r) })
	if len(parts) < 2 {
		return refuse("a count and the characters after it are wanted")
	}
	undo := strings.NewReplacer("I", "1", "L", "1", "O", "0")
	var a Anchor
	count, err := strconv.ParseUint(undo.Replace(parts[0]), 10, 64)
	if err != nil {
		return refuse("it does not begin with the number of records")
	}
	a.Count = count
	digits := undo.Replace(strings.Join(parts[1:], ""))
	if len(digits) != 18 {
		return refuse(strconv.Itoa(len(digits)) + " characters follow the count, there must be 18")
	}
	var acc uint64
	var n, at int
	for _, c := range []byte(digits[:16]) {
		v := strings.IndexByte(anchorDigits, c)
		if v < 0 {
			return refuse("the character " + strconv.Quote(string(rune(c))) + " does not occur in one")
		}
		acc, n = acc<<5|uint64(v), n+5
		if n >= 8 {
			n -= 8
			a.Head[at] = byte(acc >> n)
			at++
			acc &= 1<<n - 1
		}
	}
	if a.check() != digits[16:] {
		return refuse("its last two characters do not fit the others, so it is mistyped")
	}
	return a, nil
}

// MarshalText gives the printed form.
func (a Anchor) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// UnmarshalText reads the printed form.
func (a *Anchor) UnmarshalText(text []byte) error {
	parsed, err := ParseAnchor(string(text))
	if err != nil {
		return err
	}
	*a = parsed
	return nil
}
