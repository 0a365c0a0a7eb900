package station

import (
	"net/http"
	"net/netip"
	"regexp"
	"strings"
	"sync"
	"time"

	"resow/cmd/resow/farm"
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
	form, err := readForm(r, "code", "device", "next")
	if err != nil {
		s.failed(w, r, session{}, err)
		return
	}
	next, device := safeNext(form.Get("next")), form.Get("device")
	before, _ := r.Cookie(s.cookieName())
	if before == nil {
		before = &http.Cookie{}
	}
	cookie, role, err := s.people.pair(form.Get("code"), device, hostOf(r.RemoteAddr), before.Value)
	if err != nil {
		s.counts.unpaired.Add(1)
		s.drawPair(w, statusOf(err), next, device, s.said(r, statusOf(err), err))
		return
	}
	s.log.Printf("paired a device as %s", role)
	s.setCookie(w, cookie, sessionFor)
	s.changes.tell() // a live stream of the session before ends
	to := "/shift"
	if next != "" {
		to += "?next=" + next // only plain characters: see nextPage
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// hostOf gives the address whose tries count together: of IPv6 a whole /64, since
// one device has as many of those as it likes (RFC 4291, section 2.5.4).
func hostOf(remote string) string {
	at, err := netip.ParseAddrPort(remote)
	if err != nil {
		return remote
	}
	ip := at.Addr().Unmap().WithZone("")
	if ip.Is6() {
		net, _ := ip.Prefix(64) // 64 is a length that IPv6 has
		return net.String()
	}
	return ip.String()
}

// setCookie gives the device its cookie for a time, 0 or less takes it away.
func (s *Station) setCookie(w http.ResponseWriter, value string, last time.Duration) {
	age := int(last.Seconds())
	if age <= 0 {
		value, age = "", -1
	}
	http.SetCookie(w, &http.Cookie{Name: s.cookieName(), Value: value, Path: "/", MaxAge: age,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: s.tls})
}

// postLeave ends the session on the device itself. Steps that wait there stay
// there, and go when it is paired again. It leads to the first page, so that a
// copy of that one is dropped too (see sw.js).
func (s *Station) postLeave(w http.ResponseWriter, r *http.Request, who session) {
	if err := s.people.leave(who.Hash); err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.changes.tell()
	s.setCookie(w, "", 0)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

func (s *Station) postEndShift(w http.ResponseWriter, r *http.Request, who session) {
	if err := s.people.endShift(who.Hash); err != nil {
		s.failed(w, r, who, err)
		return
	}
	http.Redirect(w, r, "/shift", http.StatusSeeOther)
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
	page := shiftPage{Known: s.people.initials(who), Next: next}
	err := s.door.read(func(v *farm.Farm) error {
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
	form, err := readForm(r, "pick", "initials", "next")
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	next := safeNext(form.Get("next"))
	initials := form.Get("pick")
	if strings.TrimSpace(form.Get("initials")) != "" {
		initials = form.Get("initials")
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
	err := s.door.read(func(v *farm.Farm) error {
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
	form, err := readForm(r, "role")
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	role := Role(form.Get("role"))
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
	form, err := readForm(r, "id")
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	if err := s.people.revoke(form.Get("id")); err != nil {
		s.failed(w, r, who, err)
		return
	}
	s.changes.tell() // its live stream ends
	http.Redirect(w, r, "/people", http.StatusSeeOther)
}
