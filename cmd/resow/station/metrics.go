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
func (v *visit) health() error {
	status, text := http.StatusOK, "ok"
	if v.door.read(func(*farm.Farm) error { return nil }) != nil {
		status, text = http.StatusServiceUnavailable, "the ledger can't be read now"
	}
	v.plain(v.w, status, text)
	return nil
}

// metrics gives the numbers as text, to paired devices and to this machine.
func (v *visit) metrics() error {
	host, _, _ := net.SplitHostPort(v.r.RemoteAddr)
	if _, ok := v.session(v.r); !ok && !net.ParseIP(host).IsLoopback() {
		v.plain(v.w, http.StatusForbidden, v.t.get("guard.unpaired"))
		return nil
	}
	v.w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
	for i := 1; i < len(v.counts.requests); i++ {
		fmt.Fprintf(v.w, "resow_requests_total{status=\"%dxx\"} %d\n", i, v.counts.requests[i].Load())
	}
	for _, line := range []struct {
		name string
		n    int64
	}{
		{"resow_steps_recorded_total", v.counts.steps.Load()},
		{"resow_steps_refused_total", v.counts.refused.Load()},
		{"resow_pairings_refused_total", v.counts.unpaired.Load()},
		{"resow_ledger_opens_total", v.door.opens.Load()},
		{"resow_ledger_commits_total", v.door.commits.Load()},
		{"resow_ledger_repeats_total", v.door.repeats.Load()},
		{"resow_ledger_copies_total", v.door.copied.Load()},
		{"resow_ledger_busy_ms_total", v.door.busyNS.Load() / 1e6},
		{"resow_ledger_queue", int64(v.door.length())},
	} {
		fmt.Fprintf(v.w, "%s %d\n", line.name, line.n)
	}
	return nil
}
