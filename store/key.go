package store

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strings"
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

// logKey is the key of the record at a position of the ledger, from 1: its last five
// bytes, which no ledger outgrows.
func logKey(position uint64) []byte { return binary.BigEndian.AppendUint64(nil, position)[3:] }

// positionIn gives the position that a key of the log stands for; 0: none.
func positionIn(key []byte) uint64 {
	if len(key) != 5 {
		return 0
	}
	return uint64(key[0])<<32 | uint64(binary.BigEndian.Uint32(key[1:]))
}

// dueKey orders by time, before 1970 too.
func dueKey(at time.Time, mat medium.Code) []byte {
	k := binary.BigEndian.AppendUint64(nil, uint64(at.Unix())^1<<63)
	return append(k, mat...)
}

// Index says what mats have in common: the crop lots and seed lots that were sown on
// them, also where the sowing was voided, the mesh roll that they were cut from, the
// solutions that they were sanitized with.
type Index byte

const (
	Lots           Index = 'L'
	SeedLots       Index = 'S'
	VoidedLots     Index = 'l'
	VoidedSeedLots Index = 's'
	Rolls          Index = 'R'
	Solutions      Index = 'B'
)

// spread puts a byte of its hash before a key, so that what is looked up by name
// lies in slots of about the same size: see sums.
func spread(key []byte) []byte {
	sum := sha256.Sum256(key)
	return append([]byte{sum[0]}, key...)
}

// prefix begins the keys of all mats that a name touched. Case and doubled spaces do
// not tell names apart: a recall must rather list a mat too many.
func (x Index) prefix(name string) []byte {
	return spread(append(append([]byte{byte(x)}, fold(name)...), 0))
}

func (x Index) key(name string, mat medium.Code) string {
	return string(append(x.prefix(name), mat...))
}

func tagKey(c medium.Code) []byte { return spread(append([]byte{'C'}, c...)) }

func markKey(mark string) []byte { return spread(append([]byte{'M'}, fold(mark)...)) }

func tokenKey(token string) []byte { return spread([]byte(token)) }

// fold brings a name to one spelling, in which no 0 is left: it ends a name in a key.
func fold(name string) string { return medium.FoldLot(strings.ReplaceAll(name, "\x00", " ")) }
