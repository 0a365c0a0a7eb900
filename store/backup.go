package store

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// A backup is a copy of the file as it was at one moment, with every page,
// record and hash checked before it gets its name. What is derived from the
// records is copied with them and not looked at: a restore makes it anew.

// backupStamp is the time in the name of a backup, in UTC. Names in order are
// backups in order.
const backupStamp = "20060102T150405Z"

// Backups says where backups are kept, and how many.
type Backups struct {
	Dir      string
	Keep     int                   // of this store; 0 keeps all
	Throttle func()                // called between two pieces of a megabyte, with nothing locked; nil: no pause
	Progress func(done, total int) // in hundredths; may be nil
}

// Backup is a backup that was made and verified.
type Backup struct {
	Path    string   `json:"path"`
	Anchor  Anchor   `json:"anchor"`
	Removed []string `json:"removed"`          // older ones, all of whose records are in this one
	Spared  []Spared `json:"spared,omitempty"` // beyond Keep, never removed
	Ahead   []string `json:"ahead,omitempty"`  // dated after now; they count by their records
}

// Spared is a backup of the same store that does not count among those to keep,
// since it may hold what the new one does not.
type Spared struct {
	Path string `json:"path"`
	Why  string `json:"why"`
}

// sparedShown is how many spared backups are named.
const sparedShown = 5

// Notes says what a person should know of the older backups that are there.
func (b Backup) Notes() (notes []string) {
	for _, old := range b.Spared[:min(len(b.Spared), sparedShown)] {
		notes = append(notes, fmt.Sprintf("Kept too, and not counted: %s, since %s. "+
			"Delete it yourself once nobody needs it.", old.Path, old.Why))
	}
	if more := len(b.Spared) - sparedShown; more > 0 {
		notes = append(notes, fmt.Sprintf("%d more older backups are kept for reasons like these.", more))
	}
	for _, path := range b.Ahead {
		notes = append(notes, fmt.Sprintf("%s is dated after now: a clock was wrong then, or is now. "+
			"It counts by its records, not by its date.", path))
	}
	return notes
}

// BackUp makes a backup of the store at path, of one state that it has while
// BackUp runs, and gives the anchor of that. It checks every page of the copy,
// each record against the thread of its mat and all of them against the ledger's
// head, as VerifyChain does, and only then gives it its name. Older backups of the
// same store go when there are more than Keep, those with the fewest records
// first, whatever the date in their names; never one whose records are not all in
// the new one.
//
// Records are held against their hashes and not read: one that only another
// version can read is copied as it is.
//
// A broken page is a DamagedError, a record that was changed an UnsoundError; no
// file is left then. Others can record while it runs: see Copy.
func BackUp(path string, to Backups, o Options) (Backup, error) {
	if err := os.MkdirAll(to.Dir, 0o755); err != nil {
		return Backup{}, &WriteError{Path: to.Dir, Err: err}
	}
	c := newCopying(path, o)
	if err := c.begin(); err != nil {
		return Backup{}, err
	}
	defer c.end()
	prefix := backupPrefix(filepath.Base(path), c.id)
	dropUnfinished(to.Dir, prefix)
	var err error
	if c.to, err = unfinished(to.Dir, prefix); err != nil {
		return Backup{}, err
	}
	defer func() {
		_ = c.written()
		c.to.Close()
		_ = os.Remove(c.to.Name())
	}()
	c.durable = true
	c.between = func(done, total int64) {
		to.progress(done, total, 0)
		if to.Throttle != nil {
			to.Throttle()
		}
	}
	if err := c.run(); err != nil {
		return Backup{}, err
	}
	old := c.olderBackups(to)
	err = c.check(func(done, total int) { to.progress(int64(done), int64(total), 1) }, old.passing)
	if err = cmp.Or(err, c.written()); err != nil {
		return Backup{}, err
	}
	to.progress(1, 1, 1)
	at := filepath.Join(to.Dir, backupName(filepath.Base(path), c.id, c.at, c.anchor.Count))
	if runtime.GOOS == "windows" { // an open file can't be renamed there
		c.to.Close()
	}
	if err := rename(c.to.Name(), at); err != nil {
		return Backup{}, err
	}
	made := Backup{Path: at, Anchor: c.anchor, Removed: []string{}}
	return made, old.rotate(&made, to.Keep, c.at)
}

// progress tells how far one half of a backup is, copying or checking.
func (b Backups) progress(done, total, half int64) {
	if b.Progress != nil && total > 0 {
		b.Progress(int(50*half+50*done/total), 100)
	}
}

// check holds all of the copy against the anchor. Where it fails, the store is
// looked at too, so that the error names the one that is broken.
func (c *copying) check(progress func(done, total int), passing func(n uint64, head hash)) error {
	err := holdsTogether(c.to.Name(), c.anchor, c.o, func(done, total int) {
		progress(done, total)
		c.room.make()
	}, passing)
	if err == nil {
		return nil
	}
	var busy *BusyError
	if broken := holdsTogether(c.path, c.anchor, c.o, nil, nil); broken != nil && !errors.As(broken, &busy) {
		return broken
	}
	return err
}

// holdsTogether checks the pages, records and hashes of a file. passing, which may
// be nil, hears of every state that its ledger had.
func holdsTogether(path string, want Anchor, o Options, progress func(done, total int),
	passing func(n uint64, head hash)) error {
	s, err := Open(path, o)
	if err != nil {
		return err
	}
	defer s.Close()
	return s.sound(&verifier{progress: progress, want: &want, passing: passing})
}

// unfinished makes a file of which nobody knows yet whether it is good. It is locked
// for as long as it is open: that tells it from one that a run that died has left, on
// any machine that can see the folder.
func unfinished(dir, prefix string) (*os.File, error) {
	for {
		f, err := os.CreateTemp(dir, "."+prefix+"*.new") // made with 0600
		if err != nil {
			return nil, &WriteError{Path: filepath.Join(dir, "."+prefix+"new"), Err: err}
		}
		if err := lock(f, false, DefaultWait); err != nil {
			f.Close()
			_ = os.Remove(f.Name())
			return nil, &WriteError{Path: f.Name(), Err: err}
		}
		if _, err := os.Stat(f.Name()); !errors.Is(err, os.ErrNotExist) {
			return f, nil
		}
		f.Close() // somebody cleared up between the two
	}
}

// begin makes the file that will be a store at path, and clears away what runs
// that died have left there.
func begin(path string) (*os.File, error) {
	prefix := filepath.Base(path) + "."
	dropUnfinished(filepath.Dir(path), prefix)
	return unfinished(filepath.Dir(path), prefix)
}

// opened gives bbolt a file that is open and locked already.
func opened(f *os.File) func(string, int, os.FileMode) (*os.File, error) {
	return func(string, int, os.FileMode) (*os.File, error) { return f, nil }
}

// dropUnfinished removes what runs that died have left of stores and backups.
func dropUnfinished(dir, prefix string) {
	entries, err := os.ReadDir(dir)
	if err != nil { // it shows when the backup is made
		return
	}
	for _, e := range entries {
		if e.Type().IsRegular() && strings.HasPrefix(e.Name(), "."+prefix) && strings.HasSuffix(e.Name(), ".new") {
			dropIfDead(filepath.Join(dir, e.Name()))
		}
	}
}

func dropIfDead(path string) {
	if runtime.GOOS != "windows" { // where a file that is open can't be removed, and needs no lock
		if !canLock {
			return
		}
		f, err := os.OpenFile(path, os.O_RDWR, 0)
		if err != nil {
			return
		}
		defer f.Close()
		if lock(f, true, 0) != nil {
			return
		}
	}
	_ = os.Remove(path) // it takes room and does no harm
}

func backupName(store string, id []byte, at time.Time, count uint64) string {
	return fmt.Sprintf("%s%s.%d.backup", backupPrefix(store, id), at.UTC().Format(backupStamp), count)
}

func backupPrefix(store string, id []byte) string { return fmt.Sprintf("%s.%x.", store, id[:4]) }

// olderBackup is a backup of the same store that was there before.
type olderBackup struct {
	path   string
	stamp  string // the time in its name
	anchor Anchor
	err    error // why it can't be read
	within bool  // all its records are in the new one
}

type olderBackups []*olderBackup

// olderBackups looks at the backups of the store that are there, where some may
// have to go. It looks at no other file.
func (c *copying) olderBackups(to Backups) (old olderBackups) {
	if to.Keep < 1 {
		return nil
	}
	entries, _ := os.ReadDir(to.Dir) // a folder that can't be read keeps all
	prefix := backupPrefix(filepath.Base(c.path), c.id)
	for _, e := range entries {
		rest, ours := strings.CutPrefix(e.Name(), prefix)
		if !ours || !e.Type().IsRegular() || !strings.HasSuffix(rest, ".backup") {
			continue
		}
		b := &olderBackup{path: filepath.Join(to.Dir, e.Name())}
		b.stamp, _, _ = strings.Cut(rest, ".")
		var farm hash
		farm, b.anchor, b.err = anchorIn(b.path, c.o)
		if b.err == nil && farm != c.genesis {
			continue // of another farm, whose number begins alike
		}
		old = append(old, b)
	}
	return old
}

// anchorIn reads what a file says of itself. It never writes to it, as Open may to
// one of another version.
func anchorIn(path string, o Options) (genesis hash, a Anchor, err error) {
	o.ReadOnly = true
	s := &Store{path: path, o: o}
	if err := s.open(); err != nil {
		return genesis, a, err
	}
	defer s.Close()
	if _, err := s.readIdentity(); err != nil {
		return genesis, a, err
	}
	a, err = s.Anchor()
	return s.genesis, a, err
}

// passing hears of every state that the ledger had: a backup of one of them holds
// nothing that is not in the new one.
func (old olderBackups) passing(n uint64, head hash) {
	for _, b := range old {
		if b.err == nil && b.anchor.Count == n && b.anchor == anchorOf(n, head) {
			b.within = true
		}
	}
}

// rotate removes backups with the fewest records, until with the new one as many
// are left as are to be kept. One of a clock that ran ahead goes before others that
// hold as much.
func (old olderBackups) rotate(made *Backup, keep int, now time.Time) (stuck error) {
	var within olderBackups
	today := now.UTC().Format(backupStamp)
	for _, b := range old {
		if b.stamp > today {
			made.Ahead = append(made.Ahead, b.path)
		}
		switch {
		case b.within:
			within = append(within, b)
		case b.err != nil:
			made.Spared = append(made.Spared, Spared{b.path, "it can't be read: " + b.err.Error()})
		case b.anchor.Count > made.Anchor.Count:
			why := fmt.Sprintf("it holds %d records, the new one %d", b.anchor.Count, made.Anchor.Count)
			made.Spared = append(made.Spared, Spared{b.path, why})
		default:
			made.Spared = append(made.Spared, Spared{b.path,
				"it holds other records than the ledger has now, such as from before a restore"})
		}
	}
	age := func(b *olderBackup) string {
		if b.stamp > today {
			return ""
		}
		return b.stamp
	}
	slices.SortFunc(within, func(a, b *olderBackup) int {
		return cmp.Or(cmp.Compare(a.anchor.Count, b.anchor.Count), cmp.Compare(age(a), age(b)))
	})
	for _, b := range within[:max(0, len(within)+1-max(1, keep))] {
		if err := os.Remove(b.path); err != nil { // it keeps no other
			stuck = &WriteError{Path: b.path, Err: err}
			continue
		}
		made.Removed = append(made.Removed, b.path)
	}
	return stuck
}

// maxLost bounds the records that a Loss lists.
const maxLost = 200

// Loss is what a restore would take away: the records of the present store that
// the backup does not have.
type Loss struct {
	Backup  Anchor        `json:"backup"`
	Present *Anchor       `json:"present"`            // nil where there is no file, or one that can't be read
	Other   bool          `json:"other,omitempty"`    // the present file is another farm's ledger
	Diverge bool          `json:"diverged,omitempty"` // both went on from an earlier state, or the present one was changed
	Lost    int           `json:"lost"`               // records after the backup's anchor
	Steps   []medium.Step `json:"steps"`              // the first of them
	Problem string        `json:"problem,omitempty"`  // why the present file can't be read

	Findings []Finding     `json:"findings,omitempty"` // all of them
	Held     []medium.Step `json:"held,omitempty"`     // the holds that Restore recorded for them
	Unheld   []medium.Code `json:"unheld,omitempty"`   // mats with findings that the backup does not know
	Restored *Anchor       `json:"restored,omitempty"` // of the store after Restore, those holds included
}

// Finding is a record that spoke against a mat and that the backup does not
// have: mold, a cut, a failed inspection or swab, a hold, a sanitize step that
// was not accepted, a correction, or that it was retired; or that it was sown on
// or harvested since.
type Finding struct {
	Mat  medium.Code `json:"mat"`
	Seq  uint64      `json:"seq"`  // in the present ledger
	What string      `json:"what"` // mold, at the edge
	Crop bool        `json:"crop_step,omitempty"`
	Wash bool        `json:"must_wash,omitempty"` // no release back to where the mat was
}

// Nothing says that a restore takes nothing away.
func (l Loss) Nothing() bool {
	return l.Problem == "" && !l.Other && !l.Diverge && l.Lost == 0
}

// Speaks is the number of mats with findings.
func (l Loss) Speaks() int {
	mats := map[medium.Code]bool{}
	for _, f := range l.Findings {
		mats[f.Mat] = true
	}
	return len(mats)
}

// CompareBackup checks a backup as BackUp did when it was made, and says what
// would be lost if it took the place of the store at path.
func CompareBackup(backup, path string, o Options) (Loss, error) {
	o = o.withDefaults()
	o.ReadOnly = true
	l := Loss{Steps: []medium.Step{}}
	b, err := Open(backup, o)
	var missing *MissingError
	if errors.As(err, &missing) {
		return l, &MissingError{Path: backup, Backup: true}
	}
	if err != nil {
		return l, err
	}
	defer b.Close()
	if err := b.sound(&verifier{}); err != nil { // what is derived is made anew by Restore
		return l, err
	}
	if l.Backup, err = b.Anchor(); err != nil {
		return l, err
	}
	s, err := Open(path, o)
	switch {
	case errors.As(err, &missing):
		return l, nil
	case err != nil:
		var busy *BusyError
		if errors.As(err, &busy) {
			return l, err
		}
		l.Problem = err.Error()
		return l, nil
	}
	defer s.Close()
	l.Other = s.genesis != b.genesis
	if err := s.compare(&l, b); err != nil {
		l.Problem = err.Error()
	}
	return l, nil
}

func (s *Store) compare(l *Loss, backup *Store) error {
	count, head, err := s.ledgerNow()
	if err != nil {
		return err
	}
	now := anchorOf(count.Count, head)
	l.Present = &now
	l.Diverge = !l.Other && count.Count < l.Backup.Count // the backup knows more
	return inOrderTo(s, count.Count, head, stepAt, func(r logged[medium.Step]) error {
		if !l.Other && r.at == l.Backup.Count && anchorOf(r.at, r.head) != l.Backup {
			l.Diverge = true
		}
		// by the bytes, since two histories that parted may count alike
		if what, crop := finding(r.read); what != "" && !l.Other && !backup.holds(r.at, r.stored) {
			f := Finding{Mat: r.read.Mat, Seq: r.at, What: what, Crop: crop, Wash: asksForWash(r.read)}
			l.Findings = append(l.Findings, f)
		}
		if !l.Other && r.at <= l.Backup.Count {
			return nil
		}
		l.Lost++
		if len(l.Steps) < maxLost {
			l.Steps = append(l.Steps, r.read)
		}
		return nil
	})
}

// holds says whether a record stands at a position.
func (s *Store) holds(position uint64, stored []byte) (same bool) {
	_ = s.view(func(tx *bbolt.Tx) error {
		same = bytes.Equal(stored, tx.Bucket(bucketLog).Get(logKey(position)))
		return nil
	})
	return same
}

// finding says what a record holds against its mat, and nothing where it holds
// nothing against it. A crop step counts only where the mat would seem ready
// without it.
func finding(s medium.Step) (what string, crop bool) {
	switch b := s.Body.(type) {
	case *medium.Mold:
		return "mold, " + b.Where, false
	case *medium.Hold:
		return "hold, " + b.Reason, false
	case *medium.Retire:
		return "retired, " + string(b.Cause), false
	case *medium.Cut:
		return fmt.Sprintf("cut, %g mm", b.LengthMM), false
	case *medium.Inspect:
		if b.FoldSnaps || b.Fuzz || b.Holes > 0 || b.Smell || b.Mold {
			return "failed inspection", false
		}
	case *medium.Swab:
		if !b.Pass {
			return "failed swab, " + b.Test, false
		}
	case *medium.Sanitize:
		if !s.Outcome.Accepted {
			return "sanitize step not accepted", false
		}
	case *medium.Correct:
		return fmt.Sprintf("%s voided, %s", b.Voids, b.Reason), false
	case *medium.Sow:
		return "sown, " + medium.CropName(b.Crops), true
	case *medium.Harvest:
		return "harvested", true
	}
	return "", false
}

// asksForWash says that the hold for a lost record must not be released back to
// where the mat was: by the backup it would be clear, and the crop on it too,
// as if nothing had been found. Only a hold that allowed it itself allows it.
func asksForWash(s medium.Step) bool {
	b, ok := s.Body.(*medium.Hold)
	return !ok || b.MustWash
}

// holdLost records a hold on every mat with a finding that a restore loses, in
// the copy at path before it takes its place: no mat is clear for a moment
// because of an old backup.
func holdLost(l *Loss, path, by string, o Options) error {
	if len(l.Findings) == 0 {
		return nil
	}
	o.ReadOnly = false
	s, err := Open(path, o)
	if err != nil {
		return err
	}
	defer s.Close()
	of := map[medium.Code][]Finding{}
	var steps []medium.Step
	for _, f := range l.Findings {
		of[f.Mat] = append(of[f.Mat], f)
	}
	for _, f := range l.Findings {
		lost := of[f.Mat]
		if lost[0] != f { // its mat was dealt with
			continue
		}
		c, err := s.Condition(f.Mat)
		var unknown *UnknownMatError
		switch {
		case errors.As(err, &unknown):
			l.Unheld = append(l.Unheld, f.Mat)
		case err != nil:
			return err
		case c.Stage != medium.Retired && (mayBeSown(c.Stage) ||
			slices.ContainsFunc(lost, func(f Finding) bool { return !f.Crop })):
			steps = append(steps, medium.Step{Mat: f.Mat, By: by, Body: &medium.Hold{Reason: lostText(lost),
				MustWash: slices.ContainsFunc(lost, func(f Finding) bool { return f.Wash })}})
		}
	}
	for len(steps) > 0 {
		n := min(len(steps), MaxSteps)
		held, err := s.Record("", steps[:n])
		if err != nil {
			return fmt.Errorf("nothing was restored, since the mats whose findings would be lost can't be held: %w", err)
		}
		l.Held, steps = append(l.Held, held...), steps[n:]
	}
	now, err := s.Anchor()
	l.Restored = &now
	return err
}

// mayBeSown says that no rinse stands between a stage and the next sowing, so
// that a crop that was lost from the records would be sown over.
func mayBeSown(stage medium.Stage) bool {
	switch stage {
	case medium.ToDry, medium.ToSanitize, medium.Airing, medium.Ready:
		return true
	}
	return false
}

// lostShown is how many findings the reason of a hold names.
const lostShown = 3

func lostText(lost []Finding) string {
	text := "restored from a backup; "
	for i, f := range lost[:min(len(lost), lostShown)] {
		if i > 0 {
			text += ", "
		}
		what := []rune(f.What)
		if len(what) > 40 {
			what = append(what[:39], '…')
		}
		text += fmt.Sprintf("record %d (%s)", f.Seq, string(what))
	}
	switch more := len(lost) - lostShown; {
	case more > 0:
		return text + fmt.Sprintf(" and %d more were lost", more)
	case len(lost) > 1:
		return text + " were lost"
	}
	return text + " was lost"
}

// LossError refuses a restore that would take records away.
type LossError struct {
	Path string
	Loss Loss
}

func (e *LossError) Error() string {
	what := fmt.Sprintf("%d records that were written after the backup would be lost", e.Loss.Lost)
	if e.Loss.Lost == 1 {
		what = "1 record that was written after the backup would be lost"
	}
	switch {
	case e.Loss.Problem != "":
		what = "the present file can't be read, so nobody can say what would be lost (" + e.Loss.Problem + ")"
	case e.Loss.Other:
		what = "the present file is the ledger of another farm"
	case e.Loss.Diverge:
		what = "the present file and the backup do not have the same history"
	case e.Loss.Lost == 0:
		what = "a file is there already"
	}
	return fmt.Sprintf("%s: %s", e.Path, what)
}

// replaced stands in the name of a ledger that a restore has replaced, before the
// time.
const replaced = ".replaced-"

// Restore puts a backup in the place of the store at path, after it was
// verified. A file that is there is refused with a LossError unless replace is
// set; then it is moved aside, never deleted, and its new name is given back.
//
// A mat whose lost records speak against it is put on hold in the restored
// store, with the initials by; without them such a restore is an InputError and
// does nothing.
func Restore(backup, path string, replace bool, by string, o Options) (aside string, l Loss, err error) {
	path = realPath(path)
	o = o.withDefaults()
	o.ReadOnly = true
	if s, err := Open(path, o); err == nil { // a file of another version is brought up to date before it is held
		s.Close()
	}
	_, statErr := os.Lstat(path)
	there := statErr == nil
	release, err := hold(path, there, o)
	if err != nil {
		return "", l, err
	}
	defer release()
	if l, err = CompareBackup(backup, path, o); err != nil {
		return "", l, err
	}
	if there && !replace {
		return "", l, &LossError{Path: path, Loss: l}
	}
	b, err := copyStore(backup, path, l.Backup, o) // made and verified before anything is moved
	if err != nil {
		return "", l, err
	}
	defer b.abandon()
	l.Restored = &l.Backup
	if !there {
		return "", l, rename(b.temp, path)
	}
	if err := holdLost(&l, b.temp, by, o); err != nil {
		return "", l, err
	}
	dropTwins(path)
	aside = freeName(fmt.Sprintf("%s%s%s", path, replaced, o.Now().UTC().Format(backupStamp)))
	if err := os.Link(path, aside); err != nil {
		if errors.Is(err, os.ErrExist) {
			return "", l, &ExistsError{Path: aside}
		}
		if err := os.Rename(path, aside); err != nil { // no hard links there
			return "", l, &WriteError{Path: aside, Err: err}
		}
	}
	if err := os.Rename(b.temp, path); err != nil {
		return aside, l, &WriteError{Path: path, Err: err}
	}
	return aside, l, syncFolder(filepath.Dir(path))
}

// dropTwins removes further names of the file at path that a restore has left
// which was killed between naming the file aside and replacing it.
func dropTwins(path string) {
	is, err := os.Stat(path)
	if err != nil {
		return
	}
	entries, _ := os.ReadDir(filepath.Dir(path))
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), filepath.Base(path)+replaced) {
			continue
		}
		if info, err := e.Info(); err == nil && os.SameFile(is, info) {
			_ = os.Remove(filepath.Join(filepath.Dir(path), e.Name()))
		}
	}
}

// realPath follows symbolic links, so that what they lead to is replaced and not
// the link: two names would lead to two ledgers from then on.
func realPath(path string) string {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		return real
	}
	to, err := os.Readlink(path)
	if err != nil {
		return path
	}
	if !filepath.IsAbs(to) { // a link to a file that is gone
		to = filepath.Join(filepath.Dir(path), to)
	}
	return to
}

// freeName is the name, with a number behind it where a file has it already.
func freeName(name string) string {
	free := name
	for n := 2; ; n++ {
		if _, err := os.Lstat(free); err != nil {
			return free
		}
		free = fmt.Sprintf("%s-%d", name, n)
	}
}

// hold keeps writers out of a store while it is compared and replaced; readers
// may go on.
func hold(path string, there bool, o Options) (release func(), err error) {
	if !there {
		return func() {}, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, &WriteError{Path: path, Err: err}
	}
	if err := lock(f, false, o.Wait); err != nil {
		f.Close()
		return nil, &BusyError{Path: path, Waited: o.Wait}
	}
	return func() { f.Close() }, nil
}

// copyStore makes the store at path again from the records of another, with all
// that is derived made anew and verified as a whole. It has no name yet.
func copyStore(from, path string, want Anchor, o Options) (*builder, error) {
	o.ReadOnly = true
	s, err := Open(from, o)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	var made []byte
	err = s.view(func(tx *bbolt.Tx) error {
		made = bytes.Clone(tx.Bucket(bucketMeta).Get(keyIdentity))
		return nil
	})
	if err != nil {
		return nil, err
	}
	b, err := newBuilder(path, made, o)
	if err != nil {
		return nil, err
	}
	err = inOrder(s, headAt, func(r logged[recordHead]) error { return b.put(r.read.Mat, r.read.Token, r.stored) })
	if err == nil {
		err = b.seal()
	}
	if err == nil && b.anchor() != want {
		err = &BusyError{Path: from, Waited: o.Wait} // somebody wrote to the backup meanwhile
	}
	if err != nil {
		b.abandon()
		return nil, err
	}
	return b, nil
}
