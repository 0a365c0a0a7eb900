package store

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// A backup is a store of its own with the records up to one state of the
// ledger. Records are never changed, so it can be taken a few at a time: what
// was there when it began is the same at its end, whatever others record
// meanwhile, and nobody waits longer than for one chunk.

// backupChunk is how many records are read while the file is locked, a few
// milliseconds' worth.
const backupChunk = 2000

// backupStamp is the time in the name of a backup, in UTC. Names in order are
// backups in order.
const backupStamp = "20060102T150405Z"

// Backups says where backups are kept, and how many.
type Backups struct {
	Dir      string
	Keep     int                   // of this store; 0 keeps all
	Throttle func()                // called between two chunks, with nothing locked; nil: no pause
	Progress func(done, total int) // may be nil
}

// Backup is a backup that was made and verified.
type Backup struct {
	Path    string   `json:"path"`
	Anchor  Anchor   `json:"anchor"`
	Removed []string `json:"removed"` // older ones
}

// BackUp makes a backup of the store at path. It reads every page and record on
// the way, holds the copy against the anchor that the store had at the beginning,
// and only then gives it its name. Older backups of the same store go when there
// are more than Keep, never the last good one.
func BackUp(path string, to Backups, o Options) (Backup, error) {
	o = o.withDefaults()
	o.ReadOnly = true
	if err := os.MkdirAll(to.Dir, 0o755); err != nil {
		return Backup{}, &WriteError{Path: to.Dir, Err: err}
	}
	c := &copier{path: path, to: to, o: o}
	if err := c.begin(); err != nil {
		return Backup{}, err
	}
	defer c.b.abandon()
	for !c.done {
		if to.Throttle != nil {
			to.Throttle()
		}
		if err := c.chunk(); err != nil {
			return Backup{}, err
		}
	}
	if err := c.b.finish(c.ledger.Count, c.ledger.Head, c.anchor); err != nil {
		return Backup{}, err
	}
	made := Backup{Path: c.b.path, Anchor: c.anchor}
	var err error
	made.Removed, err = rotate(to, filepath.Base(path), c.id, c.b.path)
	return made, err
}

// copier is one backup under way.
type copier struct {
	path   string
	to     Backups
	o      Options
	b      *builder
	made   []byte
	id     []byte
	ledger ledger
	anchor Anchor
	last   []byte // key of the last record that was looked at
	taken  int
	done   bool
}

// at opens the store for one short reading.
func (c *copier) at(do func(s *Store, tx *bbolt.Tx) error) error {
	s, err := Open(c.path, c.o)
	if err != nil {
		return err
	}
	defer s.Close()
	return s.view(func(tx *bbolt.Tx) error { return do(s, tx) })
}

func (c *copier) begin() error {
	err := c.at(func(s *Store, tx *bbolt.Tx) (err error) {
		c.made = bytes.Clone(tx.Bucket(bucketMeta).Get(keyIdentity))
		c.id = s.ID()
		var head hash
		c.ledger, head, err = readLedger(tx)
		c.anchor = anchorOf(c.ledger.Count, head)
		return err
	})
	if err != nil {
		return err
	}
	name := backupName(filepath.Base(c.path), c.id, c.o.Now(), c.anchor.Count)
	at := filepath.Join(c.to.Dir, name)
	if _, err := os.Lstat(at); err == nil {
		return &ExistsError{Path: at}
	}
	c.b, err = c.build(at)
	return err
}

// build begins the copy and leaves no part of a file where the disk is too full
// even for an empty one.
func (c *copier) build(at string) (*builder, error) {
	b, err := newBuilder(at, c.made, c.o)
	var failed *WriteError
	if errors.As(err, &failed) && strings.HasSuffix(failed.Path, ".new") {
		_ = os.Remove(failed.Path)
	}
	return b, err
}

func backupName(store string, id []byte, at time.Time, count uint64) string {
	return fmt.Sprintf("%s%s.%d.backup", backupPrefix(store, id), at.UTC().Format(backupStamp), count)
}

func backupPrefix(store string, id []byte) string { return fmt.Sprintf("%s.%x.", store, id[:4]) }

// chunk copies some more records. Those written after the beginning are left
// out.
func (c *copier) chunk() error {
	return c.at(func(s *Store, tx *bbolt.Tx) error {
		if !bytes.Equal(tx.Bucket(bucketMeta).Get(keyIdentity), c.made) {
			return &DamagedError{Path: c.path, Why: "another file was put in its place while the backup was made"}
		}
		cur := tx.Bucket(bucketSteps).Cursor()
		k, v := cur.Seek(c.last)
		if c.last != nil && bytes.Equal(k, c.last) {
			k, v = cur.Next()
		}
		for n := 0; k != nil && n < backupChunk; n++ {
			code, seq, step, err := storedStep(k, v)
			if err != nil {
				return err
			}
			c.last = bytes.Clone(k)
			if step.Seq <= c.ledger.Count {
				if err := c.b.put(code, seq, bytes.Clone(v)); err != nil {
					return err
				}
				c.taken++
			}
			k, v = cur.Next()
		}
		c.done = k == nil
		if c.to.Progress != nil {
			c.to.Progress(c.taken, int(c.ledger.Count))
		}
		return nil
	})
}

// rotate removes the oldest backups of a store. It looks at no other file.
func rotate(to Backups, store string, id []byte, newest string) (removed []string, err error) {
	removed = []string{}
	entries, err := os.ReadDir(to.Dir)
	if err != nil {
		return removed, err
	}
	prefix := backupPrefix(store, id)
	var names []string
	for _, e := range entries {
		name := e.Name()
		if e.Type().IsRegular() && strings.HasPrefix(name, prefix) && strings.HasSuffix(name, ".backup") && name != filepath.Base(newest) {
			names = append(names, name)
		}
	}
	if to.Keep < 1 || len(names) < to.Keep {
		return removed, nil
	}
	sort.Strings(names)
	var stuck error // one that can't be removed keeps no other
	for _, name := range names[:len(names)-(to.Keep-1)] {
		at := filepath.Join(to.Dir, name)
		if err := os.Remove(at); err != nil {
			stuck = &WriteError{Path: at, Err: err}
			continue
		}
		removed = append(removed, at)
	}
	return removed, stuck
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

// CompareBackup verifies a backup and says what would be lost if it took the
// place of the store at path.
func CompareBackup(backup, path string, o Options) (Loss, error) {
	o = o.withDefaults()
	o.ReadOnly = true
	l := Loss{Steps: []medium.Step{}}
	backup, done, err := inTodaysFormat(backup, o)
	if err != nil {
		return l, err
	}
	defer done()
	b, err := Open(backup, o)
	var missing *MissingError
	if errors.As(err, &missing) {
		return l, &MissingError{Path: backup, Backup: true}
	}
	if err != nil {
		return l, err
	}
	defer b.Close()
	r, err := b.Verify(nil, nil)
	if err != nil {
		return l, err
	}
	if !r.OK {
		return l, &UnsoundError{Path: backup, Problems: r.Problems}
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
	err = b.view(func(has *bbolt.Tx) error { return s.compare(&l, has) })
	if err != nil {
		l.Problem = err.Error()
	}
	return l, nil
}

func (s *Store) compare(l *Loss, backup *bbolt.Tx) error {
	return s.view(func(tx *bbolt.Tx) error {
		count, head, err := readLedger(tx)
		if err != nil {
			return err
		}
		now := anchorOf(count.Count, head)
		l.Present = &now
		at := s.genesis
		l.Diverge = !l.Other && count.Count < l.Backup.Count // the backup knows more
		return inOrder(tx, func(n uint64, stored []byte, step medium.Step) error {
			at = at.next(step.Mat, recordHash(stored))
			if !l.Other && n == l.Backup.Count && anchorOf(n, at) != l.Backup {
				l.Diverge = true
			}
			// by the bytes, since two histories that parted may count alike
			if what, crop := finding(step); what != "" && !l.Other && !bytes.Equal(stored, backup.Bucket(bucketSteps).Get(stepKey(step.Mat, step.MatSeq))) {
				l.Findings = append(l.Findings, Finding{Mat: step.Mat, Seq: n, What: what, Crop: crop, Wash: asksForWash(step)})
			}
			if !l.Other && n <= l.Backup.Count {
				return nil
			}
			l.Lost++
			if len(l.Steps) < maxLost {
				l.Steps = append(l.Steps, step)
			}
			return nil
		})
	})
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
		case c.Stage != medium.Retired && (mayBeSown(c.Stage) || slices.ContainsFunc(lost, func(f Finding) bool { return !f.Crop })):
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
	return fmt.Sprintf("%s: %s; restore with --replace, which keeps the present file beside it under another name", e.Path, what)
}

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
	backup, done, err := inTodaysFormat(backup, o)
	if err != nil {
		return "", l, err
	}
	defer done()
	if l, err = CompareBackup(backup, path, o); err != nil {
		return "", l, err
	}
	if there && !replace {
		return "", l, &LossError{Path: path, Loss: l}
	}
	target := path
	if there {
		// the copy is made and verified before anything is moved
		target = filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.%d.restored", filepath.Base(path), os.Getpid()))
		_ = os.Remove(target)
		defer os.Remove(target)
	}
	if err := copyStore(backup, target, l.Backup, o); err != nil {
		return "", l, err
	}
	l.Restored = &l.Backup
	if !there {
		return "", l, nil
	}
	if err := holdLost(&l, target, by, o); err != nil {
		return "", l, err
	}
	aside = freeName(fmt.Sprintf("%s.replaced-%s", path, o.Now().UTC().Format(backupStamp)))
	if err := os.Link(path, aside); err != nil {
		if errors.Is(err, os.ErrExist) {
			return "", l, &ExistsError{Path: aside}
		}
		if err := os.Rename(path, aside); err != nil { // no hard links there
			return "", l, &WriteError{Path: aside, Err: err}
		}
	}
	if err := os.Rename(target, path); err != nil {
		return aside, l, &WriteError{Path: path, Err: err}
	}
	return aside, l, syncFolder(filepath.Dir(path))
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

// copyStore makes the copy by the records, as a backup is made, so that it is
// verified as a whole before it has its name.
func copyStore(from, to string, want Anchor, o Options) error {
	o.ReadOnly = true
	c := &copier{path: from, o: o}
	err := c.at(func(s *Store, tx *bbolt.Tx) (err error) {
		c.made = bytes.Clone(tx.Bucket(bucketMeta).Get(keyIdentity))
		c.ledger, _, err = readLedger(tx)
		return err
	})
	if err != nil {
		return err
	}
	if c.b, err = c.build(to); err != nil {
		return err
	}
	defer c.b.abandon()
	for !c.done {
		if err := c.chunk(); err != nil {
			return err
		}
	}
	return c.b.finish(c.ledger.Count, c.ledger.Head, want)
}
