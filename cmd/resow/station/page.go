package station

import (
	"bytes"
	"cmp"
	"embed"
	"errors"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"

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
		page, err := frame.Clone()
		if err != nil {
			return nil, err
		}
		name := strings.TrimSuffix(path.Base(f), ".html")
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

func (f *frame) around() *frame { return f }

// put draws the frame of a page around what fills it.
func (v *visit) put(p page, in *frame, f medium.Farm) {
	if in.Title == "" {
		in.Title = v.t.get(p.name + ".title")
	}
	in.Farm, in.Here, in.Language, in.Problem = f.Settings.Name, cmp.Or(in.Here, p.here, p.name), "en", v.problem
	in.Who, in.Paired, in.Boss, in.OnShift = v.who, v.who.Hash != "", v.who.Role == Supervisor, v.who.onShift(v.c.Now())
	in.Ledger = *v.door.standing.Load()
	if in.OnShift {
		in.Pass = v.people.pass(v.who)
	}
	if in.Boss {
		in.Waiting = len(v.waiting.open())
		in.Unsaved = in.Here != "status" && v.backups.get().Failed != ""
	}
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

// message gives the text that a person reads of an error. What went wrong inside
// the station goes to its terminal: it has paths and names of code.
func (s *Station) message(r *http.Request, status int, err error) string {
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
		err = &medium.InputError{Field: s.fieldName("", input.Field), Value: input.Value, Want: input.Want}
	case errors.As(err, &typed):
		err = &amount.Error{What: s.fieldName("", typed.What), Input: typed.Input, Want: typed.Want}
	}
	text := err.Error()
	if len(text) > 1 && text[1] >= 'a' && text[1] <= 'z' { // not pH
		text = strings.ToUpper(text[:1]) + text[1:]
	}
	return text
}

// cookieName is bound to this host and to https where there is TLS.
func (s *Station) cookieName() string {
	if s.tls {
		return "__Host-resow"
	}
	return "resow"
}

// session gives that of the device that asks.
func (s *Station) session(r *http.Request) (session, bool) {
	c, err := r.Cookie(s.cookieName())
	if err != nil || len(c.Value) != 64 {
		return session{}, false
	}
	return s.people.find(c.Value)
}

var assetKinds = map[string]string{
	".js":  "text/javascript; charset=utf-8",
	".css": "text/css; charset=utf-8",
	".svg": "image/svg+xml",
}

// asset gives a file that pages ask for. The service worker lies at the root, so that
// it may answer for the due list.
func (v *visit) asset() error {
	name := path.Base(v.r.URL.Path)
	data, err := assetFiles.ReadFile("assets/" + name)
	if err != nil {
		v.plain(v.w, http.StatusNotFound, v.t.get("guard.nopage"))
		return nil
	}
	v.w.Header().Set("Cache-Control", "no-cache")
	return v.file(assetKinds[path.Ext(name)], data)
}

// stageText says a stage in a sentence: "to wash" alone would be an order.
func (s *Station) stageText(stage medium.Stage) string {
	return s.t.get("stage." + string(stage))
}
