package station

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"resow/cmd/resow/farm"
)

// Live pages: the station looks at the ledger every lookEvery while
// somebody watches, so that a page also notices what the command line did.
const (
	lookEvery  = 2 * time.Second
	aliveEvery = 20 * time.Second
	// maxStreams is one for each device that may be paired (maxSessions); a
	// browser needs one, and what a phone left without a word lingers a while.
	maxStreams = maxSessions
	perDevice  = 3
)

// changes tells the open pages that the ledger stands elsewhere.
type changes struct {
	mu      sync.Mutex
	next    chan struct{} // closed at the next change
	streams []*stream     // the oldest first
	ended   bool
}

// stream is one live stream of a device.
type stream struct {
	device string
	enough chan struct{} // closed when another takes its place
}

func newChanges() *changes {
	return &changes{next: make(chan struct{})}
}

// tell wakes all streams.
func (c *changes) tell() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.ended {
		close(c.next)
		c.next = make(chan struct{})
	}
}

func (c *changes) wait() (next chan struct{}, ended bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.next, c.ended
}

// join adds a stream. A device over its bound loses its oldest; where all places
// are taken, the device with the most gives one up to a device that has fewer.
func (c *changes) join(device string) (*stream, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	of := map[string]int{}
	most := device
	for _, one := range c.streams {
		if of[one.device]++; of[one.device] > of[most] {
			most = one.device
		}
	}
	switch {
	case c.ended:
		return nil, false
	case of[device] >= perDevice:
		c.end(device)
	case len(c.streams) >= maxStreams && of[most] <= of[device]+1:
		return nil, false
	case len(c.streams) >= maxStreams:
		c.end(most)
	}
	one := &stream{device: device, enough: make(chan struct{})}
	c.streams = append(c.streams, one)
	return one, true
}

// end takes the oldest stream of a device off. The caller holds the lock.
func (c *changes) end(device string) {
	i := slices.IndexFunc(c.streams, func(one *stream) bool { return one.device == device })
	close(c.streams[i].enough)
	c.streams = slices.Delete(c.streams, i, i+1)
}

func (c *changes) leave(one *stream) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.streams = slices.DeleteFunc(c.streams, func(other *stream) bool { return other == one })
}

func (c *changes) watched() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.streams) > 0
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
		}
		if !s.changes.watched() {
			continue
		}
		_ = s.door.read(func(*farm.Farm) error { return nil }) // the door itself notes where the ledger stands
	}
}

// events is a stream of server-sent events (WHATWG HTML, section 9.2): one
// "change" with where the ledger stands whenever that is elsewhere than before,
// and "enough" before it is closed for another stream's sake, so that the browser
// does not take the place back.
func (v *visit) events() error {
	one, ok := v.changes.join(v.who.Hash)
	if !ok {
		return &BusyError{Waiting: maxStreams}
	}
	defer v.changes.leave(one)
	out := http.NewResponseController(v.w)
	v.w.Header().Set("Content-Type", "text/event-stream")
	send := func(text string) bool {
		if out.SetWriteDeadline(time.Now().Add(10*time.Second)) != nil {
			return false
		}
		_, err := fmt.Fprint(v.w, text)
		return err == nil && out.Flush() == nil
	}
	alive := time.NewTicker(aliveEvery)
	defer alive.Stop()
	var told standing
	for good := send("retry: 5000\n\n"); good; {
		next, ended := v.changes.wait()
		if _, ok := v.session(v.r); ended || !ok {
			return nil
		}
		if now := *v.door.standing.Load(); now != told {
			data, err := json.Marshal(now)
			if err != nil || !send(fmt.Sprintf("event: change\ndata: %s\n\n", data)) {
				return nil
			}
			told = now
		}
		select {
		case <-v.r.Context().Done():
			return nil
		case <-one.enough:
			send("event: enough\ndata: {}\n\n")
			return nil
		case <-next:
		case <-alive.C:
			good = send(": still here\n\n")
		}
	}
	return nil
}
