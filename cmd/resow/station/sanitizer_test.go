package station

import (
	"errors"
	"io/fs"
	stdlog "log"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/store"
)

// What went wrong inside goes to the terminal; a phone is told to look there.
func TestInsidesStayInside(t *testing.T) {
	var log safeBuffer
	s := &Station{t: english, log: stdlog.New(&log, "", 0)}
	r := httptest.NewRequest(http.MethodGet, "/", nil)
	for _, err := range []error{&fs.PathError{Op: "open", Path: "/home/farm/x", Err: fs.ErrPermission}, &panicError{what: "/home/farm/x nil map"}} {
		require.Equal(t, english["guard.failed"], s.message(r, statusOf(err), err))
		require.Contains(t, log.String(), "/home/farm/x")
		log.b.Reset()
	}
	require.Contains(t, s.message(r, 503, &BusyError{}), "0 requests are waiting; try again")
	err := &store.WriteError{Path: "/home/farm/x", Err: errors.New("no space left")}
	require.Equal(t, english["way.disk"], s.message(r, statusOf(err), err))
	require.Contains(t, log.String(), "no space left")
}
