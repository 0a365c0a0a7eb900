package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
)

// tamper changes values behind the store's back; nil deletes.
func tamper(t testing.TB, s *Store, f func(put func(bucket, key string, value []byte))) {
	t.Helper()
	require.NoError(t, s.db.Update(func(tx *bbolt.Tx) error {
		f(func(bucket, key string, value []byte) {
			b := tx.Bucket([]byte(bucket))
			if value == nil {
				require.NoError(t, b.Delete([]byte(key)))
				return
			}
			require.NoError(t, b.Put([]byte(key), value))
		})
		return nil
	}))
}

// dump gives all values of all buckets, as bucket/key.
func dump(t testing.TB, s *Store) map[string]string {
	t.Helper()
	return contents(t, s)
}

func contents(t require.TestingT, s *Store) map[string]string {
	out := map[string]string{}
	require.NoError(t, s.view(func(tx *bbolt.Tx) error {
		return tx.ForEach(func(name []byte, b *bbolt.Bucket) error {
			return b.ForEach(func(k, v []byte) error {
				out[string(name)+"/"+string(k)] = string(v)
				return nil
			})
		})
	}))
	return out
}

// smallLedger has a bit of everything: three mats, a lot, a mark, a later code,
// a token, a correction, a policy.
func smallLedger(t testing.TB) (*Store, *clock) {
	s, c := newStore(t)
	s.db.NoSync = true
	marked := mesh()
	marked.Mark = "dot"
	_, err := s.Record("tok", []medium.Step{step(code(1), &medium.Add{Mat: marked}), step(code(2), &medium.Add{Mat: mesh()}), sanitizer()})
	require.NoError(t, err)
	record(t, s, append(c.wash(code(1)), sow(code(1), "L1"))...)
	record(t, s, step(code(2), &medium.Relabel{Reason: "faded", NewCode: code(12)}), step(code(2), &medium.Hold{Reason: "doubt"}))
	record(t, s, step(code(2), &medium.Correct{MatSeq: 3, Reason: "no doubt"}), step(code(3), &medium.Add{Mat: mesh()}))
	record(t, s, step("", &medium.PolicyChange{Setting: medium.Setting{Rule: "wet-hours", On: true, Limit: 20}, Reason: "warm room"}))
	c.after(time.Hour)
	return s, c
}

// facts are the values of a dump without what tells when a due line was last
// changed, which a line that is made again does not have.
func facts(all map[string]string) map[string]string {
	out := maps.Clone(all)
	delete(out, "meta/sums")
	for k, v := range out {
		if strings.HasPrefix(k, "due/") {
			out[k] = v[sealLen+farmPosLen:]
		}
	}
	return out
}

// recordKey is the key of a step's record in the log.
func recordKey(t testing.TB, s *Store, mat medium.Code, seq uint64) string {
	t.Helper()
	for k, v := range dump(t, s) {
		k, isRecord := strings.CutPrefix(k, "log/")
		if !isRecord {
			continue
		}
		if h, _, _, err := headOf(positionOf(k), []byte(v)); err == nil && h.Mat == mat && h.MatSeq == seq {
			return k
		}
	}
	t.Fatalf("no step %d of mat %s", seq, mat)
	return ""
}

func positionOf(key string) uint64 { return positionIn([]byte(key)) }

func split(key string) (bucket, k string) {
	bucket, k, _ = strings.Cut(key, "/")
	return bucket, k
}

func found(t testing.TB, s *Store, want *Anchor, what string) Report {
	t.Helper()
	r, err := s.Verify(nil, want)
	if err == nil && r.OK {
		t.Fatalf("not found: %s", what)
	}
	return r
}

// Every bit of every value, and of every key, in turn.
func TestEveryBitIsFound(t *testing.T) {
	s, _ := smallLedger(t)
	stride := 5 // coprime to 8, so that all bit positions come up
	if deep() {
		stride = 1
	}
	flips := 0
	all := dump(t, s)
	for _, key := range slices.Sorted(maps.Keys(all)) {
		bucket, k := split(key)
		value := []byte(all[key])
		for bit := flips % stride; bit < 8*len(value); bit += stride {
			bad := bytes.Clone(value)
			bad[bit/8] ^= 1 << (bit % 8)
			tamper(t, s, func(put func(string, string, []byte)) { put(bucket, k, bad) })
			found(t, s, nil, key)
			flips++
		}
		tamper(t, s, func(put func(string, string, []byte)) { put(bucket, k, value) })
		for bit := range 8 * len(k) {
			moved := []byte(k)
			moved[bit/8] ^= 1 << (bit % 8)
			if _, there := all[bucket+"/"+string(moved)]; there {
				continue
			}
			tamper(t, s, func(put func(string, string, []byte)) { put(bucket, k, nil); put(bucket, string(moved), value) })
			found(t, s, nil, "key of "+key)
			tamper(t, s, func(put func(string, string, []byte)) { put(bucket, string(moved), nil); put(bucket, k, value) })
			flips++
		}
	}
	t.Logf("%d bits flipped", flips)
}

func TestEveryMissingOrForeignValueIsFound(t *testing.T) {
	s, _ := smallLedger(t)
	all := dump(t, s)
	for key, value := range all {
		bucket, k := split(key)
		tamper(t, s, func(put func(string, string, []byte)) { put(bucket, k, nil) })
		found(t, s, nil, "dropped "+key)
		tamper(t, s, func(put func(string, string, []byte)) { put(bucket, k, []byte(value)) })
	}
	last := all["log/"+string(logKey(14))]
	require.NotEmpty(t, last)
	for key, value := range map[string]string{
		"log/" + string(logKey(15)):           last,
		"log/" + string(logKey(0)):            last,
		"log/short":                           "x",
		"mats/" + string(code(8)):             all["mats/"+string(code(1))],
		"mats/" + string(code(9)):             sealedAs(viewMats, string(code(9)), all["mats/"+string(code(1))]),
		"due/" + "12345678" + string(code(1)): "x",
		"due/x":                               "x",
		"lots/" + Lots.key("l9", code(1)):     sealedAs(viewLots, Lots.key("l9", code(1)), all["lots/"+Lots.key("L1", code(1))]),
		"lots/L":                              "",
		"tags/" + string(tagKey(code(13))):    sealedAs(viewTags, string(tagKey(code(13))), all["tags/"+string(tagKey(code(12)))]),
		"tags/" + string(markKey("notch")):    string(code(3)),
		"tokens/" + string(tokenKey("other")): all["tokens/"+string(tokenKey("tok"))],
		"tokens/" + string(tokenKey("none")):  "",
		"meta/other":                          "x",
		"farm/other":                          "x",
	} {
		bucket, k := split(key)
		tamper(t, s, func(put func(string, string, []byte)) { put(bucket, k, []byte(value)) })
		found(t, s, nil, "put in "+key)
		tamper(t, s, func(put func(string, string, []byte)) { put(bucket, k, nil) })
	}
	require.NoError(t, s.db.Update(func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("other")); return err }))
	found(t, s, nil, "a foreign part")
	require.NoError(t, s.db.Update(func(tx *bbolt.Tx) error { return tx.DeleteBucket([]byte("other")) }))
}

// sealedAs is an entry's value with the checksum that it would have under another key.
func sealedAs(w view, key, value string) string {
	e, ok := w.open([]byte("x"), []byte(value))
	if !ok {
		e = sealed{payload: []byte(value[sealLen:]), at: binary.BigEndian.Uint64([]byte(value[checkLen:]))}
	}
	return string(w.seal([]byte(key), e.at, e.payload))
}

func TestSwapsAreFound(t *testing.T) {
	s, _ := smallLedger(t)
	all := dump(t, s)
	for _, pair := range [][2]string{
		{"log/" + recordKey(t, s, code(1), 2), "log/" + recordKey(t, s, code(1), 3)},
		{"log/" + recordKey(t, s, code(2), 1), "log/" + recordKey(t, s, code(3), 1)},
		{"mats/" + string(code(2)), "mats/" + string(code(3))},
	} {
		b1, k1 := split(pair[0])
		b2, k2 := split(pair[1])
		require.NotEmpty(t, all[pair[0]])
		require.NotEmpty(t, all[pair[1]])
		tamper(t, s, func(put func(string, string, []byte)) {
			put(b1, k1, []byte(all[pair[1]]))
			put(b2, k2, []byte(all[pair[0]]))
		})
		found(t, s, nil, pair[0])
		tamper(t, s, func(put func(string, string, []byte)) {
			put(b1, k1, []byte(all[pair[0]]))
			put(b2, k2, []byte(all[pair[1]]))
		})
	}
}

// forge is the best that somebody with the program can do: change the steps,
// number and chain them anew, and derive all the rest from them.
func forge(t testing.TB, s *Store, change func(steps []medium.Step) []medium.Step) {
	t.Helper()
	var steps []medium.Step
	require.NoError(t, s.Steps(func(step medium.Step) error { steps = append(steps, step); return nil }))
	slices.SortFunc(steps, func(a, b medium.Step) int { return int(a.Seq) - int(b.Seq) })
	steps = change(steps)
	require.NoError(t, s.db.Update(func(tx *bbolt.Tx) error {
		require.NoError(t, tx.DeleteBucket(bucketLog))
		b, err := tx.CreateBucket(bucketLog)
		require.NoError(t, err)
		ends := map[medium.Code]tail{}
		head := s.genesis
		for i, step := range steps {
			last := ends[step.Mat]
			step.Seq, step.MatSeq = uint64(i)+1, last.n+1
			stored, _, err := encodeStep(step, last.link())
			require.NoError(t, err)
			require.NoError(t, b.Put(logKey(step.Seq), stored))
			ends[step.Mat] = last.then(step.Seq, stored)
			head = head.next(stored)
		}
		require.NoError(t, tx.Bucket(bucketMeta).Delete(keySums))
		return put(tx.Bucket(bucketMeta), keyLedger, &ledger{Count: uint64(len(steps)), Head: head[:]})
	}))
	require.NoError(t, s.rebuild())
}

// What is forged as a whole agrees with itself: only the anchor on paper tells.
func TestAnchorFindsWhatIsForgedAsAWhole(t *testing.T) {
	for name, change := range map[string]func(steps []medium.Step) []medium.Step{
		"end cut off": func(steps []medium.Step) []medium.Step { return steps[:len(steps)-1] },
		"mat removed": func(steps []medium.Step) []medium.Step {
			return slices.DeleteFunc(steps, func(s medium.Step) bool { return s.Mat == code(1) })
		},
		"step removed": func(steps []medium.Step) []medium.Step { return slices.Delete(steps, 6, 7) },
		"swapped":      func(steps []medium.Step) []medium.Step { steps[1], steps[2] = steps[2], steps[1]; return steps },
		"initials": func(steps []medium.Step) []medium.Step {
			steps[4].By = "zz"
			return steps
		},
		"time": func(steps []medium.Step) []medium.Step {
			steps[0].At = steps[0].At.Add(-time.Second)
			return steps
		},
		"one more": func(steps []medium.Step) []medium.Step {
			return append(steps[:3:3], append([]medium.Step{steps[3]}, steps[3:]...)...)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s, _ := smallLedger(t)
			anchor, err := s.Anchor()
			require.NoError(t, err)
			r, err := s.Verify(nil, &anchor)
			require.NoError(t, err)
			require.True(t, r.OK)
			forge(t, s, change)
			r, err = s.Verify(nil, nil)
			require.NoError(t, err)
			require.True(t, r.OK, "%+v", r.Problems)
			r = found(t, s, &anchor, name)
			require.Len(t, r.Problems, 1)
			require.Contains(t, r.Problems[0].Text, "anchor")
		})
	}
}

func TestOlderAnchor(t *testing.T) {
	s, _ := smallLedger(t)
	old, err := s.Anchor()
	require.NoError(t, err)
	record(t, s, adds(5, 3)...)
	r, err := s.Verify(nil, &old)
	require.NoError(t, err)
	require.True(t, r.OK, "what came after an anchor is none of its business: %+v", r.Problems)
	forge(t, s, func(steps []medium.Step) []medium.Step { steps[len(steps)-1].By = "zz"; return steps })
	r, err = s.Verify(nil, &old)
	require.NoError(t, err)
	require.True(t, r.OK)
	forge(t, s, func(steps []medium.Step) []medium.Step { steps[2].By = "zz"; return steps })
	found(t, s, &old, "changed before the anchor")
	old.Head[9] ^= 1
	found(t, s, &old, "another head")
	zero := anchorOf(0, s.genesis)
	r, err = s.Verify(nil, &zero)
	require.NoError(t, err)
	require.True(t, r.OK)
	found(t, s, &Anchor{}, "an anchor of another file")
}

// Every byte of the file: nothing panics or hangs, and unless a verify finds
// it, all that is in the file reads as before.
func TestEveryByteOfTheFile(t *testing.T) {
	s, c := smallLedger(t)
	anchor, err := s.Anchor()
	require.NoError(t, err)
	all := dump(t, s)
	require.NoError(t, s.db.Sync())
	whole, err := os.ReadFile(s.path)
	require.NoError(t, err)
	o := c.options()
	path := filepath.Join(folder(t), "farm.resow")
	stride := 83
	if testing.Short() {
		stride = 211
	}
	if deep() {
		stride = 1
	}
	random := rand.New(rand.NewChaCha8([32]byte{2}))
	outcome := map[string]int{}
	try := func(content []byte, what string) { // for reading and for writing by turns
		o.ReadOnly = !o.ReadOnly
		require.NoError(t, os.WriteFile(path, content, 0o600))
		outcome[openAndVerify(t, path, o, &anchor, all, what)]++
	}
	try(whole, "whole")
	try(whole, "whole")
	require.Equal(t, map[string]int{"as before": 2}, outcome)
	for i := 0; i < len(whole); i += stride {
		content := bytes.Clone(whole)
		if content[i] == 0 && i > 0x6000 && bytes.Count(content[i:min(i+512, len(content))], []byte{0}) == min(512, len(content)-i) {
			continue // unused
		}
		one, two := func() { content[i] = whole[i] ^ 1<<random.IntN(8); try(content, "a bit") }, func() { content[i] = ^whole[i]; try(content, "a byte") }
		if random.IntN(2) == 0 {
			one, two = two, one
		}
		one()
		two()
	}
	for p := 0; p < len(whole); p += 4096 {
		content := bytes.Clone(whole)
		copy(content[p:p+4096], make([]byte, 4096))
		try(content, "a page of zeros")
		for q := 0; q < len(whole); q += 4096 {
			copy(content[p:p+4096], whole[q:q+4096])
			try(content, "a page of another place")
		}
	}
	t.Logf("%d bytes: %v", len(whole), outcome)
}

func openAndVerify(t *testing.T, path string, o Options, anchor *Anchor, all map[string]string, what string) string {
	s, err := Open(path, o)
	if err != nil {
		return errorName(err)
	}
	defer s.Close()
	if !o.ReadOnly {
		s.db.NoSync = true
		defer s.Record("", adds(90, 1))
	}
	// what a day's command does, before anybody verifies
	_, _ = s.Farm()
	_ = s.Conditions(func(c medium.Condition) error { _, err := s.Thread(c.Code); return err })
	_, _ = s.Due(start.AddDate(1, 0, 0), 0)
	_, _ = s.Lot("L1")
	_, _ = s.Anchor()
	r, err := s.Verify(nil, anchor)
	if err != nil {
		return errorName(err)
	}
	if !r.OK {
		return "found"
	}
	if !maps.Equal(facts(all), facts(dump(t, s))) {
		t.Fatalf("%s changed what is in the file, and verify finds nothing", what)
	}
	return "as before"
}
func errorName(err error) string {
	for errors.Unwrap(err) != nil {
		err = errors.Unwrap(err)
	}
	return fmt.Sprintf("%T", err)
}

// A page that leads back to one above it would keep bbolt going for ever. In a
// file too large to be checked as a whole at each opening, that is still found.
func TestLoopInALargerFile(t *testing.T) {
	s, c := newStore(t)
	s.db.NoSync = true
	record(t, s, adds(1, 1500)...)
	require.NoError(t, s.db.Sync())
	whole, err := os.ReadFile(s.path)
	require.NoError(t, err)
	require.Greater(t, len(whole), checkAtOpen)
	path := filepath.Join(folder(t), "farm.resow")
	require.NoError(t, os.WriteFile(path, whole, 0o600))
	o := c.options()
	o.ReadOnly = true
	whole2, err := Open(path, o)
	require.NoError(t, err)
	require.NoError(t, whole2.Close())

	found, err := recognize(bytes.NewReader(whole), int64(len(whole)))
	require.NoError(t, err)
	n := binary.NativeEndian
	loops, refused := 0, 0
	for p := uint64(2); p < found.pages; p++ {
		at := p * found.pageSize
		if n.Uint64(whole[at:]) != p || n.Uint16(whole[at+8:]) != flagBranch {
			continue
		}
		for i := range uint64(n.Uint16(whole[at+10:])) {
			child := whole[at+pageHeader+16*i+8:]
			old := n.Uint64(child)
			n.PutUint64(child, p)
			if loops%17 == 0 {
				require.NoError(t, os.WriteFile(path, whole, 0o600))
				s, err := Open(path, o)
				if err == nil { // a page that is not in use
					verifyClean(t, s)
					require.NoError(t, s.Close())
				} else {
					var damaged *DamagedError
					require.ErrorAs(t, err, &damaged)
					refused++
				}
			}
			n.PutUint64(child, old)
			loops++
		}
	}
	t.Logf("%d loops made, %d of every 17th refused", loops, refused)
	require.NotZero(t, refused)
}
