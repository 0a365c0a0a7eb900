package station

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"strings"
	"time"

	"resow/cmd/resow/amount"
	"resow/medium"
)

//go:embed pages/*.html
var pageFiles embed.FS

//go:embed assets/*
var assetFiles embed.FS

// pageSet are the pages by the name of their file, each with the frame.
type pageSet map[string]*template.Template

func loadPages(t texts) (pageSet, error) {
	frame, err := template.New("frame.html").Funcs(template.FuncMap{
		"t":    t.get,
		"list": func(items ...string) []string { return items },
		"raw":  func(c medium.Code) string { return string(c) },
	}).ParseFS(pageFiles, "pages/frame.html", "pages/parts.html")
	if err != nil {
		return nil, err
	}
	files, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		return nil, err
	}
	pages := pageSet{}
	for _, f := range files {
		name := strings.TrimSuffix(strings.TrimPrefix(f, "pages/"), ".html")
		if name == "frame" || name == "parts" {
			continue
		}
		page, err := frame.Clone()
		if err != nil {
			return nil, err
		}
		if pages[name], err = page.ParseFS(pageFiles, f); err != nil {
			return nil, err
		}
	}
	return pages, nil
}

// frame is what every page has around it.
type frame struct {
	Title    string
	Farm     string
	Who      session
	Here     string // the entry of the menu
	Refresh  int    // seconds, for browsers without script; 0: never
	Live     bool   // the script loads it anew when the ledger changes
	Paired   bool
	Boss     bool
	OnShift  bool
	Problem  string // what went wrong with what was sent
	Question bool   // and it was a question, nothing to be recorded
	Pass     string // proves later who was on shift when the page was drawn
	Ledger   standing
	Waiting  int  // steps that wait for a supervisor, for one who is
	Unsaved  bool // the last scheduled backup failed; a supervisor is told on every page
	Language string
}

func (s *Station) frame(who session, f medium.Farm, here, title string) frame {
	now := s.c.Now()
	page := frame{Title: title, Farm: f.Settings.Name, Who: who, Here: here, Paired: who.Hash != "", Boss: who.Role == Supervisor,
		OnShift: who.onShift(now), Ledger: *s.door.standing.Load(), Language: "en"}
	if page.OnShift {
		page.Pass = s.people.pass(who)
	}
	if page.Boss {
		page.Waiting = len(s.holding.open())
		page.Unsaved = here != "status" && s.backups.get().Failed != ""
	}
	return page
}

// show draws a page whole before anything is sent.
func (s *Station) show(w http.ResponseWriter, status int, name string, page any) {
	var b bytes.Buffer
	if err := s.pages[name].ExecuteTemplate(&b, "frame.html", page); err != nil {
		s.log.Printf("page %s: %v", name, err)
		s.plain(w, http.StatusInternalServerError, s.t.get("guard.mistake"))
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(harmless(b.Bytes()))
}

// harmless writes as escapes what a page would obey or hide in a text: whoever
// made a record or named a device must not turn a line round.
func harmless(page []byte) []byte {
	var out []byte
	for line := range bytes.Lines(page) {
		text := bytes.TrimRight(line, "\r\n")
		for i, part := range strings.Split(string(text), "\t") {
			if i > 0 {
				out = append(out, '\t')
			}
			out = append(out, medium.Visible(part)...)
		}
		out = append(out, line[len(text):]...)
	}
	return out
}

// said gives the text that a person reads of an error. What went wrong inside
// the station goes to its terminal: it has paths and names of code.
func (s *Station) said(r *http.Request, status int, err error) string {
	p, panicked := isPanic(err)
	if panicked {
		s.log.Printf("%s\n%s", p.what, p.stack)
	} else if status >= 500 {
		s.log.Printf("%s: %v", r.Pattern, err)
	}
	if strings.HasPrefix(r.URL.Path, "/api/") { // a program knows fields by their names
		return s.wayOut(err, err.Error())
	}
	return s.wayOut(err, s.labelled(err))
}

// wayOut puts to what an error says what to do about it on a phone.
func (s *Station) wayOut(err error, own string) string {
	own = medium.Visible(own)
	if _, way, _ := answerTo(err); way != "" {
		return strings.Replace(s.t.get(way), "%s", own, 1)
	}
	return own
}

// labelled is what an error says, as a sentence with the labels of the form.
func (s *Station) labelled(err error) string {
	var input *medium.InputError
	var typed *amount.Error
	switch {
	case errors.As(err, &input):
		err = &medium.InputError{Field: s.fieldName(input.Field), Value: input.Value, Want: input.Want}
	case errors.As(err, &typed):
		err = &amount.Error{What: s.fieldName(typed.What), Input: typed.Input, Want: typed.Want}
	}
	text := err.Error()
	if len(text) > 1 && text[1] >= 'a' && text[1] <= 'z' { // not pH
		text = strings.ToUpper(text[:1]) + text[1:]
	}
	return text
}

type failPage struct {
	frame
	Status int
	Text   string
}

// fail answers a request that can't be done.
func (s *Station) fail(w http.ResponseWriter, r *http.Request, who session, status int, err error) {
	text := s.said(r, status, err)
	if status == http.StatusServiceUnavailable {
		w.Header().Set("Retry-After", "2")
	}
	if wantsJSON(r) {
		writeJSON(w, status, map[string]any{"error": text, "status": status, "final": final(err)})
		return
	}
	page := failPage{frame: s.frame(who, medium.Farm{}, "", s.t.get("fail.title")), Status: status, Text: text}
	s.show(w, status, "fail", page)
}

func (s *Station) failed(w http.ResponseWriter, r *http.Request, who session, err error) {
	s.fail(w, r, who, statusOf(err), err)
}

// cookieName is bound to this host and to https where there is TLS.
func (s *Station) cookieName() string {
	if s.tls {
		return "__Host-resow"
	}
	return "resow"
}

func (s *Station) who(r *http.Request) (session, bool) {
	c, err := r.Cookie(s.cookieName())
	if err != nil || len(c.Value) != 64 {
		return session{}, false
	}
	return s.people.find(c.Value)
}

// paired lets only paired devices through. There is no exception for this
// machine itself: any program on it could ask.
func (s *Station) paired(h func(http.ResponseWriter, *http.Request, session)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		who, ok := s.who(r)
		if ok {
			s.renewCookie(w, r, who)
			h(w, r, who)
			return
		}
		if wantsJSON(r) || r.URL.Path == "/events" {
			writeJSON(w, http.StatusUnauthorized, map[string]any{"error": s.t.get("guard.unpaired"), "status": http.StatusUnauthorized})
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			s.fail(w, r, session{}, http.StatusUnauthorized, &RoleError{s.t.get("guard.unpaired")})
			return
		}
		to := "/pair"
		if strings.HasPrefix(r.URL.Path, "/m/") {
			to += "?next=" + url.QueryEscape(r.URL.Path)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
	}
}

// renewCookie gives a device that is in use its cookie for a month more. An open
// page that nobody looks at asks for its live stream only, and a picture may be
// kept by the browser: neither renews it.
func (s *Station) renewCookie(w http.ResponseWriter, r *http.Request, who session) {
	if r.URL.Path == "/events" || strings.HasPrefix(r.URL.Path, "/pictures/") {
		return
	}
	if c, err := r.Cookie(s.cookieName()); err == nil && s.people.renew(who.Hash) {
		s.setCookie(w, c.Value, sessionFor)
	}
}

func (s *Station) supervisor(h func(http.ResponseWriter, *http.Request, session)) func(http.ResponseWriter, *http.Request, session) {
	return func(w http.ResponseWriter, r *http.Request, who session) {
		if who.Role != Supervisor {
			s.fail(w, r, who, http.StatusForbidden, &RoleError{s.t.get("guard.boss")})
			return
		}
		h(w, r, who)
	}
}

const script = "text/javascript; charset=utf-8"

func (s *Station) asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	kind, ok := map[string]string{"app.js": script, "kept.js": script, "live.js": script, "style.css": "text/css; charset=utf-8", "icon.svg": "image/svg+xml"}[name]
	if !ok {
		s.plain(w, http.StatusNotFound, s.t.get("guard.nopage"))
		return
	}
	s.serveAsset(w, name, kind)
}

// worker gives the service worker, at the root so that it may answer for the due
// list.
func (s *Station) worker(w http.ResponseWriter, _ *http.Request) {
	s.serveAsset(w, "sw.js", script)
}

func (s *Station) serveAsset(w http.ResponseWriter, name, kind string) {
	data, err := assetFiles.ReadFile("assets/" + name)
	if err != nil {
		s.plain(w, http.StatusNotFound, s.t.get("guard.nopage"))
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "no-cache")
	_, _ = w.Write(data)
}

func (s *Station) favicon(w http.ResponseWriter, r *http.Request) {
	http.Redirect(w, r, "/assets/icon.svg", http.StatusMovedPermanently)
}

// stamp writes a time as people at the farm read it.
func stamp(t time.Time, loc *time.Location) string { return t.In(loc).Format(stampForm) }

const stampForm = "2 Jan 15:04"

// overdue says how late something is in the unit that reads best.
func (s *Station) overdue(h float64) string {
	switch {
	case h < 0 && h > -48:
		return s.t.get("due.in_hours", fmt.Sprintf("%.0f", -h))
	case h < 0:
		return s.t.get("due.in_days", fmt.Sprintf("%.0f", -h/24))
	case h < 48:
		return s.t.get("due.hours", fmt.Sprintf("%.0f", h))
	}
	return s.t.get("due.days", fmt.Sprintf("%.0f", h/24))
}

// stageText says a stage in a sentence: "to wash" alone would be an order.
func (s *Station) stageText(stage medium.Stage) string {
	return s.t.get("stage." + string(stage))
}
