package store

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
)

// closedLedger is a ledger of some size in a file that nobody holds open.
func closedLedger(t testing.TB, mats int) (string, *clock) {
	t.Helper()
	c := &clock{now: start}
	path := filepath.Join(t.TempDir(), "farm.resow")
	s, err := Create(path, settings, "ab", c.options())
	require.NoError(t, err)
	record(t, s, sanitizer())
	record(t, s, adds(1, mats)...)
	for i := 1; i <= mats; i++ {
		record(t, s, append(c.wash(code(i)), sow(code(i), fmt.Sprintf("L%d", i%3)))...)
	}
	require.NoError(t, s.Close())
	return path, c
}

func withStore(t testing.TB, path string, c *clock, do func(*Store)) {
	t.Helper()
	s, err := Open(path, c.options())
	require.NoError(t, err)
	do(s)
	require.NoError(t, s.Close())
}

func anchorAt(t testing.TB, path string, c *clock) (a Anchor) {
	withStore(t, path, c, func(s *Store) {
		var err error
		a, err = s.Anchor()
		require.NoError(t, err)
	})
	return a
}

// A backup has a state that the ledger had while it was made, though others
// record between any two of its pieces; it is a store like any other.
func TestBackupWhileOthersWrite(t *testing.T) {
	path, c := closedLedger(t, 900)
	had := map[Anchor]bool{anchorAt(t, path, c): true}
	dir := filepath.Join(t.TempDir(), "backups")
	wrote := 0
	b, err := BackUp(path, Backups{Dir: dir, Throttle: func() {
		withStore(t, path, c, func(s *Store) { // fails if the backup holds the file
			record(t, s, adds(20000+wrote*500, 500)...)
			record(t, s, step(code(1), &medium.Hold{Reason: "meanwhile"}))
			a, err := s.Anchor()
			require.NoError(t, err)
			had[a] = true
		})
		wrote++
	}}, c.options())
	require.NoError(t, err)
	require.Greater(t, wrote, 1)
	require.True(t, had[b.Anchor], b.Anchor)
	require.Equal(t, b.Anchor, anchorAt(t, path, c), "nobody recorded after the last piece")
	require.Equal(t, b.Anchor, anchorAt(t, b.Path, c))
	require.Contains(t, b.Path, fmt.Sprintf(".%d.backup", b.Anchor.Count))
	requireSameFile(t, path, b.Path)

	withStore(t, path, c, func(s *Store) { record(t, s, step(code(2), &medium.Hold{Reason: "later"})) })
	withStore(t, b.Path, c, func(s *Store) { verifyClean(t, s) })
	l, err := CompareBackup(b.Path, path, c.options())
	require.NoError(t, err)
	require.Equal(t, 1, l.Lost)
	require.False(t, l.Diverge)
	require.Equal(t, b.Anchor.Count+1, l.Steps[0].Seq)
}

// requireSameFile says that a copy has the bytes of a store that nobody writes
// to, except for the room at its end.
func requireSameFile(t testing.TB, path, copied string) {
	t.Helper()
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	got, err := os.ReadFile(copied)
	require.NoError(t, err)
	require.LessOrEqual(t, len(got), len(want))
	require.True(t, bytes.Equal(want[:len(got)], got))
}

// A restore that comes while a backup is made is backed up; the ledger of
// another farm is not taken for the one that was asked for.
func TestBackupOfAFileThatIsReplaced(t *testing.T) {
	path, c := closedLedger(t, 900)
	older, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	withStore(t, path, c, func(s *Store) { record(t, s, adds(20000, 900)...) })
	once := func(do func()) func() {
		return func() {
			if do != nil {
				do()
			}
			do = nil
		}
	}
	made, err := BackUp(path, Backups{Dir: t.TempDir(), Throttle: once(func() {
		_, _, err := Restore(older.Path, path, true, "ab", c.options())
		require.NoError(t, err)
	})}, c.options())
	require.NoError(t, err)
	require.Equal(t, anchorAt(t, path, c), made.Anchor)
	require.Equal(t, older.Anchor, made.Anchor)
	requireSameFile(t, path, made.Path)
	withStore(t, made.Path, c, func(s *Store) { verifyClean(t, s) })

	other := anotherFarm(t, c)
	dir := t.TempDir()
	_, err = BackUp(path, Backups{Dir: dir, Throttle: once(func() { require.NoError(t, os.Rename(other, path)) })}, c.options())
	var damaged *DamagedError
	require.ErrorAs(t, err, &damaged)
	require.ErrorContains(t, err, "the ledger of another farm was put in its place")
	requireEmpty(t, dir)
}

func requireEmpty(t testing.TB, dir string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, entries)
}

func TestRotation(t *testing.T) {
	path, c := closedLedger(t, 2)
	dir := t.TempDir()
	other := filepath.Join(dir, "farm.resow.00000000.20000101T000000Z.5.backup")
	require.NoError(t, os.WriteFile(other, []byte("of another farm"), 0o600))
	var made []string
	for range 5 {
		c.after(time.Hour)
		b, err := BackUp(path, Backups{Dir: dir, Keep: 3}, c.options())
		require.NoError(t, err)
		made = append(made, b.Path)
	}
	for i, p := range made {
		_, err := os.Stat(p)
		require.Equal(t, i < 2, errors.Is(err, os.ErrNotExist), p)
	}
	require.FileExists(t, other)
	_, err := BackUp(path, Backups{Dir: dir, Keep: 3}, c.options())
	var exists *ExistsError
	require.ErrorAs(t, err, &exists, "the same second")
}

// A backup that holds what the new one does not is never rotated away, nor does it
// push others out: neither one with more records, nor one of a history that parted
// from this one, nor one that nobody can read.
func TestRotationKeepsWhatTheNewOneLacks(t *testing.T) {
	path, c := closedLedger(t, 2)
	dir := t.TempDir()
	to := Backups{Dir: dir, Keep: 2}
	back := func() Backup {
		t.Helper()
		c.after(time.Hour)
		b, err := BackUp(path, to, c.options())
		require.NoError(t, err)
		return b
	}
	add := func(n int) { withStore(t, path, c, func(s *Store) { record(t, s, adds(1000*n, 3)...) }) }
	first := back()
	add(1)
	other := back()
	add(2)
	more := back()
	require.Equal(t, []string{first.Path}, more.Removed)

	c.after(time.Hour)
	_, _, err := Restore(other.Path, path, true, "ab", c.options())
	require.NoError(t, err)
	fewer := back()
	require.Equal(t, other.Anchor, fewer.Anchor)
	require.Empty(t, fewer.Removed)
	require.Equal(t, []Spared{{more.Path, fmt.Sprintf("it holds %d records, the new one %d", more.Anchor.Count, fewer.Anchor.Count)}}, fewer.Spared)
	require.FileExists(t, more.Path)

	add(3)
	add(4)
	broken := filepath.Join(dir, backupName("farm.resow", idOf(t, path, c), start, 1))
	require.NoError(t, os.WriteFile(broken, []byte("half a backup"), 0o600))
	parted := back()
	require.Equal(t, []string{other.Path}, parted.Removed, "two are kept of those that the new one holds")
	require.Len(t, parted.Spared, 2)
	require.Equal(t, broken, parted.Spared[0].Path)
	require.Contains(t, parted.Spared[0].Why, "can't be read")
	require.Equal(t, Spared{more.Path, "it holds other records than the ledger has now, such as from before a restore"}, parted.Spared[1])
	require.FileExists(t, more.Path)
	require.FileExists(t, broken)
	require.Contains(t, parted.Notes()[1], "Kept too, and not counted: "+more.Path)

	to.Keep = 1
	last := back()
	require.ElementsMatch(t, []string{fewer.Path, parted.Path}, last.Removed)
	require.Len(t, last.Spared, 2)
	require.FileExists(t, last.Path)
}

func idOf(t testing.TB, path string, c *clock) (id []byte) {
	withStore(t, path, c, func(s *Store) { id = s.ID() })
	return id
}

// A backup that a wrong clock has dated in the future pushes no real day out: what
// counts is what it holds. It is said as long as it is there.
func TestRotationWithAClockAhead(t *testing.T) {
	path, c := closedLedger(t, 2)
	dir := t.TempDir()
	to := Backups{Dir: dir, Keep: 2}
	day := func(at time.Time) Backup {
		t.Helper()
		c.now = at
		b, err := BackUp(path, to, c.options())
		require.NoError(t, err)
		return b
	}
	today := start.AddDate(0, 0, 1)
	ahead := day(start.AddDate(70, 0, 0))
	require.Empty(t, ahead.Ahead)
	one := day(today) // nothing was recorded since
	require.Equal(t, []string{ahead.Path}, one.Ahead)
	require.Contains(t, one.Notes()[0], "is dated after now")
	require.Empty(t, one.Removed)
	two := day(today.AddDate(0, 0, 1))
	require.Equal(t, []string{ahead.Path}, two.Removed)
	require.FileExists(t, one.Path)
	require.Equal(t, []string{one.Path}, day(today.AddDate(0, 0, 2)).Removed)

	withStore(t, path, c, func(s *Store) { record(t, s, adds(10, 1)...) })
	behind := day(time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)) // the battery of the clock was empty
	require.Len(t, behind.Ahead, 2)
	require.Equal(t, []string{two.Path}, behind.Removed)
	next := day(today.AddDate(0, 0, 3))
	require.Empty(t, next.Ahead)
	require.FileExists(t, behind.Path, "it holds more than the day before")
}

// A backup of a store whose records do not hold together is never named good,
// and rotates nothing away.
func TestNoBackupOfATamperedStore(t *testing.T) {
	path, c := closedLedger(t, 3)
	dir := t.TempDir()
	good, err := BackUp(path, Backups{Dir: dir, Keep: 1}, c.options())
	require.NoError(t, err)
	withStore(t, path, c, func(s *Store) {
		tamper(t, s, func(put func(bucket, key string, value []byte)) {
			put("log", recordKey(t, s, code(2), 3), nil)
		})
	})
	c.after(time.Hour)
	_, err = BackUp(path, Backups{Dir: dir, Keep: 1}, c.options())
	var unsound *UnsoundError
	require.ErrorAs(t, err, &unsound)
	require.Equal(t, path, unsound.Path, "the ledger is named, not the copy")
	requireOnly(t, dir, good.Path)
}

func requireOnly(t testing.TB, dir, path string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	require.Equal(t, filepath.Base(path), entries[0].Name())
}

// A page that is broken, whichever, is found before the last good backup is
// removed. The file is too large for its pages to be checked when it is opened.
func TestNoBackupOfABrokenPage(t *testing.T) {
	path, c := closedLedger(t, 500)
	dir := t.TempDir()
	good, err := BackUp(path, Backups{Dir: dir, Keep: 1}, c.options())
	require.NoError(t, err)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Greater(t, len(whole), checkAtOpen)
	used := pagesInUse(t, path)
	random := rand.New(rand.NewPCG(5, 5))
	for _, i := range random.Perm(len(used))[:20] {
		page := bytes.Clone(whole)
		clear(page[used[i]*4096 : used[i]*4096+4096])
		require.NoError(t, os.WriteFile(path, page, 0o600))
		c.after(time.Hour)
		_, err = BackUp(path, Backups{Dir: dir, Keep: 1}, c.options())
		var damaged *DamagedError
		require.ErrorAs(t, err, &damaged, "page %d", used[i])
		require.Equal(t, path, damaged.Path)
		requireOnly(t, dir, good.Path)
	}
}

// pagesInUse lists the pages of a file that are not free.
func pagesInUse(t testing.TB, path string) (ids []int) {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true, PreLoadFreelist: true})
	require.NoError(t, err)
	defer db.Close()
	require.Equal(t, 4096, db.Info().PageSize)
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		for id := 2; ; id++ {
			p, err := tx.Page(id)
			if err != nil || p == nil {
				return err
			}
			if p.Type != "free" {
				ids = append(ids, id)
			}
			id += p.OverflowCount
		}
	}))
	return ids
}

// Where only the copy is broken, as on a failing stick, the ledger is not blamed.
func TestCopyThatIsBroken(t *testing.T) {
	path, c := closedLedger(t, 20)
	b := newCopying(path, c.options())
	require.NoError(t, b.begin())
	defer b.end()
	var err error
	b.to, err = os.Create(filepath.Join(t.TempDir(), "copy"))
	require.NoError(t, err)
	defer b.to.Close()
	require.NoError(t, b.run())
	require.NoError(t, b.check(func(int, int) {}, nil))
	_, err = b.to.WriteAt(make([]byte, 4096), 4*4096)
	require.NoError(t, err)
	err = b.check(func(int, int) {}, nil)
	var damaged *DamagedError
	require.ErrorAs(t, err, &damaged)
	require.Equal(t, b.to.Name(), damaged.Path)
}

// What is derived from the records is copied as it is, for a restore makes it
// anew: a backup with a false due list is restored with a right one.
func TestBackupOfWhatIsDerivedWrongly(t *testing.T) {
	path, c := closedLedger(t, 3)
	dir := t.TempDir()
	withStore(t, path, c, func(s *Store) {
		tamper(t, s, func(put func(bucket, key string, value []byte)) {
			put("due", "foreign", []byte("x"))
			put("mats", string(code(2)), nil)
		})
	})
	made, err := BackUp(path, Backups{Dir: dir}, c.options())
	require.NoError(t, err)
	withStore(t, made.Path, c, func(s *Store) { found(t, s, &made.Anchor, "by a full verify") })
	fresh := filepath.Join(t.TempDir(), "farm.resow")
	_, _, err = Restore(made.Path, fresh, false, "ab", c.options())
	require.NoError(t, err)
	require.Equal(t, made.Anchor, anchorAt(t, fresh, c))
	withStore(t, fresh, c, func(s *Store) { verifyClean(t, s) })
}

// A store that another version derived otherwise is brought up to date before it
// is copied; where that can't be, since a record can't be read, none is made.
func TestBackupOfAnotherVersionsStore(t *testing.T) {
	path, c := closedLedger(t, 3)
	withStore(t, path, c, func(s *Store) {
		tamper(t, s, func(put func(bucket, key string, value []byte)) {
			put("meta", "views", []byte("other"))
			put("mats", string(code(2)), []byte("x"))
		})
	})
	dir := t.TempDir()
	made, err := BackUp(path, Backups{Dir: dir}, c.options())
	require.NoError(t, err)
	require.NoError(t, verifyFile(made.Path, made.Anchor, c.options()))
	withStore(t, path, c, func(s *Store) {
		tamper(t, s, func(put func(bucket, key string, value []byte)) {
			put("meta", "views", []byte("other"))
			put("log", recordKey(t, s, code(2), 2), []byte("x"))
		})
	})
	c.after(time.Hour)
	_, err = BackUp(path, Backups{Dir: dir, Keep: 1}, c.options())
	var unreadable *RecordError
	require.ErrorAs(t, err, &unreadable)
	require.Contains(t, unreadable.Error(), "record 11 of the ledger can't be read")
	requireOnly(t, dir, made.Path)
}

// What it tells of its progress only grows and ends at the whole.
func TestBackupProgress(t *testing.T) {
	path, c := closedLedger(t, 900)
	var told []int
	_, err := BackUp(path, Backups{Dir: t.TempDir(), Progress: func(done, total int) {
		require.Equal(t, 100, total)
		told = append(told, done)
	}}, c.options())
	require.NoError(t, err)
	require.True(t, slices.IsSorted(told), told)
	require.Contains(t, told, 50)
	require.Equal(t, 100, told[len(told)-1])
}

// What a run that died has left of a backup is removed by the next, what belongs
// to a run that lives or to another ledger is not.
func TestUnfinishedBackups(t *testing.T) {
	path, c := closedLedger(t, 3)
	var prefix string
	withStore(t, path, c, func(s *Store) { prefix = backupPrefix("farm.resow", s.ID()) })
	dir := t.TempDir()
	dead := filepath.Join(dir, "."+prefix+"20260101T000000Z.5.backup.4711.new") // as they were named once
	also := filepath.Join(dir, "."+prefix+"123.new")
	foreign := filepath.Join(dir, ".farm.resow.00000000.123.new")
	for _, name := range []string{dead, also, foreign} {
		require.NoError(t, os.WriteFile(name, []byte("part"), 0o600))
	}
	living, err := unfinished(dir, prefix)
	require.NoError(t, err)
	defer living.Close()
	made, err := BackUp(path, Backups{Dir: dir}, c.options())
	require.NoError(t, err)
	require.NoFileExists(t, dead)
	require.NoFileExists(t, also)
	for _, name := range []string{foreign, living.Name(), made.Path} {
		require.FileExists(t, name)
	}
}

func TestRestore(t *testing.T) {
	path, c := closedLedger(t, 3)
	b, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	withStore(t, path, c, func(s *Store) { record(t, s, step(code(2), &medium.Hold{Reason: "later"})) })
	later := anchorAt(t, path, c)

	_, _, err = Restore(b.Path, path, false, "ab", c.options())
	var loss *LossError
	require.ErrorAs(t, err, &loss)
	require.Equal(t, 1, loss.Loss.Lost)
	require.Contains(t, err.Error(), "1 record that was written after the backup would be lost")
	require.Equal(t, later, anchorAt(t, path, c), "refused, so left as it is")

	aside, _, err := Restore(b.Path, path, true, "ab", c.options())
	require.NoError(t, err)
	require.Equal(t, b.Anchor.Count+1, anchorAt(t, path, c).Count, "the lost hold is held anew")
	require.Equal(t, later, anchorAt(t, aside, c), "the file that was there is kept")
	withStore(t, path, c, func(s *Store) {
		verifyClean(t, s)
		record(t, s, step(code(3), &medium.Hold{Reason: "another future"}))
	})

	l, err := CompareBackup(aside, path, c.options())
	require.NoError(t, err)
	require.True(t, l.Diverge, "both went on from the backup")

	fresh := filepath.Join(t.TempDir(), "new.resow")
	aside, l, err = Restore(b.Path, fresh, false, "ab", c.options())
	require.NoError(t, err)
	require.Empty(t, aside)
	require.True(t, l.Nothing())
	require.Equal(t, b.Anchor, anchorAt(t, fresh, c))

	stranger := anotherFarm(t, c)
	l, err = CompareBackup(b.Path, stranger, c.options())
	require.NoError(t, err)
	require.True(t, l.Other)

	require.NoError(t, os.WriteFile(fresh, []byte("not a store at all"), 0o600))
	_, _, err = Restore(b.Path, fresh, false, "ab", c.options())
	require.ErrorAs(t, err, &loss)
	require.NotEmpty(t, loss.Loss.Problem)
	_, _, err = Restore(b.Path, fresh, true, "ab", c.options())
	require.NoError(t, err)
	require.Equal(t, b.Anchor, anchorAt(t, fresh, c))
}

// An older backup does not set free what was found since: the mats are held in
// the restored ledger, with the number of the record that is gone.
func TestRestoreHoldsWhatWasFoundSince(t *testing.T) {
	path, c := closedLedger(t, 7)
	withStore(t, path, c, func(s *Store) { // and some that are ready
		record(t, s, adds(8, 6)...)
		for i := 8; i <= 13; i++ {
			record(t, s, c.wash(code(i))...)
		}
	})
	b, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	n := b.Anchor.Count
	withStore(t, path, c, func(s *Store) {
		record(t, s, adds(50, 1)...)
		record(t, s, step(code(1), &medium.Mold{Where: "edge"}), step(code(2), &medium.Hold{Reason: strings.Repeat("ü", 100)}),
			step(code(3), &medium.Retire{Cause: "wear"}), step(code(4), &medium.Swab{Test: "ATP", Reading: 90, Limit: 30, Unit: "RLU"}),
			step(code(5), &medium.Swab{Test: "ATP", Reading: 9, Limit: 30, Unit: "RLU", Pass: true}), step(code(6), &medium.Cut{LengthMM: 20}),
			step(code(50), &medium.Mold{Where: "crop"}), step(code(1), &medium.Hold{Reason: "b"}), step(code(1), &medium.Mold{Where: "c"}), step(code(1), &medium.Mold{Where: "d"}))
		weak := *c.wash(code(9))[2].Body.(*medium.Sanitize)
		weak.ContactS = 1
		record(t, s, step(code(8), &medium.Inspect{Fuzz: true}), step(code(9), &weak), sow(code(10), "later"), step(code(11), &medium.Inspect{}),
			step(code(12), &medium.Correct{MatSeq: 4, Reason: "another mat"}), step(code(7), &medium.Harvest{}))
	})
	before := anchorAt(t, path, c)
	_, _, err = Restore(b.Path, path, true, "", c.options())
	var input *medium.InputError
	require.ErrorAs(t, err, &input, "nobody to hold them")
	require.Equal(t, before, anchorAt(t, path, c), "nothing was replaced")
	entries, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, entries, 1)

	_, l, err := Restore(b.Path, path, true, "mk", c.options())
	require.NoError(t, err)
	require.Len(t, l.Findings, 14)
	require.Equal(t, []medium.Code{code(50)}, l.Unheld)
	reasons := map[medium.Code]string{}
	for _, s := range l.Held {
		reasons[s.Mat] = s.Body.(*medium.Hold).Reason
		require.Equal(t, "mk", s.By)
	}
	require.Equal(t, map[medium.Code]string{
		code(1):  fmt.Sprintf("restored from a backup; record %d (mold, edge), record %d (hold, b), record %d (mold, c) and 1 more were lost", n+2, n+9, n+10),
		code(2):  fmt.Sprintf("restored from a backup; record %d (hold, %s…) was lost", n+3, strings.Repeat("ü", 33)),
		code(3):  fmt.Sprintf("restored from a backup; record %d (retired, wear) was lost", n+4),
		code(4):  fmt.Sprintf("restored from a backup; record %d (failed swab, ATP) was lost", n+5),
		code(6):  fmt.Sprintf("restored from a backup; record %d (cut, 20 mm) was lost", n+7),
		code(8):  fmt.Sprintf("restored from a backup; record %d (failed inspection) was lost", n+12),
		code(9):  fmt.Sprintf("restored from a backup; record %d (sanitize step not accepted) was lost", n+13),
		code(10): fmt.Sprintf("restored from a backup; record %d (sown, radish) was lost", n+14),
		code(12): fmt.Sprintf("restored from a backup; record %d (sanitize voided, another mat) was lost", n+16),
	}, reasons)
	require.Equal(t, anchorAt(t, path, c), *l.Restored)
	withStore(t, path, c, func(s *Store) {
		verifyClean(t, s)
		r, err := s.Verify(nil, &b.Anchor)
		require.NoError(t, err)
		require.True(t, r.OK, "the backup's records are all there")
		for i, want := range []bool{true, true, true, true, false, true, false, true, true, true, false, true, false} { // 7 was growing: it needs its wash by the backup too
			got, err := s.Condition(code(i + 1))
			require.NoError(t, err)
			require.Equal(t, want, got.Stage == medium.OnHold, "mat %d", i+1)
		}
	})
}

// What a restore lost can't be undone by a release: a crop that was moldy is not
// put back to be harvested, nor a mat that was sown on since to be sown on.
func TestRestoredHoldsAskForTheWash(t *testing.T) {
	path, c := closedLedger(t, 1)
	withStore(t, path, c, func(s *Store) {
		record(t, s, adds(21, 8)...)
		for i := 21; i <= 28; i++ {
			record(t, s, c.wash(code(i))...)
		}
		for i := 21; i <= 25; i++ {
			record(t, s, sow(code(i), "R-1"))
		}
	})
	b, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	weak := *c.wash(code(28))[2].Body.(*medium.Sanitize)
	weak.ContactS = 1
	lost := map[int]string{21: "mold, crop", 22: "failed swab, ATP", 23: "cut, 20 mm", 25: "hold, look at it", 26: "failed inspection", 27: "sown, radish", 28: "sanitize step not accepted"}
	withStore(t, path, c, func(s *Store) {
		record(t, s, step(code(21), &medium.Mold{Where: "crop"}), step(code(22), &medium.Swab{Test: "ATP", Reading: 90, Limit: 30, Unit: "RLU"}),
			step(code(23), &medium.Cut{LengthMM: 20}), step(code(25), &medium.Hold{Reason: "look at it"}), step(code(26), &medium.Inspect{Fuzz: true}),
			sow(code(27), "R-2"), step(code(28), &weak))
	})
	_, _, err = Restore(b.Path, path, true, "mk", c.options())
	require.NoError(t, err)
	withStore(t, path, c, func(s *Store) {
		for i, what := range lost {
			_, err := s.Record("", []medium.Step{step(code(i), &medium.Release{Reason: "ok", AsWas: true})})
			if i == 25 {
				require.NoError(t, err, "the lost hold allowed it itself")
				continue
			}
			var input *medium.InputError
			require.ErrorAs(t, err, &input, what)
			require.Contains(t, err.Error(), "("+what+") was lost")
			record(t, s, step(code(i), &medium.Release{Reason: "washed"}))
			got, err := s.Condition(code(i))
			require.NoError(t, err)
			require.Equal(t, medium.ToWash, got.Stage)
		}
		_, err := s.Record("", []medium.Step{step(code(21), &medium.Harvest{YieldG: 100})})
		require.Error(t, err, "the moldy crop is not harvested")
		record(t, s, step(code(24), &medium.Harvest{YieldG: 100}))
		verifyClean(t, s)
	})
}

// A mat that the backup shows anywhere between rinse and sowing would be sown on
// unwashed where the crop of since is lost.
func TestRestoreHoldsAMatWhoseCropIsLost(t *testing.T) {
	path, c := closedLedger(t, 1)
	withStore(t, path, c, func(s *Store) {
		record(t, s, adds(21, 4)...)
		for i := range 4 { // to dry, to sanitize, airing, ready
			record(t, s, c.wash(code(21 + i))[:i+1]...)
		}
	})
	b, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	withStore(t, path, c, func(s *Store) {
		for i := range 4 {
			record(t, s, append(c.wash(code(21 + i))[i+1:], sow(code(21+i), "R-1"))...)
		}
	})
	_, _, err = Restore(b.Path, path, true, "mk", c.options())
	require.NoError(t, err)
	withStore(t, path, c, func(s *Store) {
		for i := range 4 {
			got, err := s.Condition(code(21 + i))
			require.NoError(t, err)
			require.Equal(t, medium.OnHold, got.Stage, "it was %s", got.HeldIn)
			require.True(t, got.MustWash)
		}
		verifyClean(t, s)
	})
}

// A lost hold that allowed a release back to where the mat was allows it again;
// one that asked for a wash asks for it again.
func TestRestoreHoldsAsTheLostHoldDid(t *testing.T) {
	path, c := closedLedger(t, 2)
	b, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	withStore(t, path, c, func(s *Store) {
		record(t, s, step(code(1), &medium.Hold{Reason: "seed lot in doubt"}), step(code(2), &medium.Hold{Reason: "restored before", MustWash: true}))
	})
	_, l, err := Restore(b.Path, path, true, "mk", c.options())
	require.NoError(t, err)
	require.Len(t, l.Held, 2)
	require.False(t, l.Held[0].Body.(*medium.Hold).MustWash)
	require.True(t, l.Held[1].Body.(*medium.Hold).MustWash)
}

// A ledger behind a symbolic link is replaced where it is; the link stays one.
// Two restores within a second keep two files.
func TestRestoreThroughALinkAndTwiceASecond(t *testing.T) {
	path, c := closedLedger(t, 2)
	b, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	withStore(t, path, c, func(s *Store) { record(t, s, adds(50, 1)...) })
	link := filepath.Join(t.TempDir(), "link.resow")
	if err := os.Symlink(path, link); err != nil {
		t.Skipf("no symbolic links here: %s", err)
	}
	now := c.options().Now()
	o := c.options()
	o.Now = func() time.Time { return now }
	first, _, err := Restore(b.Path, link, true, "ab", o)
	require.NoError(t, err)
	require.Equal(t, filepath.Dir(realPath(path)), filepath.Dir(first))
	second, _, err := Restore(b.Path, link, true, "ab", o)
	require.NoError(t, err)
	require.Equal(t, first+"-2", second)
	info, err := os.Lstat(link)
	require.NoError(t, err)
	require.NotZero(t, info.Mode()&os.ModeSymlink)
	require.Equal(t, b.Anchor, anchorAt(t, path, c))
	require.Equal(t, b.Anchor, anchorAt(t, link, c))
	require.Equal(t, b.Anchor.Count+1, anchorAt(t, first, c).Count)

	require.NoError(t, os.Remove(path))
	_, _, err = Restore(b.Path, link, false, "", o)
	require.NoError(t, err, "the link leads to a file that is gone")
	require.Equal(t, b.Anchor, anchorAt(t, path, c))
}

// A missing backup, and a missing folder, are named as what they are.
func TestMissingBackupAndFolder(t *testing.T) {
	path, c := closedLedger(t, 1)
	_, _, err := Restore(filepath.Join(t.TempDir(), "nosuch.backup"), path, true, "ab", c.options())
	var missing *MissingError
	require.ErrorAs(t, err, &missing)
	require.ErrorContains(t, err, "there is no backup file")
	require.NotContains(t, err.Error(), "resow init")
	dir := filepath.Join(t.TempDir(), "nowhere")
	_, err = Create(filepath.Join(dir, "farm.resow"), settings, "ab", c.options())
	require.ErrorContains(t, err, "the folder "+dir+" does not exist")
	require.NotContains(t, err.Error(), "make room")
}

// A backup on a disk that is full, whatever room is left, leaves no part of a
// file there.
func TestBackupOnAFullDisk(t *testing.T) {
	path, c := closedLedger(t, 200)
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=256k", "resow-test", dir).CombinedOutput(); err != nil {
		t.Skipf("a disk can't be mounted here: %s", out)
	}
	t.Cleanup(func() { _ = exec.Command("umount", dir).Run() })
	for _, filled := range []int{256, 252, 248, 240, 224, 192, 128, 0} { // KiB
		fill := filepath.Join(dir, "fill")
		_ = os.WriteFile(fill, make([]byte, filled<<10), 0o600)
		_, err := BackUp(path, Backups{Dir: dir}, c.options())
		var full *WriteError
		require.ErrorAs(t, err, &full, "%d KiB", filled)
		require.NoError(t, os.Remove(fill))
		requireEmpty(t, dir)
	}
}

// Somebody who waits for the file while it is replaced writes into the new one,
// not into the one that was moved aside.
func TestWriterWaitsThroughARestore(t *testing.T) {
	path, c := closedLedger(t, 1)
	b, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
	require.NoError(t, err)
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	require.NoError(t, lock(f, true, time.Second))
	wrote := make(chan error)
	go func() {
		s, err := Open(path, c.options())
		if err == nil {
			_, err = s.Record("", []medium.Step{step(code(1), &medium.Hold{Reason: "waited"})})
			s.Close()
		}
		wrote <- err
	}()
	time.Sleep(50 * time.Millisecond) // it has the old file open and waits
	require.NoError(t, os.Rename(path, path+".old"))
	content, err := os.ReadFile(b.Path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, content, 0o600))
	require.NoError(t, f.Close())
	require.NoError(t, <-wrote)
	require.Equal(t, b.Anchor.Count+1, anchorAt(t, path, c).Count)
	require.Equal(t, b.Anchor.Count, anchorAt(t, path+".old", c).Count)
}

// A backup that was written in part, at any length, is never taken: its name is
// given last, and a cut file of that name is refused.
func TestPartialBackup(t *testing.T) {
	path, c := closedLedger(t, 3)
	dir := t.TempDir()
	b, err := BackUp(path, Backups{Dir: dir}, c.options())
	require.NoError(t, err)
	content, err := os.ReadFile(b.Path)
	require.NoError(t, err)
	part := filepath.Join(dir, "part.backup")
	refused := 0
	for n := 0; n < len(content); n += max(1, len(content)/250) {
		require.NoError(t, os.WriteFile(part, content[:n], 0o600))
		_, _, err := Restore(part, path, true, "ab", c.options())
		if err == nil { // only what the file does not use was cut off
			require.Equal(t, b.Anchor, anchorAt(t, path, c), "%d of %d bytes", n, len(content))
			withStore(t, path, c, func(s *Store) { verifyClean(t, s) })
			c.after(time.Second)
			continue
		}
		refused++
	}
	require.Equal(t, b.Anchor, anchorAt(t, path, c))
	require.GreaterOrEqual(t, refused, 100)
}

// Repair makes what is derived anew, whatever was done to it, and leaves every
// record and the ledger's head as they are.
func TestRepair(t *testing.T) {
	s, _ := smallLedger(t)
	whole := dump(t, s)
	records := stepBytes(t, s)
	for key, value := range whole {
		bucket, k := split(key)
		if bucket == "log" || bucket == "meta" && k != "views" && k != "sums" {
			continue
		}
		for _, broken := range [][]byte{nil, append([]byte(value), 1), []byte("x")} {
			tamper(t, s, func(put func(bucket, key string, value []byte)) { put(bucket, k, broken) })
			before, after, err := s.Repair(nil)
			require.NoError(t, err, key)
			require.False(t, before.OK, key)
			require.True(t, after.OK, "%s: %+v", key, after.Problems)
			require.Equal(t, facts(whole), facts(dump(t, s)), key)
		}
	}
	tamper(t, s, func(put func(bucket, key string, value []byte)) { put("due", "foreign", []byte("x")) })
	_, after, err := s.Repair(nil)
	require.NoError(t, err)
	require.True(t, after.OK, "%+v", after.Problems)
	require.Equal(t, records, stepBytes(t, s))
}

// A record that was changed is reported before and after: a repair is no way to
// hide it.
func TestRepairDoesNotHideATamperedRecord(t *testing.T) {
	path, c := closedLedger(t, 2)
	withStore(t, path, c, func(s *Store) {
		key := recordKey(t, s, code(1), 6)
		var stored []byte
		require.NoError(t, s.view(func(tx *bbolt.Tx) error {
			stored = []byte(strings.Replace(string(tx.Bucket(bucketLog).Get([]byte(key))), "radish", "carrot", 1))
			return nil
		}))
		tamper(t, s, func(put func(bucket, key string, value []byte)) { put("log", key, stored) })
		before := stepBytes(t, s)
		_, after, err := s.Repair(nil)
		var unsound *UnsoundError
		require.ErrorAs(t, err, &unsound, "nothing is derived from it")
		require.False(t, after.OK)
		require.Equal(t, before, stepBytes(t, s))
	})
}

// anotherFarm makes the ledger of another farm.
func anotherFarm(t *testing.T, c *clock) string {
	path := filepath.Join(t.TempDir(), "other.resow")
	o := c.options()
	o.Program = "another farm's"
	s, err := Create(path, settings, "ab", o)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	return path
}
