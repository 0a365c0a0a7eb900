package store

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/fxamacker/cbor/v2"
	"go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"

	"resow/medium"
)

// Format is the format of the file that this version makes and reads.
const Format = 2

// growBy is by how many bytes a file grows at least: what is left of the last growth
// stays in it.
const growBy = 1 << 20

// DefaultWait is how long Open waits for another process.
const DefaultWait = 5 * time.Second

var (
	bucketLog    = []byte("log")
	bucketMats   = []byte("mats")
	bucketFarm   = []byte("farm")
	bucketDue    = []byte("due")
	bucketLots   = []byte("lots")
	bucketTags   = []byte("tags")
	bucketTokens = []byte("tokens")
	bucketMeta   = []byte("meta")

	keyIdentity = []byte("identity")
	keyLedger   = []byte("ledger")
	keyViews    = []byte("views")
	keySums     = []byte("sums")
	keyFarm     = []byte("farm")

	buckets = [][]byte{bucketLog, bucketMats, bucketFarm, bucketDue, bucketLots, bucketTags, bucketTokens, bucketMeta}
)

// Options are what a store is handed instead of reaching for it.
type Options struct {
	ReadOnly bool
	Wait     time.Duration    // for another process, at most; 0 is DefaultWait
	Now      func() time.Time // nil is time.Now
	Random   io.Reader        // nil is crypto/rand
	Program  string           // name and version that Create writes into the file; empty is "resow"
	Say      func(string)     // what whoever opens the file must know, though it opens; may be nil
	NoSync   bool             // for a store that can be made again, such as the demo's: on disk only after Close

	keep bool // of a store that is only read: hold the file until it is closed
}

func (o Options) withDefaults() Options {
	if o.Wait <= 0 {
		o.Wait = DefaultWait
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Random == nil {
		o.Random = rand.Reader
	}
	if o.Program == "" {
		o.Program = "resow"
	}
	return o
}

// Store is an open ledger. It may be used by several goroutines. Another
// process waits while it is open for writing, so open it for one transaction
// and close it.
type Store struct {
	path  string
	o     Options
	db    *bbolt.DB
	file  *os.File   // bbolt's own, to free the lock when bbolt can't
	write sync.Mutex // one writer or one verify at a time

	halved   error // one of the two first pages is broken
	identity identity
	genesis  hash
	viewsErr error // why what is derived could not be brought up to date
	share    share
	seeing   sync.Mutex
	unseen   bool // the pages that lead to others were not looked at yet: see skim
	broken   atomic.Pointer[DamagedError]
	tied     atomic.Int64 // the last commit whose sums were held against the ledger
}

// identity is what the file says of itself. The ledger's first head covers it.
type identity struct {
	Format int    `cbor:"10,keyasint,omitzero"`
	MadeBy string `cbor:"11,keyasint,omitzero"`
	ID     []byte `cbor:"12,keyasint,omitzero"` // 16 random bytes
}

// ledger is the state of the chain over all records.
type ledger struct {
	Count uint64 `cbor:"10,keyasint,omitzero"`
	Head  []byte `cbor:"11,keyasint,omitzero"`
}

// Create makes a store with the farm's settings as its first record and opens
// it. It refuses to touch a file that exists, and a run that fails leaves none:
// the file gets its name when it is complete.
func Create(path string, settings medium.FarmSettings, by string, o Options) (*Store, error) {
	o = o.withDefaults()
	if _, err := os.Lstat(path); err == nil {
		return nil, &ExistsError{Path: path}
	}
	first := medium.Step{By: by, Mat: medium.FarmThread, Body: &settings}
	if _, err := medium.AdmitFarm(medium.Farm{}, first, o.Now()); err != nil {
		return nil, err
	}
	made, err := newIdentity(o)
	if err != nil {
		return nil, err
	}
	f, err := begin(path)
	if err != nil {
		return nil, err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	if err := initialize(f, made, first, o); err != nil {
		return nil, err
	}
	if err := rename(f.Name(), path); err != nil {
		return nil, err
	}
	o.ReadOnly = false
	return Open(path, o)
}

// newIdentity draws the number of a new file, and gives its identity as it is stored.
func newIdentity(o Options) ([]byte, error) {
	id := make([]byte, 16)
	if _, err := io.ReadFull(o.Random, id); err != nil {
		return nil, fmt.Errorf("drawing the store's number: %w", err)
	}
	return encode(&identity{Format: Format, MadeBy: o.Program, ID: id})
}

// initialize fills a new file: its identity, an empty ledger, and the first step.
func initialize(f *os.File, stored []byte, first medium.Step, o Options) error {
	temp := f.Name()
	db, err := bbolt.Open(temp, 0o600, &bbolt.Options{Timeout: o.Wait, NoSync: o.NoSync, OpenFile: opened(f)})
	if err != nil {
		return &WriteError{Path: temp, Err: err}
	}
	defer db.Close()
	head := genesis(stored)
	err = update(db, temp, func(tx *bbolt.Tx) error {
		if err := makeParts(tx, stored); err != nil {
			return err
		}
		if err := put(tx.Bucket(bucketMeta), keyLedger, &ledger{Head: head[:]}); err != nil {
			return err
		}
		if err := tablesOf(tx).save(); err != nil {
			return err
		}
		w, err := newWork(tx, o.Now())
		if err != nil {
			return err
		}
		if _, err := w.take(first); err != nil {
			return err
		}
		return w.finish()
	})
	if err != nil {
		return err
	}
	return db.Close()
}

// makeParts makes the parts of an empty file.
func makeParts(tx *bbolt.Tx, stored []byte) error {
	for _, name := range buckets {
		if _, err := tx.CreateBucket(name); err != nil {
			return err
		}
	}
	meta := tx.Bucket(bucketMeta)
	for _, kv := range [][2][]byte{{keyIdentity, stored}, {keyViews, viewsVersion()}} {
		if err := meta.Put(kv[0], kv[1]); err != nil {
			return err
		}
	}
	return nil
}

// rename gives the finished file its name, unless another process was faster,
// and makes the name durable.
func rename(temp, path string) error {
	err := os.Link(temp, path)
	if errors.Is(err, os.ErrExist) {
		return &ExistsError{Path: path}
	}
	if err != nil { // a file system without hard links, such as that of a memory stick
		if _, statErr := os.Lstat(path); statErr == nil {
			return &ExistsError{Path: path}
		}
		if err := os.Rename(temp, path); err != nil {
			return &WriteError{Path: path, Err: err}
		}
	}
	return syncFolder(filepath.Dir(path))
}

// Replace puts a file that was written beside path at its place, whole and durably,
// instead of one that is there. It closes f.
func Replace(f *os.File, path string) error {
	if err := errors.Join(f.Sync(), f.Close()); err != nil { // or a power cut leaves an empty file with its name
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// syncFolder makes a new name in a folder durable.
func syncFolder(dir string) error {
	if runtime.GOOS == "windows" { // a folder can't be synced there
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return &WriteError{Path: dir, Err: err}
	}
	defer d.Close()
	if err := d.Sync(); err != nil {
		return &UnsureError{Path: dir, Err: err}
	}
	return nil
}

// Open opens a store. It waits for another process at most Options.Wait. A
// missing, empty, cut or foreign file is told apart before bbolt maps it:
// MissingError, NotStoreError, DamagedError; a file of a later format is a
// NewerError, one that another process holds a BusyError. With one of the two first
// pages broken the file opens as the other one has it: Options.Say hears of that, and
// a copy is kept beside it before anything is written.
func Open(path string, o Options) (*Store, error) {
	s := &Store{path: path, o: o.withDefaults()}
	if err := s.open(); err != nil {
		return nil, err
	}
	err := s.tellHalved()
	stale := false
	if err == nil {
		stale, err = s.readIdentity()
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	if !stale {
		return s.shared(), nil
	}
	if s.o.ReadOnly {
		return reopen(s)
	}
	s.viewsErr = s.rebuild()
	return s, nil
}

// reopen brings what is derived up to date for a store that is to be read only.
func reopen(s *Store) (*Store, error) {
	if err := s.Close(); err != nil {
		return nil, err
	}
	write := s.o
	write.ReadOnly = false
	w, err := Open(s.path, write)
	if err != nil {
		return nil, fmt.Errorf("%s was written by another version and must be brought up to date once: %w", s.path, err)
	}
	viewsErr := w.viewsErr
	if err := w.Close(); err != nil {
		return nil, err
	}
	r := &Store{path: s.path, o: s.o, viewsErr: viewsErr}
	if err := r.open(); err != nil {
		return nil, err
	}
	if _, err := r.readIdentity(); err != nil {
		r.Close()
		return nil, err
	}
	return r.shared(), nil
}

// open lets bbolt open the file once it was looked at and locked.
func (s *Store) open() error {
	o := &bbolt.Options{
		ReadOnly:     s.o.ReadOnly,
		Timeout:      max(s.o.Wait, 60*time.Millisecond), // bbolt tries once under 50 ms, and for ever at 0
		FreelistType: bbolt.FreelistMapType,
		NoSync:       s.o.NoSync,
		OpenFile:     s.openFile,
	}
	return s.guard(func() error {
		db, err := bbolt.Open(s.path, 0o600, o)
		if err == nil {
			s.db = db
			db.AllocSize = growBy
			s.tied.Store(0)
			return nil
		}
		if errors.Is(err, bolterrors.ErrTimeout) {
			return &BusyError{Path: s.path, Waited: s.o.Wait}
		}
		for _, damage := range []error{bolterrors.ErrInvalid, bolterrors.ErrChecksum, bolterrors.ErrVersionMismatch} {
			if errors.Is(err, damage) {
				return &DamagedError{Path: s.path, Why: err.Error()}
			}
		}
		return err
	})
}

// openFile opens, locks and looks at the file before bbolt does. It never
// makes one.
func (s *Store) openFile(path string, flag int, mode os.FileMode) (*os.File, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() { // a pipe would keep us waiting
		return nil, &NotStoreError{Path: path, Why: "it is a folder or a device"}
	}
	f, err := os.OpenFile(path, flag&^os.O_CREATE, mode)
	if errors.Is(err, os.ErrNotExist) {
		return nil, &MissingError{Path: path}
	}
	if err != nil {
		return nil, fmt.Errorf("%s can't be opened: %w; look whether you may read and write it", path, err)
	}
	if err := s.lookAt(f); err != nil {
		f.Close() // with it goes the lock: nothing is mapped yet
		return nil, err
	}
	if !sameFile(f, path) { // a restore put another file in its place while this one waited for the lock
		f.Close()
		return s.openFile(path, flag, mode)
	}
	s.file = f
	return f, nil
}

// sameFile says whether a path still leads to an open file; where nobody can tell, it does.
func sameFile(f *os.File, path string) bool {
	was, err := f.Stat()
	if err != nil {
		return true
	}
	is, err := os.Stat(path)
	return err != nil || os.SameFile(was, is)
}

// lookAt locks the file and checks what bbolt would follow blindly.
func (s *Store) lookAt(f *os.File) error {
	if err := lock(f, !s.o.ReadOnly, s.o.Wait); err != nil {
		if errors.Is(err, errBusy) {
			return &BusyError{Path: s.path, Waited: s.o.Wait}
		}
		return fmt.Errorf("%s can't be locked: %w", s.path, err)
	}
	info, err := f.Stat()
	if err != nil {
		return err
	}
	s.unseen = info.Size() > skimAtOpen
	c, err := recognize(f, info.Size())
	if err != nil {
		return s.unfit(err)
	}
	if err := c.checkQuickly(info.Size()); err != nil {
		return s.unfit(err)
	}
	s.halved = c.checkMetas()
	return nil
}

// unfit says whether a file that bbolt must not touch is foreign or damaged.
func (s *Store) unfit(err error) error {
	var foreign *foreignError
	if errors.As(err, &foreign) {
		return &NotStoreError{Path: s.path, Why: foreign.why}
	}
	return &DamagedError{Path: s.path, Why: err.Error()}
}

// readIdentity reads who made the file, and whether what is derived in it was
// derived as this version does it.
func (s *Store) readIdentity() (stale bool, err error) {
	err = s.view(func(tx *bbolt.Tx) error {
		meta := tx.Bucket(bucketMeta)
		if meta == nil || meta.Get(keyIdentity) == nil {
			return &NotStoreError{Path: s.path, Why: "it belongs to another program"}
		}
		stored := meta.Get(keyIdentity)
		s.genesis = genesis(stored)
		if err := decode(stored, &s.identity); err != nil {
			return s.notIdentity(stored, err)
		}
		switch f := s.identity.Format; {
		case f == 1:
			return &NotStoreError{Path: s.path, Why: "it is of format 1, which was never released: " +
				"export it with the program that made it, and import that"}
		case f != Format:
			return &NewerError{What: fmt.Sprintf("a file of format %d", f), MadeBy: s.identity.MadeBy}
		}
		for _, name := range buckets {
			if tx.Bucket(name) == nil {
				return &DamagedError{Path: s.path, Why: fmt.Sprintf("its part %q is missing", name)}
			}
		}
		stale = string(meta.Get(keyViews)) != string(viewsVersion())
		s.note(tx)
		return nil
	})
	return stale, err
}

// notIdentity tells an identity that a newer version wrote from a broken one.
func (s *Store) notIdentity(stored []byte, err error) error {
	var newer *NewerError
	if !errors.As(err, &newer) {
		return &DamagedError{Path: s.path, Why: "what it says of itself can't be read"}
	}
	var known identity
	if cbor.Unmarshal(stored, &known) == nil { // whatever else it says
		newer.MadeBy = known.MadeBy
	}
	return newer
}

// Close lets go of the file.
func (s *Store) Close() error {
	if t := s.share.timer; t != nil {
		t.Stop()
	}
	s.share.mu.Lock()
	defer s.share.mu.Unlock()
	if s.broken.Load() != nil || s.db == nil {
		// bbolt was stopped in the middle and may hold its own locks: let go
		// of the file alone. What it mapped is freed with the process.
		return s.letGo()
	}
	if s.o.NoSync && !s.o.ReadOnly {
		if err := s.db.Sync(); err != nil {
			return &UnsureError{Path: s.path, Err: err}
		}
	}
	return s.db.Close()
}

func (s *Store) letGo() error {
	f := s.file
	if f == nil {
		return nil
	}
	s.file = nil
	unlock(f)
	return f.Close()
}

// Path is the file's name as it was given.
func (s *Store) Path() string { return s.path }

// ID is the store's number, 16 random bytes drawn when it was made.
func (s *Store) ID() []byte { return append([]byte(nil), s.identity.ID...) }

func (s *Store) view(f func(tx *bbolt.Tx) error) error {
	return s.held(func() error { return s.guard(func() error { return s.db.View(f) }) })
}

func (s *Store) update(f func(tx *bbolt.Tx) error) error {
	return s.guard(func() error { return update(s.db, s.path, f) })
}

// update makes what f writes durable as a whole. A commit that fails is a
// WriteError, or an UnsureError once the page that leads to what was written may
// have reached the file.
func update(db *bbolt.DB, path string, f func(tx *bbolt.Tx) error) error {
	var refused error
	id, last := 0, uint64(0)
	err := db.Update(func(tx *bbolt.Tx) error {
		id = tx.ID()
		refused = f(tx)
		return refused
	})
	if err == nil || refused != nil {
		return err
	}
	if file, openErr := os.Open(path); openErr == nil {
		defer file.Close()
		last = lastCommit(file, int64(db.Info().PageSize))
	}
	if last == 0 || last >= uint64(id) { // one of the two first pages is half written, or there already
		return &UnsureError{Path: path, Err: err}
	}
	return &WriteError{Path: path, Err: err}
}

// skim looks at the pages that lead to others, once, where the file is too large
// for that to be done whenever it is opened: on one that leads back bbolt would
// go round for ever.
func (s *Store) skim() error {
	s.seeing.Lock()
	defer s.seeing.Unlock()
	if !s.unseen {
		return nil
	}
	s.unseen = false
	return s.held(func() error {
		info, err := s.file.Stat()
		if err != nil {
			return err
		}
		c, err := recognize(s.file, info.Size())
		if err == nil {
			c.skim = true
			err = c.check()
		}
		if err != nil {
			s.unseen = true
			return &DamagedError{Path: s.path, Why: err.Error()}
		}
		return nil
	})
}

// guard runs what touches the mapped file. A damaged file makes bbolt panic,
// and a cut one makes the memory itself fail; both become a DamagedError, and
// the store takes no more calls.
func (s *Store) guard(f func() error) (err error) {
	if damaged := s.broken.Load(); damaged != nil {
		return damaged
	}
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		r := recover()
		if r == nil {
			return
		}
		if !fileFault(r) {
			panic(r)
		}
		damaged := &DamagedError{Path: s.path, Why: firstLine(fmt.Sprint(r))}
		s.broken.Store(damaged)
		if s.db == nil {
			_ = s.letGo()
		}
		err = damaged
	}()
	return f()
}

// fileFault tells a broken file from a mistake in this program: the memory of
// the map failed, or the panic came out of bbolt. It must be called from the
// deferred function that recovers, while the stack is still there.
func fileFault(r any) bool {
	if _, ok := r.(interface{ Addr() uintptr }); ok {
		return true
	}
	pcs := make([]uintptr, 64)
	frames := runtime.CallersFrames(pcs[:runtime.Callers(3, pcs)])
	for {
		frame, more := frames.Next()
		if !strings.HasPrefix(frame.Function, "runtime.") {
			return strings.HasPrefix(frame.Function, "go.etcd.io/bbolt")
		}
		if !more {
			return false
		}
	}
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(s, "\n")
	return line
}
