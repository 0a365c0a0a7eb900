package station

import (
	"cmp"
	"encoding/hex"
	"fmt"
	"io"
	"mime/multipart"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
)

const (
	maxMats = 2000
	// maxResults is how many orders the page that is shown after one knows.
	maxResults = 500
	// maxAgo is how old a step may be that a phone kept.
	maxAgo = 60 * 24 * time.Hour
	// agoSlack is how far two steps that a phone kept may seem to cross, since
	// each is dated by its age when it arrives.
	agoSlack = 2 * time.Minute
)

// order is one request to record a step for one or many mats, from a form, the
// script or the JSON interface.
type order struct {
	token string
	kind  medium.Kind
	mats  []string // as scanned or typed
	form  url.Values
	files []*multipart.FileHeader // pictures as they came
	photo []string                // those that are kept, by their names
	blind []string                // why others are not

	entered time.Time // of one that waited for a supervisor
	lost    []string  // why mats that a report of danger names were left out
}

// result is what became of an order.
type result struct {
	Steps     []medium.Result `json:"steps"`
	NoPicture []string        `json:"no_picture,omitempty"` // why pictures that came with it are missing
	Lost      []string        `json:"lost,omitempty"`       // codes of a report of danger that name no mat
	Next      string          `json:"next,omitempty"`       // the page that says so
}

func resultOf(steps ...medium.Step) (r result) {
	for _, s := range steps {
		r.Steps = append(r.Steps, s.Result())
	}
	return r
}

// answered is what a phone keeps of a step that was answered.
type answered struct {
	result
	Ledger standing `json:"ledger"`
}

// Missed counts the steps that were not accepted.
func (r result) Missed() int {
	n := 0
	for _, s := range r.Steps {
		if !s.Accepted {
			n++
		}
	}
	return n
}

// recordSteps puts an order into the ledger, all or nothing: the one way for every
// page. A picture never keeps a step from being recorded; the answer says where
// one is missing.
func (s *Station) recordSteps(who session, o order) (result, error) {
	if len(o.mats) == 0 || len(o.mats) > maxMats {
		return result{}, &medium.InputError{Field: "number of mats", Value: fmt.Sprint(len(o.mats)),
			Want: fmt.Sprintf("between 1 and %d", maxMats)}
	}
	done, err := s.take(who, &o)
	if err != nil {
		return result{}, err
	}
	r := resultOf(done...)
	r.NoPicture, r.Lost = o.blind, o.lost
	return r, nil
}

// take records an order as its maker's, or puts it on the supervisors' list. What a
// supervisor refused stays refused, however often a phone sends it.
func (s *Station) take(who session, o *order) ([]medium.Step, error) {
	if err := s.checkToken(o.token); err != nil {
		return nil, err
	}
	one, waits := s.waiting.get(o.token)
	if waits { // not while a supervisor decides on it
		s.waiting.deciding.Lock()
		defer s.waiting.deciding.Unlock()
		one, waits = s.waiting.get(o.token)
	}
	if one.Refused != "" {
		return nil, &turnedDownError{one.Refused}
	}
	m, proven, err := s.makerOf(who, *o)
	if err != nil {
		return nil, err
	}
	s.keepPictures(who, o) // not before: a step that is sent again and again must not be decoded each time
	var done []medium.Step
	if proven {
		done, err = s.recordOrder(m, o)
	} else {
		done, err = s.putOnList(who, m, o)
	}
	s.settlePictures(who, o, done, err)
	if err == nil && waits {
		err = s.waiting.drop(o.token)
	}
	return done, err
}

// recordOrder records an order as somebody's.
func (s *Station) recordOrder(m maker, o *order) ([]medium.Step, error) {
	done, err := s.commit(o.token, func(f *farm.Farm) ([]medium.Step, error) { return s.stepsOf(f, m, o) })
	if err == nil {
		s.keepValues(*o)
	}
	return done, err
}

// commit has steps made, puts them into the ledger, and counts them.
func (s *Station) commit(token string, build func(*farm.Farm) ([]medium.Step, error)) ([]medium.Step, error) {
	done, err := s.door.record(token, build)
	if err != nil {
		s.counts.refused.Add(1)
		return nil, err
	}
	s.counts.steps.Add(int64(len(done)))
	return done, nil
}

// stepsOf makes the steps of an order. A report of danger stops the mats that it can
// name: one code that can't be read must not let the others go on.
func (s *Station) stepsOf(f *farm.Farm, m maker, o *order) ([]medium.Step, error) {
	if slices.Contains(medium.FarmKinds(), o.kind) {
		step, err := bottleStep(f, *o)
		step.By, step.SentBy = m.by, m.sentBy
		return []medium.Step{step}, err
	}
	at, day, aged, unread := o.happened(f.Now()) // what can't be read is Admit's to refuse
	var steps []medium.Step
	var unknown error
	seen := map[medium.Code]bool{}
	o.lost = nil
	for _, text := range o.mats {
		code, err := f.Find(text)
		if err != nil && final(err) && o.danger() {
			o.lost, unknown = append(o.lost, s.wayOut(err, s.labelled(err))), err
			continue
		}
		if err != nil {
			return nil, err
		}
		if seen[code] {
			continue
		}
		seen[code] = true
		b, err := body(*o, f.Farm, cmp.Or(at, f.Now()))
		if err != nil {
			return nil, err
		}
		step := medium.Step{Mat: code, By: m.by, SentBy: m.sentBy, At: at, Day: day, Unread: unread, Body: b}
		if aged {
			if step.At, err = uncrossed(f, code, at); err != nil {
				return nil, err
			}
		}
		steps = append(steps, step)
	}
	if len(steps) == 0 {
		return nil, unknown
	}
	return steps, nil
}

// uncrossed dates a step that a phone kept at the mat's last one, where the two only
// seem to cross.
func uncrossed(f *farm.Farm, mat medium.Code, at time.Time) (time.Time, error) {
	c, err := f.Condition(mat)
	if err != nil {
		return at, err
	}
	if gap := c.Last.Sub(at); gap > 0 && gap < agoSlack {
		return c.Last, nil
	}
	return at, nil
}

// danger says that an order reports danger: the stop begins when it arrives.
func (o order) danger() bool {
	b, err := body(o, medium.Farm{}, time.Time{})
	return err == nil && medium.ReportsDanger(b)
}

// happened says when a step was done: the field "at" as a person writes it, or
// else the age of a step that a phone kept. The zero time stands for now. What a
// person wrote yesterday (18:30) is read as of yesterday.
func (o order) happened(now time.Time) (at time.Time, day, aged bool, err error) {
	ago, aged, err := o.age(now)
	if err != nil {
		return time.Time{}, false, false, err
	}
	if text := strings.TrimSpace(o.form.Get("at")); text != "" {
		at, day, err = amount.AtDay(text, now.Add(-ago))
		return at, day, false, err
	}
	if !aged {
		return time.Time{}, false, false, nil
	}
	return now.Add(-ago), false, true, nil
}

// age is how long ago an order was entered, where it says so. The clock of a phone
// is no reason to refuse a report of danger: one of an impossible age counts from now.
func (o order) age(now time.Time) (ago time.Duration, aged bool, err error) {
	text := o.form.Get("ago_ms")
	if !o.entered.IsZero() {
		return max(0, now.Sub(o.entered)), true, nil
	}
	if text == "" {
		return 0, false, nil
	}
	ms, err := strconv.ParseInt(text, 10, 64)
	if err == nil && ms >= 0 && ms <= maxAgo.Milliseconds() {
		return time.Duration(ms) * time.Millisecond, true, nil
	}
	if o.danger() {
		return 0, false, nil
	}
	want := fmt.Sprintf("at most %.0f days in milliseconds; enter it by hand with its time", maxAgo.Hours()/24)
	return 0, false, &medium.InputError{Field: "age of the step", Value: text, Want: want}
}

// keepValues remembers materials and settings for the next form.
func (s *Station) keepValues(o order) {
	keep := url.Values{}
	row, _ := medium.KindNamed(o.kind)
	for _, f := range row.Fields {
		if v := o.form.Get(f.Name); f.Lasting && v != "" && len(v) < 200 {
			keep.Set(f.Name, v)
		}
	}
	if len(keep) > 0 {
		s.people.remember(o.kind, keep)
	}
}

// recordOne records a single step that is not one of the forms: a correction,
// or something about the farm.
func (v *visit) recordOne(build func(*farm.Farm) (medium.Step, error)) (medium.Step, error) {
	sender, err := v.sender(v.who)
	if err != nil {
		return medium.Step{}, err
	}
	token := v.form.Get("token")
	if err := v.checkToken(token); err != nil {
		return medium.Step{}, err
	}
	done, err := v.commit(token, func(f *farm.Farm) ([]medium.Step, error) {
		step, err := build(f)
		step.By = sender
		return []medium.Step{step}, err
	})
	if err != nil {
		return medium.Step{}, err
	}
	return done[0], nil
}

// farmStep is a step about the farm itself.
func farmStep(b medium.Body) medium.Step { return medium.Step{Mat: medium.FarmThread, Body: b} }

var tokenForm = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[A-Za-z0-9_-]{16,64}$`) })

func (s *Station) checkToken(token string) error {
	if !tokenForm().MatchString(token) {
		return &RequestError{s.t.get("guard.token")}
	}
	return nil
}

// newToken makes a request token: it lies in the form, and a form that is sent
// twice is recorded once.
func (s *Station) newToken() string {
	var b [16]byte
	if _, err := io.ReadFull(s.c.Random, b[:]); err != nil {
		panic("station: no random numbers: " + err.Error())
	}
	return hex.EncodeToString(b[:])
}

// orderNames are what the form of an order has beside its own fields.
var orderNames = []string{"token", "at", "ago_ms", "kept_by", "kept_pass"}

func orderFields(names ...string) func(*visit) ([]string, error) {
	return fields(append(names, orderNames...)...)
}
