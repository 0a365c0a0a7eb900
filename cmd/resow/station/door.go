package station

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// The door's limits. The pause lets a command, which tries for the lock every
// two milliseconds, in between two openings; an opening ends long before the
// five seconds for which a command waits.
const (
	doorPause   = 6 * time.Millisecond
	doorOpen    = 40 * time.Millisecond // after that no further batch is begun
	doorGather  = 2 * time.Millisecond  // for as many as there were in the batch before
	doorBatch   = 128
	doorBatchIn = 300 * time.Millisecond
	doorWaiting = 1000
	doorCopies  = 2 // long readings at one time, each with its copy of the file
)

// BusyError refuses work while too much of it is waiting.
type BusyError struct{ Waiting int }

func (e *BusyError) Error() string {
	return fmt.Sprintf("the station is busy: %d requests are waiting; try again in a moment", e.Waiting)
}

// ClosedError refuses work while the station is closing down.
type ClosedError struct{}

func (e *ClosedError) Error() string {
	return "the station is closing; nothing was recorded, send it again when it is back"
}

// door is the station's one way to the ledger. Work waits in a queue; one
// worker opens the file, does all that is waiting, and closes it, so that the
// command line gets its turn. What many phones record meanwhile is one commit.
// Nobody outside holds the ledger open: a slow client costs nothing.
type door struct {
	path   string
	folder string // for copies
	now    func() time.Time
	random io.Reader

	jobs   chan *job
	mu     sync.RWMutex // held to put a job in, so that none comes behind the last
	closed bool
	ended  chan struct{}
	copies chan struct{}

	opens, commits, repeats, copied atomic.Int64
	busyNS                          atomic.Int64

	standing atomic.Pointer[standing]
	changed  func() // told when the ledger stands elsewhere than at the last look
	say      func(string)
}

// standing is where the ledger stood when it was looked at last. Phones keep it
// with each step that was answered, and hold it against that of later pages: one
// behind it, or another head at the same place, is a ledger that was restored.
type standing struct {
	Ledger   string `json:"ledger"`
	Position uint64 `json:"position"`
	Head     string `json:"head"`
}

// note looks where the ledger stands.
func (d *door) note(s *store.Store) {
	anchor, err := s.Anchor()
	if err != nil {
		return // whoever reads more will say so
	}
	now := standing{hex.EncodeToString(s.ID()), anchor.Count, hex.EncodeToString(anchor.Head[:])}
	if before := d.standing.Swap(&now); *before != now && d.changed != nil {
		d.changed()
	}
}

// job is a reading, or a recording: what makes its steps, and its request token.
type job struct {
	read  func(*farm.Farm) error
	build func(*farm.Farm) ([]medium.Step, error)
	token string
	steps []medium.Step // as they were recorded
	err   error
	done  chan struct{}
}

func newDoor(path, folder string, now func() time.Time, random io.Reader, changed func(), say func(string)) *door {
	d := &door{path: path, folder: folder, now: now, random: random, changed: changed, say: say,
		jobs: make(chan *job, doorWaiting), ended: make(chan struct{}), copies: make(chan struct{}, doorCopies)}
	d.standing.Store(&standing{})
	go d.work()
	return d
}

// read runs do on the ledger opened for reading. What do returns must not
// point into the ledger. It must be short: others wait for it.
func (d *door) read(do func(*farm.Farm) error) error { return d.wait(&job{read: do}) }

// record has steps made and puts them into the ledger under a request
// token, all or nothing. It comes back when they are on the disk. They may
// be made twice.
func (d *door) record(token string, build func(*farm.Farm) ([]medium.Step, error)) ([]medium.Step, error) {
	j := &job{token: token, build: build}
	err := d.wait(j)
	return j.steps, err
}

// long runs do on a copy of the ledger, beside the queue, so that a report of
// a whole year keeps nobody at the sink waiting.
func (d *door) long(do func(*farm.Farm) error) error {
	d.copies <- struct{}{}
	defer func() { <-d.copies }()
	if d.isClosed() {
		return &ClosedError{}
	}
	path, err := d.copyFile()
	if err != nil {
		return err
	}
	defer os.Remove(path)
	s, err := store.Open(path, store.Options{ReadOnly: true, Now: d.now, Random: d.random})
	if err != nil {
		return err
	}
	defer s.Close()
	d.copied.Add(1)
	return (&opening{door: d, store: s}).look(do)
}

// copyNames are copies under way; a run that died may have left some.
const copyNames = ".copy-*"

// copyFile copies the ledger as it is at one moment.
func (d *door) copyFile() (path string, err error) {
	to, err := os.CreateTemp(d.folder, copyNames) // made with 0600
	if err != nil {
		return "", err
	}
	err = store.Copy(d.path, to, store.Options{Now: d.now, Random: d.random})
	if err = errors.Join(err, to.Close()); err != nil {
		os.Remove(to.Name())
		return "", err
	}
	return to.Name(), nil
}

// dropCopies removes what a run that died has left.
func dropCopies(folder string) {
	left, _ := filepath.Glob(filepath.Join(folder, copyNames)) // the pattern is good
	for _, path := range left {
		_ = os.Remove(path) // it takes room and does no harm
	}
}

// wait puts a job into the queue and comes back when it is done.
func (d *door) wait(j *job) error {
	j.done = make(chan struct{})
	if err := d.put(j); err != nil {
		return err
	}
	<-j.done
	return j.err
}

func (d *door) put(j *job) error {
	d.mu.RLock()
	defer d.mu.RUnlock()
	if d.closed {
		return &ClosedError{}
	}
	select {
	case d.jobs <- j:
		return nil
	default:
		return &BusyError{Waiting: len(d.jobs)}
	}
}

// close lets the work that is waiting be done and takes no more.
func (d *door) close() {
	d.mu.Lock()
	d.closed = true
	close(d.jobs)
	d.mu.Unlock()
	<-d.ended
}

func (d *door) isClosed() bool {
	d.mu.RLock()
	defer d.mu.RUnlock()
	return d.closed
}

func (d *door) length() int { return len(d.jobs) }

// work does the jobs, in their order, until the door is closed and none is left.
func (d *door) work() {
	defer close(d.ended)
	var left []*job // that there was no time for
	var closedAt time.Time
	for {
		if len(left) == 0 {
			first, ok := <-d.jobs
			if !ok {
				return
			}
			left = []*job{first}
		}
		time.Sleep(doorPause - time.Since(closedAt))
		began := time.Now()
		left = d.do(d.gather(left, 0))
		closedAt = time.Now()
		d.busyNS.Add(int64(closedAt.Sub(began)))
	}
}

// gather adds to a batch what is waiting; where that makes fewer than least, it waits a
// little for more.
func (d *door) gather(batch []*job, least int) []*job {
	enough := make(<-chan time.Time)
	if least > 0 {
		enough = time.After(doorGather)
	}
	for len(batch) < doorBatch {
		if len(d.jobs) == 0 && len(batch) >= least {
			return batch
		}
		select {
		case j, ok := <-d.jobs:
			if !ok {
				return batch
			}
			batch = append(batch, j)
		case <-enough:
			return batch
		}
	}
	return batch
}

// do opens the ledger once and does a batch. While it is open for writing, what comes
// in is done too: phones that were answered send their next step, and these again share
// one commit. It gives back what there was no time for.
func (d *door) do(batch []*job) (left []*job) {
	began := time.Now()
	write := slices.ContainsFunc(batch, func(j *job) bool { return j.build != nil })
	s, err := store.Open(d.path, store.Options{ReadOnly: !write, Now: d.now, Random: d.random, Say: d.say})
	if err != nil {
		for _, j := range batch {
			j.end(err)
		}
		return nil
	}
	defer s.Close() // what was recorded is on the disk already
	d.opens.Add(1)
	d.note(s)
	for len(batch) > 0 && len(left) == 0 {
		left = d.run(batch, s)
		if !write || time.Since(began) > doorOpen {
			break
		}
		batch = d.gather(nil, len(batch))
	}
	return left
}

// run does a batch and gives back what there was no time for.
func (d *door) run(batch []*job, s *store.Store) []*job {
	r := &opening{door: d, store: s}
	began, n := time.Now(), 0
	for n < len(batch) && (n == 0 || time.Since(began) < doorBatchIn) {
		r.do(batch[n])
		n++
	}
	r.commit()
	return batch[n:]
}

func (j *job) end(err error) {
	j.err = err
	close(j.done)
}

// recovered makes an error of a panic; it must be deferred itself.
func recovered(err *error) {
	if r := recover(); r != nil {
		*err = &panicError{fmt.Sprint(r), debug.Stack()}
	}
}

// panicError is a mistake in this program.
type panicError struct {
	what  string
	stack []byte
}

func (e *panicError) Error() string {
	return "the station made a mistake and stopped this request: " + e.what
}

func isPanic(err error) (*panicError, bool) {
	var p *panicError
	found := errors.As(err, &p)
	return p, found
}
