package station

import (
	"bufio"
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// live opens a stream and gives the names of its events; it is closed when the
// station ends it.
func (p *phone) live(t *testing.T) <-chan string {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	t.Cleanup(cancel)
	client := *p.http
	client.Timeout = 0
	res, err := client.Do(p.request("GET", "/events", nil).WithContext(ctx))
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, res.StatusCode)
	names := make(chan string, 100)
	go func() {
		defer res.Body.Close()
		defer close(names)
		for lines := bufio.NewScanner(res.Body); lines.Scan(); {
			if name, ok := strings.CutPrefix(lines.Text(), "event: "); ok {
				names <- name
			}
		}
	}()
	return names
}

// ended reads a stream to its end and gives the last event.
func ended(t *testing.T, names <-chan string) (last string) {
	t.Helper()
	for late := time.After(5 * time.Second); ; {
		select {
		case name, ok := <-names:
			if !ok {
				return last
			}
			last = name
		case <-late:
			require.FailNow(t, "the stream goes on")
		}
	}
}

// TestLiveStreamsOfOneDevice: over its bound a device loses its oldest stream,
// which is told so; the newest always gets through.
func TestLiveStreamsOfOneDevice(t *testing.T) {
	s, _ := start(t, nil)
	p, other := s.paired(t, Operator, "MK"), s.paired(t, Operator, "AB")
	theirs := other.live(t)
	var mine []<-chan string
	for range perDevice + 2 {
		mine = append(mine, p.live(t))
	}
	for _, names := range mine[:2] {
		require.Equal(t, "enough", ended(t, names))
	}
	require.Len(t, s.changes.streams, perDevice+1)
	for _, names := range append(mine[2:], theirs) {
		select {
		case name, ok := <-names:
			require.True(t, ok && name == "change")
		case <-time.After(10 * time.Second):
			require.Fail(t, "a stream within the bound is silent")
		}
	}
}

// TestLiveStreamsAreShared: where all places are taken, a device that has none
// gets one from the device that has most.
func TestLiveStreamsAreShared(t *testing.T) {
	c := newChanges()
	var first *stream
	for i := range maxStreams {
		one, ok := c.join("device " + itoa(i/perDevice))
		require.True(t, ok)
		if i == 0 {
			first = one
		}
	}
	late, ok := c.join("newcomer")
	require.True(t, ok)
	require.Len(t, c.streams, maxStreams)
	select {
	case <-first.enough:
	default:
		require.Fail(t, "the oldest of a device with most gives way")
	}
	c.leave(first) // its own end comes later
	require.Len(t, c.streams, maxStreams)
	c.leave(late)
	require.Len(t, c.streams, maxStreams-1)

	full := newChanges()
	for i := range maxStreams {
		_, ok := full.join("device " + itoa(i))
		require.True(t, ok, "one for each device that may be paired")
	}
	_, ok = full.join("one too many")
	require.False(t, ok)
	_, ok = full.join("device 7")
	require.False(t, ok, "a second one is not taken from those who have one")
}
