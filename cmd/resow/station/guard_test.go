package station

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// deadlines notes what the guard allows a request.
type deadlines struct {
	*httptest.ResponseRecorder
	read []time.Time
}

func (d *deadlines) SetReadDeadline(t time.Time) error {
	d.read = append(d.read, t)
	return nil
}

// An upload over a poor network has a minute and a half, nothing else more than
// the server's time.
func TestSlowUploadHasTime(t *testing.T) {
	s, _ := start(t, nil)
	passed := 0
	guarded := s.guard(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { passed++ }))
	for kind, more := range map[string]bool{"multipart/form-data; boundary=x": true, "application/x-www-form-urlencoded": false, "application/json": false, "": false} {
		w := &deadlines{ResponseRecorder: httptest.NewRecorder()}
		r := httptest.NewRequest("POST", s.Address()+"/m/T0000000/mold", bytes.NewReader(nil))
		r.Header.Set("Content-Type", kind)
		began := time.Now()
		guarded.ServeHTTP(w, r)
		if !more {
			require.Empty(t, w.read, kind)
			continue
		}
		require.Len(t, w.read, 1)
		require.WithinDuration(t, began.Add(90*time.Second), w.read[0], 900*time.Millisecond)
	}
	require.Equal(t, 4, passed)
}

// What a page shows must not stay in a browser's or a proxy's store: it has
// initials, figures and forms of the person who was at work. A picture has its
// own name for ever and may be kept by the browser; scripts are asked for anew.
func TestNothingIsStored(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Supervisor, "SV")
	mat := string(s.inStage(t, medium.ToSanitize)[0])
	for _, path := range append(pagesOf(mat), "/api/v1/due", "/nothing", "/find?code="+mat, "/reports/retirement.csv", "/door.pdf", "/healthz", "/metrics", "/pictures/x.jpg") {
		require.Equal(t, "no-store", p.get(path).header.Get("Cache-Control"), path)
	}
	require.Equal(t, "no-store", p.post("/shift", url.Values{"initials": {"SV"}}).header.Get("Cache-Control"))
	require.Equal(t, "no-store", s.phone(t).get("/").header.Get("Cache-Control"), "the way to the pairing page")
	require.Equal(t, "no-cache", p.get("/assets/app.js").header.Get("Cache-Control"))
	path := "/m/" + mat + "/mold"
	require.Equal(t, http.StatusSeeOther, p.upload(path, url.Values{"token": {s.newToken()}, "where": {"edge"}}, photo(t, 40, 30, 1)).status)
	require.Equal(t, "private, max-age=86400, immutable", p.get("/pictures/"+s.pictures(t)[0]).header.Get("Cache-Control"))
}

// TestBodyLimits sends bodies just below and above what is taken; the figures
// are written out so that a changed limit shows.
func TestBodyLimits(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := string(s.inStage(t, medium.Growing)[0])
	form := func(path, kind string, size int) int {
		var b bytes.Buffer
		if kind == "" {
			fields := url.Values{"token": {s.newToken()}}.Encode() + "&water=10"
			b.WriteString(fields)
			b.Write(bytes.Repeat([]byte("+"), size-b.Len()))
			kind = "application/x-www-form-urlencoded"
		} else {
			w := multipart.NewWriter(&b)
			require.NoError(t, w.SetBoundary("farm"))
			require.NoError(t, w.WriteField("token", s.newToken()))
			require.NoError(t, w.WriteField("where", "crop"))
			part, err := w.CreateFormFile("picture", "x.jpg")
			require.NoError(t, err)
			const end = "\r\n--farm--\r\n"
			_, err = part.Write(make([]byte, size-b.Len()-len(end)))
			require.NoError(t, err)
			require.NoError(t, w.Close())
		}
		require.Equal(t, size, b.Len())
		r := p.request("POST", path, &b)
		r.Header.Set("Content-Type", kind)
		return p.do(r).status
	}
	const kB, multi = 1 << 10, "multipart/form-data; boundary=farm"
	require.Equal(t, http.StatusSeeOther, form("/m/"+mat+"/mist", "", 256*kB))
	require.Equal(t, http.StatusRequestEntityTooLarge, form("/m/"+mat+"/mist", "", 256*kB+1))
	require.Equal(t, http.StatusSeeOther, form("/m/"+mat+"/mold", multi, 32<<10*kB), "recorded, its picture left out")
	require.Equal(t, http.StatusRequestEntityTooLarge, form("/m/"+mat+"/mold", multi, 32<<10*kB+1))
	thread := s.thread(t, medium.Code(mat))
	require.Equal(t, medium.KindMold, last(thread).Kind)
}
