package station

import (
	"net"
	"net/http"
	"regexp"
	"strings"
	"sync"

	"resow/medium"
)

type pairPage struct {
	frame
	Next     string
	Device   string
	Insecure bool
}

// nextPage is where a device may be sent after pairing: a mat's page here.
var nextPage = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^/m/[A-Za-z0-9-]{8,12}$`) })

func safeNext(next string) string {
	if nextPage().MatchString(next) {
		return next
	}
	return ""
}

func (s *Station) pairPage(w http.ResponseWriter, r *http.Request) {
	s.drawPair(w, http.StatusOK, safeNext(r.URL.Query().Get("next")), "", "")
}

func (s *Station) drawPair(w http.ResponseWriter, status int, next, device, problem string) {
	page := pairPage{frame: s.frame(session{}, medium.Farm{}, "", s.t.get("pair.title")), Next: next, Device: device, Insecure: !s.tls && s.c.LAN}
	page.Problem = problem
	s.show(w, status, "pair", page)
}

func (s *Station) pair(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		s.failed(w, r, session{}, badForm(err))
		return
	}
	next, device := safeNext(r.PostForm.Get("next")), r.PostForm.Get("device")
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	cookie, role, err := s.people.pair(r.PostForm.Get("code"), device, host)
	if err != nil {
		s.counts.unpaired.Add(1)
		s.drawPair(w, statusOf(err), next, device, s.said(r, statusOf(err), err))
		return
	}
	s.log.Printf("paired a device as %s", role)
	http.SetCookie(w, &http.Cookie{Name: s.cookieName(), Value: cookie, Path: "/", MaxAge: int(sessionFor.Seconds()),
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: s.tls})
	to := "/shift"
	if next != "" {
		to += "?next=" + next // only plain characters: see nextPage
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

type shiftPage struct {
	frame
	Known []string
	Next  string
}

func (s *Station) shiftPage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawShift(w, r, who, http.StatusOK, safeNext(r.URL.Query().Get("next")), "")
}

func (s *Station) drawShift(w http.ResponseWriter, r *http.Request, who session, status int, next, problem string) {
	page := shiftPage{Known: s.people.initials(), Next: next}
	err := s.door.read(func(v *view) error {
		page.frame = s.frame(who, v.Farm, "shift", s.t.get("shift.title"))
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Problem = problem
	s.show(w, status, "shift", page)
}

func (s *Station) postShift(w http.ResponseWriter, r *http.Request, who session) {
	if err := r.ParseForm(); err != nil {
		s.failed(w, r, who, badForm(err))
		return
	}
	next := safeNext(r.PostForm.Get("next"))
	initials := r.PostForm.Get("pick")
	if strings.TrimSpace(r.PostForm.Get("initials")) != "" {
		initials = r.PostForm.Get("initials")
	}
	if err := s.people.beginShift(who.Hash, initials); err != nil {
		s.drawShift(w, r, who, statusOf(err), next, s.said(r, statusOf(err), err))
		return
	}
	if next == "" {
		next = "/"
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
}

type deviceLine struct {
	ID, Device, Initials, Made, Seen string
	Role                             Role
	Self                             bool
}

type peoplePage struct {
	frame
	Devices []deviceLine
	Code    string // freshly made, shown this once
	Role    Role
	Address string
}

func (s *Station) peoplePage(w http.ResponseWriter, r *http.Request, who session) {
	s.drawPeople(w, r, who, "", "")
}

func (s *Station) drawPeople(w http.ResponseWriter, r *http.Request, who session, code string, role Role) {
	page := peoplePage{Code: code, Role: role, Address: s.address}
	err := s.door.read(func(v *view) error {
		page.frame = s.frame(who, v.Farm, "people", s.t.get("people.title"))
		for _, one := range s.people.list() {
			page.Devices = append(page.Devices, deviceLine{ID: one.id(), Device: one.Device, Initials: one.Initials, Role: one.Role,
				Made: stamp(one.Made, v.Location()), Seen: stamp(one.Seen, v.Location()), Self: one.Hash == who.Hash})
		}
		return nil
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.show(w, http.StatusOK, "people", page)
}

// postCode makes a pairing code and shows it in the answer itself: a code must
// never stand in an address.
func (s *Station) postCode(w http.ResponseWriter, r *http.Request, who session) {
	if err := r.ParseForm(); err != nil {
		s.failed(w, r, who, badForm(err))
		return
	}
	role := Role(r.PostForm.Get("role"))
	if role != Operator && role != Supervisor {
		s.failed(w, r, who, &medium.InputError{Field: "role", Value: string(role), Want: "operator or supervisor"})
		return
	}
	code, err := s.people.newCode(role)
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.drawPeople(w, r, who, code, role)
}

func (s *Station) postRevoke(w http.ResponseWriter, r *http.Request, who session) {
	if err := r.ParseForm(); err != nil {
		s.failed(w, r, who, badForm(err))
		return
	}
	if err := s.people.revoke(r.PostForm.Get("id")); err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.changes.tell() // its live stream ends
	http.Redirect(w, r, "/people", http.StatusSeeOther)
}
