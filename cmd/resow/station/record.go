package station

import (
	"encoding/hex"
	"fmt"
	"io"
	"net/url"
	"regexp"
	"sync"

	"resow/cmd/resow/farm"
	"resow/medium"
)

const (
	maxMats = 2000
	// maxResults is how many orders the page that is shown after one knows.
	maxResults = 500
)

// result is what became of an order.
type result struct {
	Steps     []medium.Result `json:"steps"`
	NoPicture []string        `json:"no_picture,omitempty"` // why pictures that came with it are missing
	Lost      []string        `json:"lost,omitempty"`       // codes of a report of danger that name no mat
	Next      string          `json:"next,omitempty"`       // the page that says so
	Undone    bool            `json:"-"`                    // the steps take an act back
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
