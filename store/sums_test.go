package store

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
)

// answers are what a day's commands tell of a ledger. Each that can't be given is an
// error, which is no answer.
func answers(s *Store, mats int) map[string]string {
	out := map[string]string{}
	tell := func(what string, v any, err error) {
		if err == nil {
			text, _ := json.Marshal(v)
			out[what] = string(text)
		}
	}
	farm, err := s.Farm()
	tell("farm", farm.Policy, err)
	for i := 1; i <= mats; i++ {
		c, err := s.Condition(code(i))
		if err == nil {
			tell(fmt.Sprint("verdict ", i), medium.Judge(c, farm, start.AddDate(0, 1, 0)), nil)
		}
		used, err := s.Recorded(fmt.Sprint("token ", i))
		tell(fmt.Sprint("token ", i), used, err)
		mat, err := s.Resolve(code(100000 + i))
		tell(fmt.Sprint("other code ", i), mat, err)
	}
	n := 0
	err = s.Conditions(func(medium.Condition) error { n++; return nil })
	tell("mats", n, err)
	for _, until := range []time.Time{start, start.AddDate(0, 0, 20), start.AddDate(9, 0, 0)} {
		due, err := s.Due(until, 0)
		tell(fmt.Sprint("due ", until), due, err)
		due, err = s.Due(until, 30)
		tell(fmt.Sprint("first due ", until), due, err)
	}
	for what, of := range map[string]Index{"roll 7": Rolls, "B0000001": Solutions} {
		found, err := s.Touched(of, what)
		tell(what, found, err)
	}
	for lot := range 4 { // of one of them there is nothing
		found, err := s.Lot(fmt.Sprint("L", lot))
		tell(fmt.Sprint("lot ", lot), found, err)
		found, err = s.SeedLot(fmt.Sprint("S-L", lot))
		tell(fmt.Sprint("seed lot ", lot), found, err)
		found, err = s.Touched(VoidedLots, fmt.Sprint("L", lot))
		tell(fmt.Sprint("voided lot ", lot), found, err)
	}
	return out
}

// What is derived is broken in many ways: a live bit, a key, a whole page as it was
// some commits ago. No verdict, due line, recall or token changes silently: what is
// answered is what was answered before. The file is too large for all of its pages
// to be checked when it is opened.
func TestBrokenViewsAnswerNothingElse(t *testing.T) {
	times := 300
	if testing.Short() {
		times = 30
	}
	if deep() {
		times = 5000
	}
	const mats = 420
	path, c := closedLedger(t, mats)
	var olds [][]byte
	for i := 1; i <= mats; i += 7 { // some commits that touch every view
		withStore(t, path, c, func(s *Store) {
			c.after(time.Hour)
			for j := i; j < min(i+7, mats+1); j++ {
				_, err := s.Record(fmt.Sprint("token ", j), []medium.Step{step(code(j), &medium.Harvest{YieldG: float64(90 + j)}),
					step(code(j), &medium.Relabel{Reason: "faded", NewCode: code(100000 + j)})})
				require.NoError(t, err)
			}
			if i%5 == 0 {
				sown := record(t, s, append(c.wash(code(i)), sow(code(i), fmt.Sprint("L", i%3)))...)
				if i%2 == 0 {
					last := sown[len(sown)-1]
					record(t, s, step(last.Mat, &medium.Correct{MatSeq: last.MatSeq, Reason: "wrong mat"}))
				}
			}
		})
		if i%3 == 0 {
			old, _ := pages(t, path)
			olds = append(olds, old)
		}
	}
	whole, container := pages(t, path)
	require.Greater(t, len(whole), checkAtOpen)
	var want map[string]string
	var live [][2]int // where entries of the views are in the file, and how long
	keys := 0
	withStore(t, path, c, func(s *Store) {
		want = answers(s, mats)
		require.NoError(t, s.view(func(tx *bbolt.Tx) error {
			for _, part := range [][]byte{bucketMats, bucketFarm, bucketDue, bucketLots, bucketTags, bucketTokens, bucketLog} {
				cur := tx.Bucket(part).Cursor()
				for k, v := cur.First(); k != nil; k, v = cur.Next() {
					at := int(uintptr(unsafe.Pointer(&k[0])) - s.db.Info().Data)
					if at < 0 || at > len(whole)-len(k)-len(v) || !bytes.Equal(whole[at:at+len(k)], k) { // bbolt has a copy
						continue
					}
					live = append(live, [2]int{at, len(k)}, [2]int{at, len(k) + len(v)})
					keys++
				}
			}
			return nil
		}))
	})
	require.Greater(t, keys, mats)
	copied := filepath.Join(folder(t), "farm.resow")
	o := c.options()
	o.ReadOnly = true
	random := rand.New(rand.NewPCG(21, 21))
	refused, outcome := 0, map[string]int{}
	for i := range times {
		content, what := bytes.Clone(whole), ""
		if i%3 == 0 { // a page that is in use, as it was before
			old := olds[random.IntN(len(olds))]
			var changed []int
			for p := 2 * int(container.pageSize); p+int(container.pageSize) <= min(len(old), len(whole)); p += int(container.pageSize) {
				was, is := old[p:p+int(container.pageSize)], whole[p:p+int(container.pageSize)]
				if !bytes.Equal(was, is) && binary.NativeEndian.Uint16(was[8:]) == binary.NativeEndian.Uint16(is[8:]) {
					changed = append(changed, p)
				}
			}
			if len(changed) == 0 {
				continue
			}
			p := changed[random.IntN(len(changed))]
			copy(content[p:p+int(container.pageSize)], old[p:])
			what = fmt.Sprintf("page %d as it was", p/int(container.pageSize))
		} else {
			at := live[random.IntN(len(live))]
			bit := at[0] + random.IntN(at[1])
			content[bit] ^= 1 << random.IntN(8)
			what = fmt.Sprintf("byte %d of an entry", bit)
		}
		require.NoError(t, os.WriteFile(copied, content, 0o600))
		s, err := Open(copied, o)
		if err != nil {
			outcome[errorName(err)]++
			continue
		}
		got := answers(s, mats)
		for k, v := range got {
			if want[k] != v {
				t.Errorf("%s: %s is %.300s and was %.300s", what, k, v, want[k])
				break
			}
		}
		if len(got) < len(want) {
			refused++
		}
		_ = s.Close()
	}
	t.Logf("%d bytes, %d entries: of %d, %d answered less, at opening %v", len(whole), keys, times, refused, outcome)
	require.Greater(t, refused, times/4)
}
