package station

import (
	"cmp"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// A phone keeps a step that it could not send, and sends it when it can: after a
// night, under another shift, after it was paired anew. What it keeps says who was
// at work (kept_by), with a pass that the station gave to the page at that time.

const (
	answerKept   = 90 * 24 * time.Hour // an answer is kept, and that a device was revoked
	maxWaiting   = 500
	waitingOfOne = 100      // of one device
	waitingBytes = 32 << 10 // of one form
	maxAsked     = 2000
)

// WaitingError says that a step waits for a supervisor.
type WaitingError struct{ Why string }

func (e *WaitingError) Error() string { return e.Why }

// turnedDownError says that a supervisor refused a step, why, and who that was.
type turnedDownError struct{ why string }

func (e *turnedDownError) Error() string { return "a supervisor refused this step: " + e.why }

// maker is who did a step, and who sent it where that is somebody else.
type maker struct{ by, sentBy string }

// makerOf says who did what a form tells, and whether that is beyond doubt: it is the
// one who sends it, or somebody who was on shift on the device at that time. What a
// device kept that was revoked since is in doubt, whoever sends it. A report of
// danger does not wait for that: it counts at once as of the one whom it names, and
// says who sent it, or from which device it came.
func (s *Station) makerOf(who session, o order) (m maker, proven bool, err error) {
	now := s.c.Now()
	by := strings.TrimSpace(o.form.Get("kept_by"))
	sender, noShift := s.sender(who)
	ago, _, err := o.age(now)
	if err != nil {
		return m, false, err
	}
	device, proven, revoked := s.people.onPass(o.form.Get("kept_pass"), by, now.Add(-ago))
	sent := sender != "" || proven && device == who.id()
	switch {
	case sender != "" && !revoked && (by == "" || strings.EqualFold(by, sender)):
		return maker{by: sender}, true, nil
	case o.danger() && !(sent && proven):
		from := cmp.Or(sender, who.initialsOfDevice())
		if _, named := medium.Initials(by); !named {
			by = from
		}
		return maker{by: by, sentBy: from}, true, nil
	case !sent:
		return m, false, noShift
	}
	return maker{by: by, sentBy: sender}, proven, nil
}

// sender gives the initials of who is at work on a device now.
func (s *Station) sender(who session) (string, error) {
	if !who.onShift(s.c.Now()) {
		return "", &RoleError{s.t.get("guard.shift")}
	}
	return who.Initials, nil
}

// initialsOfDevice names a device where a record has room for initials.
func (s session) initialsOfDevice() string {
	for i := len(s.Device); i > 0; i-- {
		if name, ok := medium.Initials(s.Device[:i]); ok {
			return name
		}
	}
	return "device"
}

// pass lets a page prove later that these initials were on shift on this device.
func (p *people) pass(s session) string {
	if s.Hash == "" || s.Initials == "" {
		return ""
	}
	return p.sign(s.id(), strconv.FormatInt(s.Shift.Unix(), 10), s.Initials)
}

func (p *people) sign(id, shift, initials string) string {
	mac := hmac.New(sha256.New, p.PassKey)
	fmt.Fprintf(mac, "%s.%s.%s", id, shift, initials)
	return id + "." + shift + "." + hex.EncodeToString(mac.Sum(nil)[:16])
}

// onPass gives the device of a pass, whether it proves that by was on shift there at
// a time, and whether the device was revoked.
func (p *people) onPass(pass, by string, at time.Time) (device string, proven, revoked bool) {
	parts := strings.Split(pass, ".")
	if len(parts) != 3 || by == "" || !hmac.Equal([]byte(pass), []byte(p.sign(parts[0], parts[1], by))) {
		return "", false, false
	}
	began, err := strconv.ParseInt(parts[1], 10, 64)
	shift := time.Unix(began, 0)
	during := err == nil && !at.Before(shift.Add(-agoSlack)) && !at.After(shift.Add(shiftFor+agoSlack))
	p.mu.Lock()
	defer p.mu.Unlock()
	revoked = !p.Revoked[parts[0]].IsZero()
	return parts[0], during && !revoked, revoked
}

// waitingStep is a step that waits for a supervisor, or was refused by one.
type waitingStep struct {
	Token   string      `json:"token"`
	Kind    medium.Kind `json:"kind"`
	Mats    []string    `json:"mats"`
	Form    url.Values  `json:"form"`
	Photo   []string    `json:"pictures,omitempty"`
	By      string      `json:"by"`
	SentBy  string      `json:"sent_by"`
	Device  string      `json:"device"`
	From    string      `json:"sha256_of_cookie"`
	Entered time.Time   `json:"entered_at"`
	Arrived time.Time   `json:"arrived_at"`
	Refused string      `json:"refused,omitempty"` // why, by whom
}

// order is the step as it is recorded when a supervisor accepts it.
func (h waitingStep) order() order {
	return order{token: h.Token, kind: h.Kind, mats: h.Mats, form: h.Form, photo: h.Photo, entered: h.Entered}
}

// same says that a step is the one that waits already, sent again.
func (h waitingStep) same(other waitingStep) bool {
	return h.Kind == other.Kind && h.By == other.By && slices.Equal(h.Mats, other.Mats) &&
		maps.EqualFunc(h.Form, other.Form, slices.Equal)
}

// waitingList is what waits for a supervisor, kept beside the ledger.
type waitingList struct {
	path     string
	deciding sync.Mutex // one at a time, from the look at a step to what becomes of it
	mu       sync.Mutex
	list     []waitingStep
}

func loadWaiting(path string) (*waitingList, error) {
	h := &waitingList{path: path}
	if err := readJSONFile(path, &h.list); err != nil {
		return nil, &ConfigError{fmt.Sprintf(
			"%s can't be read (%v); it holds steps that wait for a supervisor. Move it away; phones send them again", path, err)}
	}
	return h, nil
}

// add puts a step on the list; it comes back when that is on the disk. One that is
// there already stays as it came, and makes no room for another under its token.
func (h *waitingList) add(one waitingStep) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if i := h.index(one.Token); i >= 0 {
		if !h.list[i].same(one) {
			return &store.TokenError{Token: one.Token}
		}
		return nil
	}
	next := slices.DeleteFunc(slices.Clone(h.list), func(old waitingStep) bool {
		return old.Refused != "" && one.Arrived.Sub(old.Arrived) > answerKept
	})
	open, ofOne := 0, 0
	for _, old := range next {
		if old.Refused == "" {
			open++
			if old.From == one.From {
				ofOne++
			}
		}
	}
	if open >= maxWaiting || ofOne >= waitingOfOne {
		return &BusyError{Waiting: open}
	}
	return h.save(append(next, one))
}

// refuse notes why a step was refused, for the phone that asks; its pictures go.
func (h *waitingList) refuse(token, why string, at time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	next, i := slices.Clone(h.list), h.index(token)
	next[i].Refused, next[i].Arrived, next[i].Photo = why, at, nil
	return h.save(next)
}

func (h *waitingList) drop(token string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.save(slices.DeleteFunc(slices.Clone(h.list), func(one waitingStep) bool { return one.Token == token }))
}

func (h *waitingList) save(list []waitingStep) error {
	if err := writeJSONFile(h.path, list); err != nil {
		return err
	}
	h.list = list
	return nil
}

// index is where a step is on the list, -1 where it is not. The caller holds the lock.
func (h *waitingList) index(token string) int {
	return slices.IndexFunc(h.list, func(one waitingStep) bool { return one.Token == token })
}

func (h *waitingList) get(token string) (waitingStep, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	i := h.index(token)
	if i < 0 {
		return waitingStep{}, false
	}
	return h.list[i], true
}

// shows says whether a step that waits has a picture.
func (h *waitingList) shows(picture string) bool {
	return slices.ContainsFunc(h.open(), func(one waitingStep) bool { return slices.Contains(one.Photo, picture) })
}

// open gives what waits, in the order in which it was done.
func (h *waitingList) open() (list []waitingStep) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, one := range h.list {
		if one.Refused == "" {
			list = append(list, one)
		}
	}
	slices.SortStableFunc(list, func(a, b waitingStep) int { return a.Entered.Compare(b.Entered) })
	return list
}

// putOnList puts a step whose maker nobody vouches for on the list of the supervisors.
// It may have been recorded before the device was revoked: then it is answered. One
// that nobody could ever accept is refused, so that its maker mends it at once.
func (s *Station) putOnList(who session, m maker, o *order) ([]medium.Step, error) {
	var done []medium.Step
	err := s.door.read(func(v *farm.Farm) (err error) {
		if done, err = v.Recorded(o.token); err == nil && len(done) == 0 {
			err = s.possible(v, m, o)
		}
		return err
	})
	switch {
	case err != nil:
		return nil, err
	case len(done) > 0 && done[0].Kind != o.kind:
		return nil, &store.TokenError{Token: o.token}
	case len(done) > 0:
		return done, nil
	}
	if len(o.form.Encode()) > waitingBytes {
		return nil, &http.MaxBytesError{Limit: waitingBytes}
	}
	now := s.c.Now()
	ago, _, err := o.age(now)
	if err != nil {
		return nil, err
	}
	form := url.Values{}
	for name, v := range o.form {
		if !slices.Contains([]string{"token", "mat", "codes", "kept_by", "kept_pass", "ago_ms"}, name) {
			form[name] = v
		}
	}
	err = s.waiting.add(waitingStep{Token: o.token, Kind: o.kind, Mats: o.mats, Form: form, Photo: o.photo, By: m.by,
		SentBy: m.sentBy, Device: who.Device, From: who.Hash, Entered: now.Add(-ago), Arrived: now})
	if err != nil {
		return nil, err
	}
	return nil, &WaitingError{s.t.get("kept.held")}
}

// possible says what is wrong with a step in whatever stage its mats are. What only
// does not follow from their stage now may follow when others that wait are accepted.
func (s *Station) possible(v *farm.Farm, m maker, o *order) error {
	steps, err := s.stepsOf(v, m, o)
	for i := 0; i < len(steps) && err == nil; i++ {
		var c medium.Condition
		if steps[i].Mat != medium.FarmThread {
			c, err = v.Condition(steps[i].Mat)
		}
		if err == nil {
			_, err = medium.Admit(c, v.Farm, steps[i], v.Now())
		}
		if statusOf(err) == http.StatusConflict {
			err = nil
		}
	}
	return err
}

// fates answers a phone what became of its steps, by their tokens. One that is not in
// the answer is neither on record nor on the list.
func (v *visit) fates() error {
	form, err := readForm(v.r, "token*")
	if err != nil {
		return err
	}
	tokens := form["token"]
	type fate struct {
		State string `json:"state"`
		Why   string `json:"why,omitempty"`
	}
	fates := map[string]fate{}
	err = v.door.read(func(f *farm.Farm) error {
		for _, token := range tokens[:min(len(tokens), maxAsked)] {
			done, err := f.Recorded(token)
			if err != nil {
				return err
			}
			one, waits := v.waiting.get(token)
			switch {
			case len(done) > 0:
				fates[token] = fate{State: "sent"}
			case waits && one.Refused != "":
				fates[token] = fate{"refused", one.Refused}
			case waits:
				fates[token] = fate{State: "held"}
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	writeJSON(v.w, http.StatusOK, map[string]any{"steps": fates, "ledger": v.door.standing.Load()})
	return nil
}

var waitingForm = page{"kept", "", (*visit).keptPage, fields("token", "do", "reason"), (*visit).sendHeld}

type waitingLine struct {
	waitingStep
	What, Done, Came string
	Named            string // the first of its mats
	Fields           []keptField
}

type keptField struct{ Label, Value string }

type keptPage struct {
	frame
	Held []waitingLine
}

// keptPage draws the page of what this phone keeps, which its script fills, and for
// supervisors of what waits for them.
func (v *visit) keptPage(f *farm.Farm) (filling, error) {
	page := &keptPage{}
	if v.who.Role == Supervisor {
		for _, one := range v.waiting.open() {
			page.Held = append(page.Held, v.waitingLine(one, f))
		}
	}
	return page, nil
}

func (s *Station) waitingLine(one waitingStep, f *farm.Farm) waitingLine {
	const shown = 5
	line := waitingLine{waitingStep: one, What: s.t.get("kind." + string(one.Kind)),
		Done: f.Stamp(one.Entered), Came: f.Stamp(one.Arrived)}
	var names []string
	for _, text := range one.Mats[:min(len(one.Mats), shown)] {
		names = append(names, medium.Code(text).String())
	}
	line.Named = strings.Join(names, ", ")
	if more := len(one.Mats) - shown; more > 0 {
		line.Named += fmt.Sprintf(" +%d", more)
	}
	row, _ := medium.KindNamed(one.Kind)
	for name, values := range one.Form {
		text := strings.TrimSpace(strings.Join(values, ", "))
		if field, ok := row.Field(name); ok { // the unit stood beside it
			text = amount.Beside(text, farm.Unit(field, f.Settings.Units == medium.US))
		}
		if text != "" {
			line.Fields = append(line.Fields, keptField{s.fieldName(one.Kind, name), text})
		}
	}
	slices.SortFunc(line.Fields, func(a, b keptField) int { return strings.Compare(a.Label, b.Label) })
	return line
}

// fieldName is what the form of a kind calls a field: one name can mean two things.
func (s *Station) fieldName(k medium.Kind, name string) string {
	return cmp.Or(s.t["field."+string(k)+"."+name], s.t["field."+name], name)
}

// sendHeld accepts or refuses a step that waits. An accepted one is recorded as the
// maker's, sent by the supervisor who stands for it.
func (v *visit) sendHeld() (string, error) {
	v.waiting.deciding.Lock()
	defer v.waiting.deciding.Unlock()
	one, ok := v.waiting.get(v.form.Get("token"))
	if !ok || one.Refused != "" { // another supervisor was faster
		return "/kept", nil
	}
	sender, err := v.sender(v.who)
	if err != nil {
		return "", err
	}
	if v.form.Get("do") == "accept" {
		o := one.order()
		if _, err := v.recordOrder(maker{by: one.By, sentBy: sender}, &o); err != nil {
			return "", err
		}
		return "/kept", v.waiting.drop(one.Token)
	}
	reason := strings.TrimSpace(v.form.Get("reason"))
	if reason == "" || len(reason) > 300 {
		return "", &medium.InputError{Field: "reason", Value: reason,
			Want: "why it is refused, in one line for whoever did it"}
	}
	if err := v.waiting.refuse(one.Token, fmt.Sprintf("%s (%s)", reason, sender), v.c.Now()); err != nil {
		return "", err
	}
	v.dropPictures(one.Photo)
	return "/kept", nil
}
