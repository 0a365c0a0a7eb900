package station

import (
	"fmt"
	"net"
	"net/http"
	"sync/atomic"

	"resow/cmd/resow/farm"
)

// counts are the station's plain numbers since its start.
type counts struct {
	requests [6]atomic.Int64 // by the first digit of the status
	steps    atomic.Int64
	refused  atomic.Int64
	unpaired atomic.Int64
}

// statusWriter notes the status of an answer.
type statusWriter struct {
	http.ResponseWriter
	status int
}

func (w *statusWriter) WriteHeader(status int) {
	if w.status == 0 {
		w.status = status
	}
	w.ResponseWriter.WriteHeader(status)
}

// Unwrap lets http.ResponseController reach the connection.
func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func (s *Station) count(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		noted := &statusWriter{ResponseWriter: w}
		next.ServeHTTP(noted, r)
		if noted.status == 0 {
			noted.status = http.StatusOK
		}
		s.counts.requests[min(noted.status/100, 5)].Add(1)
	})
}

// health says whether the ledger can be read now.
func (s *Station) health(w http.ResponseWriter, _ *http.Request) {
	if err := s.door.read(func(*farm.Farm) error { return nil }); err != nil {
		s.plain(w, http.StatusServiceUnavailable, "the ledger can't be read now")
		return
	}
	s.plain(w, http.StatusOK, "ok")
}

// metrics gives the numbers as text, to paired devices and to this machine.
func (s *Station) metrics(w http.ResponseWriter, r *http.Request) {
	host, _, _ := net.SplitHostPort(r.RemoteAddr)
	if _, ok := s.who(r); !ok && !net.ParseIP(host).IsLoopback() {
		s.plain(w, http.StatusForbidden, s.t.get("guard.unpaired"))
		return
	}
	w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
	for i := 1; i < len(s.counts.requests); i++ {
		fmt.Fprintf(w, "resow_requests_total{status=\"%dxx\"} %d\n", i, s.counts.requests[i].Load())
	}
	for _, line := range []struct {
		name string
		n    int64
	}{
		{"resow_steps_recorded_total", s.counts.steps.Load()},
		{"resow_steps_refused_total", s.counts.refused.Load()},
		{"resow_pairings_refused_total", s.counts.unpaired.Load()},
		{"resow_ledger_opens_total", s.door.opens.Load()},
		{"resow_ledger_commits_total", s.door.commits.Load()},
		{"resow_ledger_repeats_total", s.door.repeats.Load()},
		{"resow_ledger_copies_total", s.door.copied.Load()},
		{"resow_ledger_busy_ms_total", s.door.busyNS.Load() / 1e6},
		{"resow_ledger_queue", int64(s.door.length())},
	} {
		fmt.Fprintf(w, "%s %d\n", line.name, line.n)
	}
}
