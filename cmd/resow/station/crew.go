package station

import (
	"cmp"
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

func safeNext(next string) string { return nextPage().FindString(next) }

func (v *visit) pairPage() error {
	return v.drawPair(v.r.URL.Query().Get("next"), "")
}

// drawPair shows nothing of the farm: it is open to all.
func (v *visit) drawPair(next, device string) error {
	return page{name: "pair"}.bare(v, &pairPage{Next: safeNext(next), Device: device, Insecure: !v.tls && v.c.LAN})
}

func (v *visit) postPair() error {
	form, err := readForm(v.r, "code", "device", "next")
	if err != nil {
		return err
	}
	before, _ := v.r.Cookie(v.cookieName())
	if before == nil {
		before = &http.Cookie{}
	}
	cookie, role, err := v.people.pair(form.Get("code"), form.Get("device"), hostOf(v.r.RemoteAddr), before.Value)
	if err != nil {
		v.counts.unpaired.Add(1)
		v.refused(err)
		return v.drawPair(form.Get("next"), form.Get("device"))
	}
	v.log.Printf("paired a device as %s", role)
	v.setCookie(cookie, sessionFor)
	v.changes.tell() // a live stream of the session before ends
	to := "/shift"
	if next := safeNext(form.Get("next")); next != "" {
		to += "?next=" + next // only plain characters: see nextPage
	}
	return moved(to, http.StatusSeeOther)(v)
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
func (v *visit) setCookie(value string, last time.Duration) {
	age := int(last.Seconds())
	if age <= 0 {
		value, age = "", -1
	}
	http.SetCookie(v.w, &http.Cookie{Name: v.cookieName(), Value: value, Path: "/", MaxAge: age,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: v.tls})
}

// leave ends the session on the device itself. Steps that wait there stay
// there, and go when it is paired again. It leads to the first page, so that a
// copy of that one is dropped too (see sw.js).
func (v *visit) leave() error {
	if err := v.people.leave(v.who.Hash); err != nil {
		return err
	}
	v.changes.tell()
	v.setCookie("", 0)
	return moved("/", http.StatusSeeOther)(v)
}

// endShift frees the initials of the device.
func (v *visit) endShift() error {
	err := v.people.change(v.who.Hash, func(one *session) error {
		one.Initials, one.Shift = "", time.Time{}
		return nil
	})
	if err != nil {
		return err
	}
	return moved("/shift", http.StatusSeeOther)(v)
}

var shiftForm = page{"shift", "", (*visit).shiftPage, fields("pick", "initials", "next"), (*visit).sendShift}

type shiftPage struct {
	frame
	Known []string
	Next  string
}

func (v *visit) shiftPage(*farm.Farm) (filling, error) {
	next := v.form.Get("next")
	if v.form == nil {
		next = v.r.URL.Query().Get("next")
	}
	return &shiftPage{Known: v.people.initials(v.who), Next: safeNext(next)}, nil
}

// sendShift begins a shift.
func (v *visit) sendShift() (string, error) {
	initials := v.form.Get("initials")
	if strings.TrimSpace(initials) == "" {
		initials = v.form.Get("pick")
	}
	return cmp.Or(safeNext(v.form.Get("next")), "/"), v.people.beginShift(v.who.Hash, initials)
}

type deviceLine struct {
	session
	ID, Made, Seen string
	Self           bool
}

type peoplePage struct {
	frame
	Devices []deviceLine
	Code    string // freshly made, shown this once
	Role    Role
	Address string
}

func (v *visit) peoplePage(f *farm.Farm) (filling, error) { return v.devices(f, "", ""), nil }

func (v *visit) devices(f *farm.Farm, code string, role Role) *peoplePage {
	page := &peoplePage{Code: code, Role: role, Address: v.address}
	for _, one := range v.people.list() {
		page.Devices = append(page.Devices, deviceLine{session: one, ID: one.id(),
			Made: f.Stamp(one.Made), Seen: f.Stamp(one.Seen), Self: one.Hash == v.who.Hash})
	}
	return page
}

// newCode makes a pairing code and shows it in the answer itself: a code must
// never stand in an address.
func (v *visit) newCode() error {
	form, err := readForm(v.r, "role")
	if err != nil {
		return err
	}
	role := Role(form.Get("role"))
	if role != Operator && role != Supervisor {
		return &medium.InputError{Field: "role", Value: string(role), Want: "operator or supervisor"}
	}
	code, err := v.people.newCode(role)
	if err != nil {
		return err
	}
	return page{name: "people", draw: func(v *visit, f *farm.Farm) (filling, error) {
		return v.devices(f, code, role), nil
	}}.look(v)
}

// sendRevoke ends the session of a device.
func (v *visit) sendRevoke() (string, error) {
	if err := v.people.revoke(v.form.Get("id")); err != nil {
		return "", err
	}
	v.changes.tell() // its live stream ends
	return "/people", nil
}
