package store_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/store"
)

// This file reads a ledger as somebody would who has bbolt and FORMAT.md and nothing
// else: no function of package store, and a reader of CBOR of its own.
//
// testdata/ledger-v2 holds a file of format 2 that must open for ever, and what it
// holds: each record as bytes, as values and with the ledger's head after it. Before
// the first release it is made anew by
//
//	go test ./store -run TestStranger -update
var updateLedger = flag.Bool("update", false, "make testdata/ledger-v2 anew; only before the first release")

var ledger2 = filepath.Join("..", "testdata", "ledger-v2")

// vector is one record of the golden file.
type vector struct {
	Position uint64 `json:"position"`
	Record   string `json:"record"`
	Values   string `json:"values"`
	Hash     string `json:"hash"`
	Head     string `json:"head"`
}

func TestStranger(t *testing.T) {
	path := filepath.Join(ledger2, "farm.resow")
	if *updateLedger {
		makeLedger2(t, path)
	}
	printed, err := os.ReadFile(filepath.Join(ledger2, "anchor.txt"))
	require.NoError(t, err)
	copied := filepath.Join(t.TempDir(), "farm.resow") // bbolt takes a lock on what it opens
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(copied, content, 0o600))
	db, err := bbolt.Open(copied, 0o600, &bbolt.Options{ReadOnly: true, Timeout: time.Second})
	require.NoError(t, err)
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		r := stranger{t, tx}
		vectors := r.records(strings.TrimSpace(string(printed)))
		text, err := json.MarshalIndent(vectors, "", " ")
		require.NoError(t, err)
		golden := filepath.Join(ledger2, "vectors.json")
		if *updateLedger {
			require.NoError(t, os.WriteFile(golden, append(text, '\n'), 0o644))
		}
		want, err := os.ReadFile(golden)
		require.NoError(t, err)
		require.Equal(t, string(want), string(text)+"\n")
		r.entries()
		return nil
	}))
	require.NoError(t, db.Close())
	s, err := store.Open(copied, store.Options{ReadOnly: true}) // it may be brought up to date
	require.NoError(t, err)
	defer s.Close()
	anchor, err := store.ParseAnchor(string(printed))
	require.NoError(t, err)
	report, err := s.Verify(nil, &anchor)
	require.NoError(t, err)
	require.True(t, report.OK, "%+v", report.Problems)
}

func makeLedger2(t *testing.T, path string) {
	require.NoError(t, os.MkdirAll(ledger2, 0o755))
	require.NoError(t, os.RemoveAll(path))
	lines, err := os.Open(filepath.Join("..", "testdata", "export-v1", "farm.jsonl"))
	require.NoError(t, err)
	defer lines.Close()
	anchor, _, err := store.FromLines(path, lines, store.Options{Random: rand.NewChaCha8([32]byte{9})})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(ledger2, "anchor.txt"), []byte(anchor.String()+"\n"), 0o644))
}

type stranger struct {
	t  *testing.T
	tx *bbolt.Tx
}

func sha(parts ...[]byte) []byte {
	sum := sha256.Sum256(bytes.Join(parts, nil))
	return sum[:]
}

func u64(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// records reads the log: positions, links, hashes and the head; and the anchor.
func (r stranger) records(anchor string) (all []vector) {
	t, meta := r.t, r.tx.Bucket([]byte("meta"))
	head := sha([]byte("resow ledger\n"), meta.Get([]byte("identity")))
	type last struct {
		at, n uint64
		hash  []byte
	}
	lasts := map[string]last{}
	require.NoError(t, r.tx.Bucket([]byte("log")).ForEach(func(k, v []byte) error {
		position := uint64(len(all) + 1)
		require.Equal(t, u64(position)[3:], k)
		rec := r.record(v)
		before := lasts[rec.mat]
		require.Equal(t, before.n+1, rec.n)
		if before.n == 0 {
			require.Zero(t, rec.back)
			require.Empty(t, rec.prev)
		} else {
			require.Equal(t, before.hash[:10], rec.prev)
			require.Equal(t, before.at, position-rec.back)
		}
		lasts[rec.mat] = last{position, before.n + 1, sha(v)}
		head = sha(head, v)
		values := said(rec.head) + " " + said(rec.rest)
		all = append(all, vector{position, hex.EncodeToString(v), values, hex.EncodeToString(sha(v)), hex.EncodeToString(head)})
		return nil
	}))
	l := r.cbor(meta.Get([]byte("ledger")))
	require.Equal(t, uint64(len(all)), l[10])
	require.Equal(t, head, l[11])

	const digits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	bits := ""
	for _, b := range head[:10] {
		bits += fmt.Sprintf("%08b", b)
	}
	text := ""
	for i := 0; i < 80; i += 5 {
		n, _ := strconv.ParseUint(bits[i:i+5], 2, 8)
		text += digits[n : n+1]
	}
	sum := sha([]byte("resow anchor\n"), u64(uint64(len(all))), head[:10])
	text += string(digits[sum[0]&31]) + string(digits[sum[1]&31])
	require.Equal(t, strings.ReplaceAll(anchor, "-", ""), fmt.Sprint(len(all))+text)
	return all
}

// record is a record as FORMAT.md has it: an array and a map.
type record struct {
	head             []any
	rest             map[uint64]any
	kind, mat, token string
	n, back          uint64
	prev             []byte
}

func (r stranger) record(b []byte) record {
	v, rest := r.item(b)
	head := v.([]any)
	require.Len(r.t, head, 10)
	return record{head, r.cbor(rest), head[0].(string), head[1].(string), head[5].(string),
		head[2].(uint64), head[3].(uint64), head[4].([]byte)}
}

// entries checks every entry's checksum, all slots, and that conditions, tokens and
// due lines speak of the records that they should.
func (r stranger) entries() {
	t := r.t
	log := r.tx.Bucket([]byte("log"))
	lasts, tokens := map[string]uint64{}, map[string][]byte{}
	require.NoError(t, log.ForEach(func(k, v []byte) error {
		rec := r.record(v)
		lasts[rec.mat] = binary.BigEndian.Uint64(append(make([]byte, 3), k...))
		if rec.token != "" {
			tokens[rec.token] = slices.Concat(tokens[rec.token], u64(lasts[rec.mat]), sha(v)[:8])
		}
		return nil
	}))
	slots := map[string][2]uint64{}
	for _, view := range []struct {
		name, part string
		slot       int
	}{{"m", "mats", 2}, {"f", "farm", 0}, {"d", "due", 6}, {"l", "lots", 1}, {"n", "tags", 1}, {"t", "tokens", 1}} {
		seen := 0
		require.NoError(t, r.tx.Bucket([]byte(view.part)).ForEach(func(k, v []byte) error {
			seen++
			length := binary.BigEndian.AppendUint32(nil, uint32(len(k)))
			require.Equal(t, sha([]byte(view.name), length, k, v[8:])[:8], v[:8], "%s %q", view.part, k)
			mark := uint64(14695981039346656037)
			for _, b := range k {
				mark = (mark ^ uint64(b)) * 1099511628211
			}
			name := view.name + string(append(bytes.Clone(k[:view.slot]), make([]byte, 6-view.slot)...))
			slots[name] = [2]uint64{slots[name][0] + 1, slots[name][1] + mark + binary.BigEndian.Uint64(v)}
			at, payload := binary.BigEndian.Uint64(v[8:]), v[16:]
			switch view.part {
			case "mats":
				require.Equal(t, lasts[string(k)], at)
				e := r.cbor(payload)
				require.Equal(t, sha(log.Get(u64(at)[3:]))[:10], e[10])
				require.Equal(t, string(k), e[12].(map[uint64]any)[10])
			case "farm":
				require.Equal(t, lasts["FARM0000"], at)
			case "due":
				require.Equal(t, string(k[8:]), r.cbor(payload[8:])[10])
				require.Equal(t, r.cbor(payload[8:])[14], binary.BigEndian.Uint64(k)^1<<63)
				require.LessOrEqual(t, at, lasts[string(k[8:])])
				require.LessOrEqual(t, binary.BigEndian.Uint64(payload), lasts["FARM0000"])
			case "lots":
				name := k[1 : len(k)-8]
				require.Equal(t, sha(name)[0], k[0])
				gave := r.record(log.Get(u64(at)[3:]))
				kinds := map[byte]string{'L': "sow", 'S': "sow", 'l': "sow", 's': "sow", 'R': "add", 'B': "sanitize"}
				require.Equal(t, kinds[k[1]], gave.kind)
				require.Equal(t, string(k[len(k)-8:]), gave.mat)
			case "tags", "tokens":
				require.Equal(t, sha(k[1:])[0], k[0])
				if view.part == "tokens" {
					require.Equal(t, tokens[string(k[1:])], payload)
					delete(tokens, string(k[1:]))
				}
			}
			return nil
		}))
		require.NotZero(t, seen, view.part)
	}
	require.Empty(t, tokens)
	var sums []byte
	var names []string
	for name := range slots {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		sums = append(binary.BigEndian.AppendUint32(append(sums, name...), uint32(slots[name][0])), u64(slots[name][1])...)
	}
	last, stored := log.Cursor().Last()
	ledger := r.cbor(r.tx.Bucket([]byte("meta")).Get([]byte("ledger")))
	require.Equal(t, u64(ledger[10].(uint64))[3:], last)
	tie := slices.Concat(u64(ledger[10].(uint64)), ledger[11].([]byte)[:8], sha(stored)[:8])
	for _, part := range []string{"due", "farm", "lots", "mats", "tags", "tokens"} {
		tie = append(tie, u64(r.tx.Bucket([]byte(part)).Sequence())...)
	}
	sums = append(tie, sums...)
	require.Equal(t, append(sha(sums)[:8], sums...), bytes.Clone(r.tx.Bucket([]byte("meta")).Get([]byte("sums"))))
}

// cbor reads a map with integer keys, in deterministic form.
func (r stranger) cbor(b []byte) map[uint64]any {
	v, rest := r.item(b)
	require.Empty(r.t, rest)
	return v.(map[uint64]any)
}

func (r stranger) item(b []byte) (v any, rest []byte) {
	major, n, size := b[0]>>5, uint64(b[0]&31), 0
	if n >= 24 {
		require.Less(r.t, n, uint64(28), "no definite length")
		size = 1 << (n - 24)
		n = 0
		for _, c := range b[1 : 1+size] {
			n = n<<8 | uint64(c)
		}
	}
	b = b[1+size:]
	if major != 7 {
		require.True(r.t, size == 0 || size == 1 && n >= 24 || n >= 1<<(4*size), "a longer form than it needs")
	}
	switch major {
	case 0:
		return n, b
	case 1:
		return -1 - int64(n), b
	case 2:
		return bytes.Clone(b[:n]), b[n:]
	case 3:
		return string(b[:n]), b[n:]
	case 4:
		list := []any{}
		for range n {
			v, b = r.item(b)
			list = append(list, v)
		}
		return list, b
	case 5:
		m := map[uint64]any{}
		last := int64(-1)
		for range n {
			var k any
			k, b = r.item(b)
			require.Greater(r.t, int64(k.(uint64)), last, "keys ascend")
			last = int64(k.(uint64))
			m[k.(uint64)], b = r.item(b)
		}
		return m, b
	case 7:
		switch {
		case size == 0:
			require.Contains(r.t, []uint64{20, 21}, n)
			return n == 21, b
		default: // a float of 2, 4 or 8 bytes, by its bits
			return fmt.Sprintf("float%d:%x", 8*size, n), b
		}
	}
	require.Fail(r.t, "a tag")
	return nil, nil
}

// said writes values in the order of their keys.
func said(v any) string {
	switch v := v.(type) {
	case map[uint64]any:
		var keys []uint64
		for k := range v {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		parts := make([]string, len(keys))
		for i, k := range keys {
			parts[i] = fmt.Sprintf("%d: %s", k, said(v[k]))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case []any:
		parts := make([]string, len(v))
		for i := range v {
			parts[i] = said(v[i])
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case []byte:
		return "h'" + hex.EncodeToString(v) + "'"
	case string:
		if strings.HasPrefix(v, "float") {
			return v
		}
		return strconv.Quote(v)
	}
	return fmt.Sprint(v)
}
