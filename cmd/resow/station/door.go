package station

import (
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"resow/medium"
	"resow/store"
)

// The door's limits. The pause lets a command, which tries for the lock every
// two milliseconds, in between two batches; a batch ends long before the five
// seconds for which a command waits.
const (
	doorPause   = 6 * time.Millisecond
	doorBatch   = 64
	doorBatchIn = 300 * time.Millisecond
	doorWaiting = 1000
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

// door is the station's one way to the ledger. Work waits in a queue; one
// worker opens the file, does all that is waiting, and closes it, so that the
// command line gets its turn. Nobody outside holds the ledger open: a slow
// client costs nothing.
type door struct {
	path   string
	now    func() time.Time
	random io.Reader

	mu      sync.Mutex
	waiting []*job
	closed  bool
	awake   chan struct{}
	ended   chan struct{}

	opens, commits, repeats atomic.Int64
	busyNS                  atomic.Int64
}

type job struct {
	write bool
	do    func(*view) error
	err   error
	done  chan struct{}
}

func newDoor(path string, now func() time.Time, random io.Reader) *door {
	d := &door{path: path, now: now, random: random, awake: make(chan struct{}, 1), ended: make(chan struct{})}
	go d.work()
	return d
}

// read runs do on the ledger opened for reading. What do returns must not
// point into the ledger.
func (d *door) read(do func(*view) error) error { return d.wait(&job{do: do}) }

// record makes steps by plan and puts them into the ledger under a request
// token, all or nothing.
func (d *door) record(token string, plan func(*view) ([]medium.Step, error)) (done []medium.Step, err error) {
	err = d.wait(&job{write: true, do: func(v *view) error {
		steps, err := plan(v)
		if err != nil {
			return err
		}
		before, err := v.Anchor()
		if err != nil {
			return err
		}
		if done, err = v.Record(token, steps); err != nil {
			return err
		}
		if done[0].Seq > before.Count {
			d.commits.Add(1)
			return nil
		}
		d.repeats.Add(1)
		return sameSteps(token, steps, done)
	}})
	return done, err
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

func (d *door) work() {
	defer close(d.ended)
	var closedAt time.Time
	for {
		batch, more := d.take()
		if len(batch) == 0 {
			if !more {
				return
			}
			<-d.awake
			continue
		}
		time.Sleep(doorPause - time.Since(closedAt))
		began := time.Now()
		d.run(batch, began)
		closedAt = time.Now()
		d.busyNS.Add(int64(closedAt.Sub(began)))
	}
}

// take gives the next batch; more says that further work can come.
func (d *door) take() (batch []*job, more bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := min(len(d.waiting), doorBatch)
	batch = append(batch, d.waiting[:n]...)
	d.waiting = append(d.waiting[:0:0], d.waiting[n:]...)
	return batch, !d.closed
}

// run does a batch with the ledger opened once. What there is no time for goes
// back to the head of the queue.
func (d *door) run(batch []*job, began time.Time) {
	write := false
	for _, j := range batch {
		write = write || j.write
	}
	s, err := store.Open(d.path, store.Options{ReadOnly: !write, Now: d.now, Random: d.random})
	if err != nil {
		for _, j := range batch {
			j.end(err)
		}
		return
	}
	d.opens.Add(1)
	left := batch
	for len(left) > 0 && (time.Since(began) < doorBatchIn || len(left) == len(batch)) {
		left[0].run(s, d.now())
		left = left[1:]
	}
	if err := s.Close(); err != nil && len(left) > 0 {
		left[0].end(err)
		left = left[1:]
	}
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

// run does one job. A mistake in a page must not take the station down.
func (j *job) run(s *store.Store, now time.Time) {
	var err error
	defer func() {
		if r := recover(); r != nil {
			err = &panicError{fmt.Sprint(r), debug.Stack()}
		}
		j.end(err)
	}()
	farm, err := s.Farm()
	if err == nil {
		err = j.do(&view{Store: s, Farm: farm, now: now.In(farm.Location())})
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
