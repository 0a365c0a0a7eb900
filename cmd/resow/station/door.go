package station

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

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

// view is the open ledger with the farm as it stands, for one piece of work.
type view struct {
	*store.Store
	medium.Farm
	now time.Time // in the farm's zone
}

// dueByClock is why no due list can be trusted; nil where nothing shows.
func (v *view) dueByClock() (*medium.Finding, error) {
	last, err := v.LastRecorded()
	if f, wrong := medium.DueByClock(last, v.now); wrong {
		return &f, err
	}
	return nil, err
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

	mu      sync.Mutex
	waiting []*job
	closed  bool
	awake   chan struct{}
	ended   chan struct{}
	copies  chan struct{}

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

// job is a reading, or a recording with its plan and its request token.
type job struct {
	read  func(*view) error
	plan  func(*view) ([]medium.Step, error)
	token string
	steps []medium.Step // as they were recorded
	err   error
	done  chan struct{}
}

func newDoor(path, folder string, now func() time.Time, random io.Reader, changed func(), say func(string)) *door {
	d := &door{path: path, folder: folder, now: now, random: random, changed: changed, say: say,
		awake: make(chan struct{}, 1), ended: make(chan struct{}), copies: make(chan struct{}, doorCopies)}
	d.standing.Store(&standing{})
	go d.work()
	return d
}

// read runs do on the ledger opened for reading. What do returns must not
// point into the ledger. It must be short: others wait for it.
func (d *door) read(do func(*view) error) error { return d.wait(&job{read: do}) }

// record makes steps by plan and puts them into the ledger under a request
// token, all or nothing. It comes back when they are on the disk. The plan may
// be called twice.
func (d *door) record(token string, plan func(*view) ([]medium.Step, error)) ([]medium.Step, error) {
	j := &job{token: token, plan: plan}
	err := d.wait(j)
	return j.steps, err
}

// long runs do on a copy of the ledger, beside the queue, so that a report of
// a whole year keeps nobody at the sink waiting.
func (d *door) long(do func(*view) error) error {
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
	return look(s, d.now(), do)
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

func (d *door) wait(j *job) error {
	j.done = make(chan struct{})
	d.mu.Lock()
	if d.closed || len(d.waiting) >= doorWaiting {
		n, closed := len(d.waiting), d.closed
		d.mu.Unlock()
		if closed {
			return &ClosedError{}
		}
		return &BusyError{Waiting: n}
	}
	d.waiting = append(d.waiting, j)
	d.mu.Unlock()
	d.wake()
	<-j.done
	return j.err
}

func (d *door) wake() {
	select {
	case d.awake <- struct{}{}:
	default:
	}
}

// close lets the work that is waiting be done and takes no more.
func (d *door) close() {
	d.mu.Lock()
	d.closed = true
	d.mu.Unlock()
	d.wake()
	<-d.ended
}

func (d *door) length() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.waiting)
}

// idle says that nothing waits, and whether anything may still come: in one
// look, or a job that came between two would wait for ever.
func (d *door) idle() (idle, closed bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.waiting) == 0, d.closed
}

func (d *door) isClosed() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.closed
}

func (d *door) work() {
	defer close(d.ended)
	var closedAt time.Time
	for {
		if idle, closed := d.idle(); idle {
			if closed {
				return
			}
			<-d.awake
			continue
		}
		time.Sleep(doorPause - time.Since(closedAt))
		began := time.Now()
		d.open(began)
		closedAt = time.Now()
		d.busyNS.Add(int64(closedAt.Sub(began)))
	}
}

// take gives the next batch.
func (d *door) take() (batch []*job) {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := min(len(d.waiting), doorBatch)
	batch = append(batch, d.waiting[:n]...)
	d.waiting = append(d.waiting[:0:0], d.waiting[n:]...)
	return batch
}

// open opens the ledger once and does what is waiting. While it is open for
// writing, what comes in is done too: phones that were answered send their next
// step, and these again share one commit.
func (d *door) open(began time.Time) {
	batch := d.take()
	write := false
	for _, j := range batch {
		write = write || j.plan != nil
	}
	s, err := store.Open(d.path, store.Options{ReadOnly: !write, Now: d.now, Random: d.random, Say: d.say})
	if err != nil {
		for _, j := range batch {
			j.end(err)
		}
		return
	}
	defer s.Close() // what was recorded is on the disk already
	d.opens.Add(1)
	d.note(s)
	for {
		d.run(batch, s)
		if !write || time.Since(began) > doorOpen || !d.gather(len(batch)) {
			return
		}
		batch = d.take()
	}
}

// gather waits a little until so many jobs are waiting as were done before, and
// says whether any is.
func (d *door) gather(n int) bool {
	enough := time.NewTimer(doorGather)
	defer enough.Stop()
	for d.length() < n {
		select {
		case <-d.awake:
		case <-enough.C:
			return d.length() > 0
		}
	}
	return true
}

// run does a batch. What there is no time for goes back to the head of the
// queue.
func (d *door) run(batch []*job, s *store.Store) {
	r := &round{door: d, store: s}
	began, left := time.Now(), batch
	for len(left) > 0 && (time.Since(began) < doorBatchIn || len(left) == len(batch)) {
		r.do(left[0])
		left = left[1:]
	}
	r.commit()
	if len(left) > 0 {
		d.mu.Lock()
		d.waiting = append(append([]*job(nil), left...), d.waiting...)
		d.mu.Unlock()
	}
}

func (j *job) end(err error) {
	j.err = err
	close(j.done)
}

// look runs do on an open ledger.
func look(s *store.Store, now time.Time, do func(*view) error) error {
	farm, err := s.Farm()
	if err != nil {
		return err
	}
	return (&view{Store: s, Farm: farm, now: now.In(farm.Location())}).run(do)
}

// run does one piece of work. A mistake in a page must not take the station
// down.
func (v *view) run(do func(*view) error) (err error) {
	defer recovered(&err)
	return do(v)
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
