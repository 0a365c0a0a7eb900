package station

import (
	"bytes"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// visit is one request: what is asked, by whom, and where the answer goes. All that a
// route does is a function of it, and the error that comes back is answered in one place.
type visit struct {
	*Station
	w   http.ResponseWriter
	r   *http.Request
	who session // of nobody where the page is open to all

	form    url.Values // what was sent; nil on a page that is opened
	done    any        // what became of it, for the script
	status  int        // of the page
	problem string     // what was wrong with what was sent
}

// access says whom a route is open to.
type access int

const (
	everybody   access = iota
	paired             // devices; there is no exception for this machine: any program on it could ask
	supervisors        // their devices
)

// serve makes a handler of what a route does.
func (s *Station) serve(to access, do func(*visit) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v := &visit{Station: s, w: w, r: r, status: http.StatusOK}
		known := true
		if to != everybody {
			v.who, known = s.session(r)
		}
		if !known {
			v.unpaired()
			return
		}
		v.renewCookie()
		err := error(&RoleError{s.t.get("guard.boss")})
		if to != supervisors || v.who.Role == Supervisor {
			err = do(v)
		}
		if err != nil {
			v.fail(statusOf(err), err)
		}
	}
}

// unpaired sends a device to where it is paired, and a program away.
func (v *visit) unpaired() {
	to := "/pair"
	if strings.HasPrefix(v.r.URL.Path, "/m/") {
		to += "?next=" + url.QueryEscape(v.r.URL.Path)
	}
	why := v.t.get("guard.unpaired")
	switch {
	case wantsJSON(v.r) || v.r.URL.Path == "/events":
		writeJSON(v.w, http.StatusUnauthorized, map[string]any{"error": why, "status": http.StatusUnauthorized})
	case v.r.Method != http.MethodGet && v.r.Method != http.MethodHead:
		v.fail(http.StatusUnauthorized, &RoleError{why})
	default:
		http.Redirect(v.w, v.r, to, http.StatusSeeOther)
	}
}

// renewCookie gives a device that is in use its cookie for a month more. An open
// page that nobody looks at asks for its live stream only, and a picture may be
// kept by the browser: neither renews it.
func (v *visit) renewCookie() {
	if v.who.Hash == "" || v.r.URL.Path == "/events" || strings.HasPrefix(v.r.URL.Path, "/pictures/") {
		return
	}
	if c, err := v.r.Cookie(v.cookieName()); err == nil && v.people.renew(v.who.Hash) {
		v.setCookie(c.Value, sessionFor)
	}
}

// page is one page: its template, what fills that in, and what its form does.
type page struct {
	name string // of the template; its title is the text NAME.title
	here string // the entry of the menu that it belongs to; empty: its own
	draw drawing

	fields func(*visit) ([]string, error)        // that its form may have
	send   func(*visit) (next string, err error) // and what it does; next is the page after it
}

// drawing fills a page in as the ledger stands.
type drawing func(*visit, *farm.Farm) (filling, error)

// filling is what a template is filled with; every one has a frame.
type filling interface{ around() *frame }

// fields are the same for every visit.
func fields(names ...string) func(*visit) ([]string, error) {
	return func(*visit) ([]string, error) { return names, nil }
}

// look shows the page as the ledger stands.
func (p page) look(v *visit) error {
	var with filling
	err := v.door.read(func(f *farm.Farm) (err error) {
		if with, err = p.draw(v, f); err == nil {
			v.put(p, with.around(), f.Farm)
		}
		return err
	})
	if err != nil {
		return err
	}
	v.show(p.name, with)
	return nil
}

// bare shows a page that needs nothing of the ledger.
func (p page) bare(v *visit, with filling) error {
	v.put(p, with.around(), medium.Farm{})
	v.show(p.name, with)
	return nil
}

// post does what the page's form asks for. What is refused comes back in the form,
// with the reason.
func (p page) post(v *visit) error {
	known, err := p.fields(v)
	if err != nil {
		return err
	}
	if v.form, err = readForm(v.r, known...); err != nil {
		return err
	}
	next, err := p.send(v)
	switch {
	case err != nil && (p.draw == nil || wantsJSON(v.r) || statusOf(err) >= 500):
		return err
	case err != nil:
		v.refused(err)
		return p.look(v)
	case v.done != nil && wantsJSON(v.r):
		writeJSON(v.w, http.StatusOK, v.done)
	case next != "":
		http.Redirect(v.w, v.r, next, http.StatusSeeOther)
	}
	return nil
}

// refused has the page say what was wrong with what was sent.
func (v *visit) refused(err error) {
	v.status = statusOf(err)
	v.problem = v.message(v.r, v.status, err)
}

// readForm reads a form of known fields. A name that ends in * may come as often as it
// likes.
func readForm(r *http.Request, known ...string) (url.Values, error) {
	err := r.ParseForm()
	if slices.Contains(known, "picture") && isMultipart(r) {
		err = r.ParseMultipartForm(formParts)
	}
	if errors.As(err, new(*http.MaxBytesError)) {
		return nil, err
	}
	if err != nil {
		return nil, &RequestError{"the form did not arrive complete; send it again"}
	}
	return r.PostForm, checkForm(r.PostForm, known...)
}

func isMultipart(r *http.Request) bool {
	return strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/form-data")
}

// checkForm refuses a field that a form does not know, and one that came twice: a
// value that is dropped without a word is lost to every recall.
func checkForm(form url.Values, known ...string) error {
	for name, given := range form {
		if slices.Contains(known, name+"*") {
			continue
		}
		if !slices.Contains(known, name) {
			return &medium.InputError{Field: "field of the form", Value: name,
				Want: "one that it has" + didYouMean(name, known) + " Open the page again"}
		}
		if len(given) > 1 {
			return &medium.InputError{Field: name, Value: strings.Join(given, ", "), Want: "one value, not several"}
		}
	}
	return nil
}

// show draws a page whole before anything is sent.
func (v *visit) show(name string, with filling) {
	var b bytes.Buffer
	if err := v.pages[name].ExecuteTemplate(&b, "frame.html", with); err != nil {
		v.log.Printf("page %s: %v", name, err)
		v.plain(v.w, http.StatusInternalServerError, v.t.get("guard.mistake"))
		return
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.WriteHeader(v.status)
	_, _ = v.w.Write(harmless(b.Bytes()))
}

type failPage struct {
	frame
	Text string
}

// fail answers a request that can't be done.
func (v *visit) fail(status int, err error) {
	v.status, v.problem = status, ""
	text := v.message(v.r, status, err)
	if status == http.StatusServiceUnavailable {
		v.w.Header().Set("Retry-After", "2")
	}
	if wantsJSON(v.r) {
		writeJSON(v.w, status, map[string]any{"error": text, "status": status, "final": final(err)})
		return
	}
	_ = page{name: "fail"}.bare(v, &failPage{Text: text}) // it has answered
}

// noPage answers for what is at no address.
func (s *Station) noPage() error { return &NotFoundError{s.t.get("guard.nopage")} }

// file sends what was made whole.
func (v *visit) file(kind string, data []byte) error {
	v.w.Header().Set("Content-Type", kind)
	v.w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	_, _ = v.w.Write(data) // the client went away: nothing to be done
	return nil
}

// wantsJSON says that the script or a program asked, not a browser's own form.
func wantsJSON(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "application/json") || strings.HasPrefix(r.URL.Path, "/api/")
}

func writeJSON(w http.ResponseWriter, status int, doc any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	_ = enc.Encode(doc) // the client went away: nothing to be done
}
