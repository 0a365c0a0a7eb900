package station

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"time"
)

// Live pages: the station looks at the ledger's anchor every lookEvery while
// somebody watches, so that a page also notices what the command line did.
const (
	lookEvery  = 2 * time.Second
	aliveEvery = 20 * time.Second
	maxStreams = 200
)

// changes tells the open pages how many records the ledger has.
type changes struct {
	mu      sync.Mutex
	count   uint64
	next    chan struct{} // closed at the next change
	streams int
	ended   bool
	soon    chan struct{}
}

func newChanges() *changes {
	return &changes{next: make(chan struct{}), soon: make(chan struct{}, 1)}
}

// hint asks for a look at once: something was recorded here.
func (c *changes) hint() {
	select {
	case c.soon <- struct{}{}:
	default:
	}
}

func (c *changes) set(count uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if count != c.count && !c.ended {
		c.count = count
		close(c.next)
		c.next = make(chan struct{})
	}
}

func (c *changes) now() (count uint64, next chan struct{}, ended bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.count, c.next, c.ended
}

func (c *changes) join() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.streams >= maxStreams || c.ended {
		return false
	}
	c.streams++
	return true
}

func (c *changes) leave() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.streams--
}

func (c *changes) watched() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.streams > 0
}

// close ends all streams.
func (c *changes) close() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.ended {
		c.ended = true
		close(c.next)
	}
}

// watch looks at the anchor until ctx ends.
func (s *Station) watch(ctx context.Context) {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		case <-s.changes.soon:
		}
		if !s.changes.watched() {
			continue
		}
		var count uint64
		err := s.door.read(func(v *view) error {
			anchor, err := v.Anchor()
			count = anchor.Count
			return err
		})
		if err == nil {
			s.changes.set(count)
		}
	}
}

// events is a stream of server-sent events (WHATWG HTML, section 9.2): one
// "change" with the number of records whenever the ledger has grown.
func (s *Station) events(w http.ResponseWriter, r *http.Request, who session) {
	if !s.changes.join() {
		s.fail(w, r, who, http.StatusServiceUnavailable, &BusyError{Waiting: maxStreams})
		return
	}
	defer s.changes.leave()
	s.changes.hint()
	out := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	send := func(text string) bool {
		if out.SetWriteDeadline(time.Now().Add(10*time.Second)) != nil {
			return false
		}
		if _, err := fmt.Fprint(w, text); err != nil {
			return false
		}
		return out.Flush() == nil
	}
	if !send("retry: 5000\n\n") {
		return
	}
	alive := time.NewTicker(aliveEvery)
	defer alive.Stop()
	told := uint64(0)
	for {
		count, next, ended := s.changes.now()
		if _, ok := s.who(r); ended || !ok {
			return
		}
		if count != told {
			if !send(fmt.Sprintf("event: change\ndata: {\"records\": %d}\n\n", count)) {
				return
			}
			told = count
		}
		select {
		case <-r.Context().Done():
			return
		case <-next:
		case <-alive.C:
			if !send(": still here\n\n") {
				return
			}
		}
	}
}
