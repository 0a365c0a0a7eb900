package store

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
)

// start is when the tests' clock begins.
var start = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

var settings = medium.FarmSettings{Name: "Dew Lane", Zone: "Europe/Berlin", Units: medium.Metric, Currency: "EUR", Paper: "a4"}

// clock is a clock that a test moves by hand.
type clock struct{ now time.Time }

func (c *clock) options() Options {
	return Options{Now: func() time.Time { return c.now }, Random: rand.NewChaCha8([32]byte{1}), Wait: 2 * time.Second, Program: "resow test", NoSync: true}
}

func (c *clock) after(d time.Duration) { c.now = c.now.Add(d) }

// folder gives a folder of the test's own, in memory where that is at hand: most
// tests would spend their time waiting for a disk that they do not test.
// Benchmarks are given the disk.
func folder(t testing.TB) string {
	const memory = "/dev/shm"
	_, timed := t.(*testing.B)
	if _, err := os.Stat(memory); timed || err != nil || runtime.GOOS != "linux" {
		return t.TempDir()
	}
	dir, err := os.MkdirTemp(memory, "resow-test")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// newStore makes a store that is verified when the test ends.
func newStore(t testing.TB) (*Store, *clock) {
	t.Helper()
	c := &clock{now: start}
	s, err := Create(filepath.Join(folder(t), "farm.resow"), settings, "ab", c.options())
	require.NoError(t, err)
	t.Cleanup(func() {
		verifyClean(t, s)
		require.NoError(t, s.Close())
	})
	return s, c
}

// adopt puts a reopened store in the place of a closed one, so that the end of
// the test verifies it.
func adopt(s, next *Store) {
	s.path, s.o, s.db, s.file, s.identity, s.genesis = next.path, next.o, next.db, next.file, next.identity, next.genesis
}

// verifyClean is the user's own verify, with which every test ends.
func verifyClean(t testing.TB, s *Store) {
	t.Helper()
	a, err := s.Anchor()
	require.NoError(t, err)
	r, err := s.Verify(nil, &a)
	require.NoError(t, err)
	require.True(t, r.OK, "%+v", r.Problems)
	require.NoError(t, s.view(func(tx *bbolt.Tx) (first error) { // bbolt's own check of its pages
		for err := range tx.Check() {
			first = cmp.Or[error](first, err)
		}
		return first
	}))
}

func code(i int) medium.Code { return medium.Code(fmt.Sprintf("T%06dX", i)) }

func mesh() medium.Mat {
	return medium.Mat{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, ApertureMM: 0.8, ThreadMM: 0.3, Layers: 1,
		ContactStatement: "for dry and moist food", ContactDate: "2026-01-15"}
}

func step(mat medium.Code, b medium.Body) medium.Step {
	return medium.Step{Mat: mat, By: "ab", Body: b}
}

func adds(from, n int) []medium.Step {
	steps := make([]medium.Step, n)
	for i := range steps {
		steps[i] = step(code(from+i), &medium.Add{Mat: mesh()})
	}
	return steps
}

// wash brings a mat that waits to wash to ready; the clock goes on for the time
// that it takes.
func (c *clock) wash(mat medium.Code) []medium.Step {
	begun := c.now
	c.after(3 * time.Hour)
	at := func(after time.Duration, b medium.Body) medium.Step {
		s := step(mat, b)
		s.At = begun.Add(after)
		return s
	}
	return []medium.Step{
		at(30*time.Minute, &medium.Rinse{Debris: medium.DebrisNone}),
		at(90*time.Minute, &medium.Dry{Where: medium.DryAir, DurationS: 3600}),
		at(105*time.Minute, &medium.Sanitize{Active: "peroxide", StrengthPPM: 1000, ContactS: 600, Sides: 2, Method: "spray"}),
		at(3*time.Hour, &medium.Dry{Where: medium.DryAir, DurationS: 3600}),
	}
}

func sanitizer() medium.Step {
	return step("", &medium.Sanitizer{Name: "Peroxide 3 %", Active: "peroxide", Directions: medium.DirectionsLabel, MinPPM: 800, MaxPPM: 1100, ContactS: 300})
}

func sow(mat medium.Code, lot string) medium.Step {
	return step(mat, &medium.Sow{Crops: []medium.Sown{{Crop: "radish", SeedG: 12.5}}, Lot: lot, SeedLot: "S-" + lot})
}

func record(t testing.TB, s *Store, steps ...medium.Step) []medium.Step {
	t.Helper()
	got, err := s.Record("", steps)
	require.NoError(t, err)
	return got
}

func TestTurn(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(1, 3)...)
	record(t, s, sanitizer())
	c.after(time.Hour)
	record(t, s, c.wash(code(1))...)
	got := record(t, s, sow(code(1), "Lot 7"))
	require.Equal(t, medium.Growing, got[0].Outcome.To)
	require.Equal(t, uint64(10), got[0].Seq)
	require.Equal(t, uint64(6), got[0].MatSeq)

	cond, err := s.Condition(code(1))
	require.NoError(t, err)
	require.Equal(t, medium.Growing, cond.Stage)
	require.Equal(t, 1, cond.Turn)
	thread, err := s.Thread(code(1))
	require.NoError(t, err)
	require.Equal(t, got[0], thread[5], "what Record gives back is what is read later")
	require.Equal(t, medium.Replay(thread), cond)

	mats, err := s.Lot(" lot  7 ")
	require.NoError(t, err)
	require.Equal(t, []medium.Code{code(1)}, mats)
	mats, err = s.SeedLot("S-LOT 7")
	require.NoError(t, err)
	require.Equal(t, []medium.Code{code(1)}, mats)
	mats, err = s.Lot("lot")
	require.NoError(t, err)
	require.Empty(t, mats)

	farm, err := s.Farm()
	require.NoError(t, err)
	require.Equal(t, settings.Name, farm.Settings.Name)
	require.Len(t, farm.Sanitizers, 1)

	due, err := s.Due(c.now.AddDate(1, 0, 0), 0)
	require.NoError(t, err)
	require.Len(t, due, 3)
	require.Equal(t, medium.KindMist, due[0].Step)
	due, err = s.Due(c.now, 0)
	require.NoError(t, err)
	require.Empty(t, due)

	var codes []medium.Code
	require.NoError(t, s.Conditions(func(c medium.Condition) error { codes = append(codes, c.Code); return nil }))
	require.Equal(t, []medium.Code{code(1), code(2), code(3)}, codes)
	n := 0
	require.NoError(t, s.Steps(func(medium.Step) error { n++; return nil }))
	require.Equal(t, 10, n)
}

func TestAllOrNothing(t *testing.T) {
	s, _ := newStore(t)
	before, err := s.Anchor()
	require.NoError(t, err)
	steps := append(adds(1, 3), step(code(2), &medium.Dry{Where: "oven"}))
	_, err = s.Record("", steps)
	var input *medium.InputError
	require.ErrorAs(t, err, &input)
	after, err := s.Anchor()
	require.NoError(t, err)
	require.Equal(t, before, after)
	require.False(t, s.Exists(code(1)))
}

func TestUnknownMat(t *testing.T) {
	s, _ := newStore(t)
	var unknown *UnknownMatError
	_, err := s.Condition(code(9))
	require.ErrorAs(t, err, &unknown)
	_, err = s.Thread(code(9))
	require.ErrorAs(t, err, &unknown)
	_, err = s.Resolve(code(9))
	require.ErrorAs(t, err, &unknown)
	_, err = s.ByMark("dots 3")
	require.ErrorAs(t, err, &unknown)
	_, err = s.Record("", []medium.Step{step(code(9), &medium.Hold{Reason: "dropped"})})
	require.ErrorAs(t, err, &unknown)
	_, err = s.Record("", []medium.Step{step(code(9), &medium.Correct{MatSeq: 1, Reason: "x"})})
	require.ErrorAs(t, err, &unknown)
	require.Contains(t, err.Error(), string(code(9)))
}

func TestRelabel(t *testing.T) {
	s, _ := newStore(t)
	marked := mesh()
	marked.Mark = "Dots 3-1"
	record(t, s, step(code(1), &medium.Add{Mat: marked}), step(code(2), &medium.Add{Mat: mesh()}))
	record(t, s, step(code(1), &medium.Relabel{Reason: "faded", NewCode: code(11), Mark: "notch 2"}))

	for _, tag := range []medium.Code{code(1), code(11)} {
		mat, err := s.Resolve(tag)
		require.NoError(t, err)
		require.Equal(t, code(1), mat)
	}
	for _, mark := range []string{"dots 3-1", " DOTS  3-1", "notch 2"} {
		mat, err := s.ByMark(mark)
		require.NoError(t, err)
		require.Equal(t, code(1), mat)
	}
	got := record(t, s, step(code(11), &medium.Hold{Reason: "doubt"}))
	require.Equal(t, code(1), got[0].Mat, "a later code names the same mat")

	var taken *TakenError
	for name, taking := range map[string]medium.Step{
		"mark of another at adding": step(code(3), &medium.Add{Mat: marked}),
		"mark of another":           step(code(2), &medium.Relabel{Reason: "x", Mark: "dots 3-1"}),
		"first code of another":     step(code(2), &medium.Relabel{Reason: "x", NewCode: code(1)}),
		"later code of another":     step(code(2), &medium.Relabel{Reason: "x", NewCode: code(11)}),
		"own code":                  step(code(2), &medium.Relabel{Reason: "x", NewCode: code(2)}),
		"later code as a new mat":   step(code(11), &medium.Add{Mat: mesh()}),
	} {
		_, err := s.Record("", []medium.Step{taking})
		require.ErrorAs(t, err, &taken, name)
	}
	_, err := s.Record("", adds(1, 1))
	var stage *medium.StageError
	require.ErrorAs(t, err, &stage)
	var input *medium.InputError
	for _, bad := range []medium.Code{"", "T12", "t123456X", "T1234 6X", medium.FarmThread} {
		_, err = s.Record("", []medium.Step{step(bad, &medium.Add{Mat: mesh()})})
		require.ErrorAs(t, err, &input, "%q", bad)
		if bad == "" {
			continue
		}
		_, err = s.Record("", []medium.Step{step(code(2), &medium.Relabel{Reason: "x", NewCode: bad})})
		require.ErrorAs(t, err, &input, "%q", bad)
	}
}

func TestToken(t *testing.T) {
	s, c := newStore(t)
	first, err := s.Record("req-1", adds(1, 2))
	require.NoError(t, err)
	c.after(time.Minute)
	again, err := s.Record("req-1", adds(1, 2))
	require.NoError(t, err)
	require.Equal(t, first, again)
	var token *TokenError
	_, err = s.Record("req-1", adds(1, 3))
	require.ErrorAs(t, err, &token)
	_, err = s.Record("req-1", adds(5, 2))
	require.ErrorAs(t, err, &token)
	n := 0
	require.NoError(t, s.Steps(func(medium.Step) error { n++; return nil }))
	require.Equal(t, 3, n)
	farm, err := s.Record("req-2", []medium.Step{sanitizer()})
	require.NoError(t, err)
	again, err = s.Record("req-2", []medium.Step{sanitizer()})
	require.NoError(t, err)
	require.Equal(t, farm, again)
}

func TestCorrect(t *testing.T) {
	s, c := newStore(t)
	record(t, s, sanitizer())
	record(t, s, adds(1, 1)...)
	record(t, s, c.wash(code(1))...)
	sown := record(t, s, sow(code(1), "A"))[0]
	record(t, s, step(code(1), &medium.Correct{MatSeq: sown.MatSeq, Reason: "another mat"}))
	cond, err := s.Condition(code(1))
	require.NoError(t, err)
	require.Equal(t, medium.Ready, cond.Stage)
	mats, err := s.Lot("A")
	require.NoError(t, err)
	require.Empty(t, mats, "a voided sowing touched no lot")
	verifyClean(t, s)
	record(t, s, sow(code(1), "A"))
	record(t, s, step(code(1), &medium.Harvest{YieldG: 200}))
	var refused *medium.CorrectError
	_, err = s.Record("", []medium.Step{step(code(1), &medium.Correct{MatSeq: sown.MatSeq, Reason: "again"})})
	require.ErrorAs(t, err, &refused)
}

func TestPolicyChangeMovesTheDueList(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(1, 3)...)
	due, err := s.Due(c.now.Add(24*time.Hour), 0)
	require.NoError(t, err)
	require.Empty(t, due)
	record(t, s,
		step("", &medium.PolicyChange{Setting: medium.Setting{Rule: "new-mat-hours", On: true, Limit: 2}, Reason: "the shelf is free"}),
		adds(4, 1)[0])
	due, err = s.Due(c.now.Add(24*time.Hour), 0)
	require.NoError(t, err)
	require.Len(t, due, 4)
	all, err := s.Due(c.now.AddDate(10, 0, 0), 0)
	require.NoError(t, err)
	for _, w := range all { // at the very second of each, and one before
		for _, until := range []time.Time{w.At, w.At.Add(-time.Second)} {
			due, err := s.Due(until, 0)
			require.NoError(t, err)
			expected := 0
			for _, other := range all {
				if !other.At.After(until) {
					expected++
				}
			}
			require.Len(t, due, expected)
		}
	}
	due, err = s.Due(c.now.Add(24*time.Hour), 2)
	require.NoError(t, err)
	require.Len(t, due, 2)
	verifyClean(t, s)
	record(t, s, step("", &medium.PolicyChange{Setting: medium.Setting{Rule: "new-mat-hours", On: false, Limit: 2}, Reason: "trial"}))
}

// What is learned later of a solution moves the mats that rested on it in the due
// list, at once and in what is made anew from the records.
func TestWhatIsLearnedLaterMovesTheDueList(t *testing.T) {
	s, c := newStore(t)
	const bottle = "B000001X"
	record(t, s, sanitizer())
	record(t, s, adds(1, 3)...)
	record(t, s, step("", &medium.Solution{Code: bottle, Product: "Peroxide 3 %", StrengthPPM: 1000}), step("", &medium.Strip{Code: bottle, ReadPPM: 1000, StepPPM: 50}))
	mixed := c.now
	var last time.Time // when the third was sanitized
	for i := 1; i <= 3; i++ {
		steps := c.wash(code(i))
		use := steps[2].Body.(*medium.Sanitize)
		use.Active, use.Solution = "", bottle
		done := record(t, s, steps[:3]...)
		require.True(t, done[2].Outcome.Accepted, "%+v", done[2].Outcome.Findings)
		last = done[2].At
	}
	rested := func() (codes []medium.Code) {
		due, err := s.Due(c.now.Add(24*time.Hour), 0)
		require.NoError(t, err)
		for _, w := range due {
			if w.Dues[0].Rule == "rested-on" {
				codes = append(codes, w.Code)
			}
		}
		return codes
	}
	c.after(time.Hour)
	record(t, s, step("", &medium.Strip{Code: bottle, ReadPPM: 1000, StepPPM: 50}))
	require.Empty(t, rested(), "read now")
	record(t, s, medium.Step{By: "ab", At: last.Add(-time.Minute), Body: &medium.Strip{Code: bottle, ReadPPM: 200, StepPPM: 50}})
	require.Equal(t, []medium.Code{code(3)}, rested(), "used after that reading")
	verifyClean(t, s)
	record(t, s, medium.Step{By: "ab", At: mixed.Add(time.Hour), Body: &medium.Discard{Code: bottle, Reason: "used up"}})
	require.Len(t, rested(), 3)
	verifyClean(t, s)
	require.NoError(t, s.rebuild())
	require.Len(t, rested(), 3)
	verifyClean(t, s)
	again := c.wash(code(1))[2]
	record(t, s, again)
	require.Len(t, rested(), 2, "until the next accepted sanitizing")
	verifyClean(t, s)
}

func TestClockSetBack(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(1, 1)...)
	record(t, s, step(code(1), &medium.Rinse{Debris: medium.DebrisNone})) // unlike a registration, it can be voided
	c.after(-48 * time.Hour)
	_, err := s.Record("", []medium.Step{step(code(1), &medium.Inspect{})})
	var back *medium.TimeError
	require.ErrorAs(t, err, &back)
	held := record(t, s, step(code(1), &medium.Hold{Reason: "doubt"}))[0] // a report of danger is taken all the same
	require.Equal(t, start.UTC(), held.At)
	require.Equal(t, start.Add(-48*time.Hour).UTC(), held.Seen)
	require.Equal(t, "clock-wrong", held.Outcome.Findings[0].Rule)
	record(t, s, adds(2, 1)...)
}

func TestLimits(t *testing.T) {
	s, _ := newStore(t)
	var input *medium.InputError
	_, err := s.Record("", nil)
	require.ErrorAs(t, err, &input)
	_, err = s.Record("", make([]medium.Step, MaxSteps+1))
	require.ErrorAs(t, err, &input)
	_, err = s.Record("", []medium.Step{{Mat: code(1), By: "ab"}})
	require.ErrorAs(t, err, &input)
	_, err = s.Record("", []medium.Step{{By: "ab"}})
	require.ErrorAs(t, err, &input)
	_, err = s.Record(string(make([]byte, 300)), adds(1, 1))
	require.ErrorAs(t, err, &input)
	for name, m := range map[string]medium.Mat{"not UTF-8": {Supplier: "a\xffb"}, "too long": {ContactStatement: string(make([]byte, 1<<17))}, "mark": {Mark: string(make([]byte, 1000))}} {
		mat := mesh()
		mat.Supplier, mat.ContactStatement, mat.Mark = m.Supplier, m.ContactStatement, m.Mark
		_, err = s.Record("", []medium.Step{step(code(1), &medium.Add{Mat: mat})})
		require.ErrorAs(t, err, &input, name)
	}
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	o := (&clock{now: start}).options()
	file := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, content, 0o600))
		return path
	}
	whole := func() []byte {
		path := filepath.Join(dir, "whole")
		s, err := Create(path, settings, "ab", o)
		require.NoError(t, err)
		record(t, s, adds(1, 50)...)
		verifyClean(t, s)
		require.NoError(t, s.Close())
		content, err := os.ReadFile(path)
		require.NoError(t, err)
		return content
	}()
	var missing *MissingError
	var foreign *NotStoreError
	var damaged *DamagedError
	open := func(path string) error {
		for _, o.ReadOnly = range []bool{true, false} {
			s, err := Open(path, o)
			if err == nil {
				s.Close()
				return nil
			}
			if !o.ReadOnly {
				return err
			}
		}
		return nil
	}
	err := open(filepath.Join(dir, "none"))
	require.ErrorAs(t, err, &missing)
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = os.Stat(filepath.Join(dir, "none"))
	require.ErrorIs(t, err, fs.ErrNotExist, "opening makes no file")
	for name, content := range map[string][]byte{"empty": {}, "short": []byte("hello"), "text": []byte(fmt.Sprintf("%0100000d", 7)), "zeros": make([]byte, 1<<16)} {
		require.ErrorAs(t, open(file(name, content)), &foreign, name)
	}
	require.ErrorAs(t, open(dir), &foreign)
	for n := 1; n < len(whole); n += 997 {
		path := file("cut", whole[:n])
		err := open(path)
		o.ReadOnly = false
		if err == nil { // only what bbolt had not used yet is gone
			s, err := Open(path, o)
			require.NoError(t, err)
			verifyClean(t, s)
			record(t, s, adds(60, 1)...)
			verifyClean(t, s)
			require.NoError(t, s.Close())
			require.Greater(t, n, len(whole)/2)
			continue
		}
		if !errors.As(err, &damaged) && !errors.As(err, &foreign) {
			t.Fatalf("cut to %d: %v", n, err)
		}
	}
	_, err = Create(file("there", []byte("x")), settings, "ab", o)
	var exists *ExistsError
	require.ErrorAs(t, err, &exists)
	_, err = Create(filepath.Join(dir, "bad"), medium.FarmSettings{}, "ab", o)
	require.Error(t, err)
	_, err = Create(filepath.Join(dir, "no", "such", "folder"), settings, "ab", o)
	var write *WriteError
	require.ErrorAs(t, err, &write)
	left, err := filepath.Glob(filepath.Join(dir, "*bad*"))
	require.NoError(t, err)
	require.Empty(t, left)
	left, err = filepath.Glob(filepath.Join(dir, ".*"))
	require.NoError(t, err)
	require.Empty(t, left, "a run leaves no other file")
}

func TestReadOnly(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(1, 1)...)
	require.NoError(t, s.Close())
	o := c.options()
	o.ReadOnly, o.keep = true, true
	r, err := Open(s.path, o)
	require.NoError(t, err)
	r2, err := Open(s.path, o)
	require.NoError(t, err, "readers share")
	_, err = r.Record("", adds(2, 1))
	var readOnly *ReadOnlyError
	require.ErrorAs(t, err, &readOnly)
	verifyClean(t, r)
	o.ReadOnly, o.keep, o.Wait = false, false, 20*time.Millisecond
	began := time.Now()
	_, err = Open(s.path, o)
	var busy *BusyError
	require.ErrorAs(t, err, &busy)
	require.Less(t, time.Since(began), time.Second)
	require.NoError(t, r2.Close())
	require.NoError(t, r.Close())
	w, err := Open(s.path, o)
	require.NoError(t, err)
	adopt(s, w)
}

// An older file whose conditions were derived in another way is brought up to
// date when it is opened, for reading too.
func TestViewsAreBroughtUpToDate(t *testing.T) {
	s, c := newStore(t)
	path := s.path
	_, err := s.Record("tok", append(adds(1, 3), sanitizer()))
	require.NoError(t, err)
	marked := mesh()
	marked.Mark = "dot"
	record(t, s, append(c.wash(code(1)), sow(code(1), "L"), step(code(4), &medium.Add{Mat: marked}), step(code(2), &medium.Relabel{Reason: "x", NewCode: code(12)}))...)
	before := facts(dump(t, s))
	for _, readOnly := range []bool{true, false} {
		tamper(t, s, func(put func(bucket, key string, value []byte)) {
			put("meta", "views", []byte("another!"))
			put("mats", string(code(1)), nil)
			put("due", "12345678"+string(code(1)), []byte("x"))
			put("lots", "Lx\x00"+string(code(1)), []byte{})
			put("farm", "farm", []byte("x"))
		})
		require.NoError(t, s.Close())
		o := c.options()
		o.ReadOnly = readOnly
		next, err := Open(path, o)
		require.NoError(t, err)
		verifyClean(t, next)
		if after := facts(dump(t, next)); !reflect.DeepEqual(before, after) {
			t.Fatalf("rebuilt file differs:\n%v\n%v", before, after)
		}
		require.NoError(t, next.Close())
		o.ReadOnly = false
		next, err = Open(path, o)
		require.NoError(t, err)
		adopt(s, next)
	}
}

// verifyFile opens a file and holds all of it against all, and against an anchor.
func verifyFile(path string, want Anchor, o Options) error {
	o.ReadOnly = true
	s, err := Open(path, o)
	if err != nil {
		return err
	}
	defer s.Close()
	r, err := s.Verify(nil, &want)
	if err != nil {
		return err
	}
	now, err := s.Anchor()
	if err != nil {
		return err
	}
	if !r.OK {
		return &UnsoundError{Path: path, Problems: r.Problems}
	}
	if now != want {
		return &UnsoundError{Path: path, Problems: []Problem{{Text: fmt.Sprintf("its anchor is %s, it must be %s", now, want)}}}
	}
	return nil
}

// TestSentBy: a step that a phone kept says who did it and who sent it, and its
// token gives it back.
func TestSentBy(t *testing.T) {
	s, _ := newStore(t)
	record(t, s, adds(1, 1)...)
	mat := code(1)
	_, err := s.Record("kept", []medium.Step{{Mat: mat, By: "mk", SentBy: " ab ", Body: &medium.Hold{Reason: "look"}}})
	require.NoError(t, err)
	got, err := s.Recorded("kept")
	require.NoError(t, err)
	require.Len(t, got, 1)
	require.Equal(t, "mk", got[0].By)
	require.Equal(t, "ab", got[0].SentBy)
	again, err := s.Record("kept", []medium.Step{{Mat: mat, By: "mk", SentBy: "xy", Body: &medium.Hold{Reason: "look"}}})
	require.NoError(t, err)
	require.Equal(t, got, again, "whoever sends it again, it is the same step")
	none, err := s.Recorded("other")
	require.NoError(t, err)
	require.Empty(t, none)
	own, err := s.Record("", []medium.Step{{Mat: mat, By: "mk", SentBy: "MK", Body: &medium.Hold{Reason: "look"}}})
	require.NoError(t, err)
	require.Empty(t, own[0].SentBy, "who sends his own is not named twice")
	_, err = s.Record("", []medium.Step{{Mat: mat, By: "mk", SentBy: "a\x1b[2J", Body: &medium.Hold{Reason: "look"}}})
	require.Error(t, err)
	verifyClean(t, s)
}
