package store

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"time"

	"resow/medium"
)

// codeLen is the length of a code, in bytes, in every key.
const codeLen = 8

// maxIndexed bounds the texts that become keys, in bytes (bbolt ends at 32768).
const maxIndexed = 500

// checkCode refuses what can't be a mat's code. Its check character is the
// business of package labels.
func checkCode(c medium.Code) error {
	ok := len(c) == codeLen && c != medium.FarmThread
	for i := range len(c) {
		b := c[i]
		ok = ok && (b >= '0' && b <= '9' || b >= 'A' && b <= 'Z')
	}
	if ok {
		return nil
	}
	shown := string(c)
	if len(shown) > 40 {
		shown = shown[:40]
	}
	return &medium.InputError{Field: "code", Value: shown, Want: "a code of eight digits and capital letters"}
}

func checkIndexed(field, text string) error {
	if len(text) > maxIndexed {
		return &medium.InputError{Field: field, Value: text[:20] + "…", Want: fmt.Sprintf("at most %d bytes", maxIndexed)}
	}
	return nil
}

// logKey is the key of the record at a position of the ledger, from 1.
func logKey(position uint64) []byte { return binary.BigEndian.AppendUint64(nil, position) }

// dueKey orders by time, before 1970 too.
func dueKey(at time.Time, mat medium.Code) []byte {
	k := binary.BigEndian.AppendUint64(nil, uint64(at.Unix())^1<<63)
	return append(k, mat...)
}

const (
	cropLot = 'L'
	seedLot = 'S'
)

// spread puts a byte of its hash before a key, so that what is looked up by name
// lies in slots of about the same size: see sums.
func spread(key []byte) []byte {
	sum := sha256.Sum256(key)
	return append([]byte{sum[0] & 31}, key...)
}

// lotPrefix begins the keys of all mats of a lot. Case and doubled spaces do
// not tell lots apart: a recall must rather list a mat too many.
func lotPrefix(kind byte, lot string) []byte {
	k := make([]byte, 0, 2+len(lot)+codeLen)
	return spread(append(appendFolded(append(k, kind), lot), 0))
}

// lotKey is empty for a lot without a name.
func lotKey(kind byte, lot string, mat medium.Code) string {
	prefix := lotPrefix(kind, lot)
	if len(prefix) == 3 {
		return ""
	}
	return string(append(prefix, mat...))
}

func tagKey(c medium.Code) []byte { return spread(append([]byte{'C'}, c...)) }

func markKey(mark string) []byte { return spread(appendFolded([]byte{'M'}, mark)) }

func tokenKey(token string) []byte { return spread([]byte(token)) }

// fold brings a name to one spelling: ASCII letters small, single spaces. It
// stays with ASCII, since keys must not change with a new version of Unicode.
func fold(s string) string { return string(appendFolded(nil, s)) }

func appendFolded(b []byte, s string) []byte {
	begin, space := len(b), false
	for i := range len(s) {
		c := s[i]
		switch {
		case c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == 0:
			space = len(b) > begin
			continue
		case space:
			b, space = append(b, ' '), false
		}
		if c >= 'A' && c <= 'Z' {
			c += 'a' - 'A'
		}
		b = append(b, c)
	}
	return b
}
