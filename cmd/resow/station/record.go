package station

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"resow/cmd/resow/amount"
	"resow/medium"
)

const (
	maxMats = 2000
	// maxAgo is how old a step may be that a phone kept, or that waited for a
	// supervisor.
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
}

// result is what became of an order.
type result struct {
	Steps     []medium.Result `json:"steps"`
	NoPicture []string        `json:"no_picture,omitempty"` // why pictures that came with it are missing
	Next      string          `json:"next,omitempty"`       // the page that says so
}

func resultOf(steps []medium.Step) result {
	r := result{Steps: make([]medium.Result, len(steps))}
	for i, s := range steps {
		r.Steps[i] = s.Result()
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

// record puts an order into the ledger, all or nothing: the one way for every
// page. A picture never keeps a step from being recorded; the answer says where
// one is missing.
func (s *Station) record(who session, o order) (result, error) {
	if err := s.checkToken(o.token); err != nil {
		return result{}, err
	}
	if len(o.mats) == 0 || len(o.mats) > maxMats {
		return result{}, &medium.InputError{Field: "number of mats", Value: fmt.Sprint(len(o.mats)), Want: fmt.Sprintf("between 1 and %d", maxMats)}
	}
	m, proven, err := s.made(who, o.form)
	if err != nil {
		return result{}, err
	}
	s.keepPictures(who, &o) // not before: a step that is sent again and again must not be decoded each time
	var done []medium.Step
	if proven {
		done, err = s.recordOrder(m, o)
	} else {
		done, err = s.hold(who, m, o)
	}
	s.settlePictures(who, &o, done, err)
	if err != nil {
		return result{}, err
	}
	r := resultOf(done)
	r.NoPicture = o.blind
	return r, nil
}

// recordOrder records an order as somebody's.
func (s *Station) recordOrder(m maker, o order) ([]medium.Step, error) {
	done, err := s.door.record(o.token, func(v *view) ([]medium.Step, error) { return s.plan(v, m, o) })
	if err != nil {
		s.counts.refused.Add(1)
		return nil, err
	}
	s.counts.steps.Add(int64(len(done)))
	s.keepValues(o)
	return done, nil
}

// plan makes the steps of an order.
func (s *Station) plan(v *view, m maker, o order) ([]medium.Step, error) {
	at, day, aged, err := happened(o.form, v.now)
	if err != nil {
		return nil, err
	}
	var steps []medium.Step
	seen := map[medium.Code]bool{}
	for _, text := range o.mats {
		code, err := find(s.c, v, text)
		if err != nil {
			return nil, err
		}
		if seen[code] {
			continue
		}
		seen[code] = true
		b, err := body(o.kind, o.form, v.Farm, o.photo)
		if err != nil {
			return nil, err
		}
		step := medium.Step{Mat: code, By: m.by, SentBy: m.sentBy, At: at, Day: day, Body: b}
		if aged {
			c, err := v.Condition(code)
			if err != nil {
				return nil, err
			}
			if gap := c.Last.Sub(at); gap > 0 && gap < agoSlack {
				step.At = c.Last
			}
		}
		steps = append(steps, step)
	}
	return steps, nil
}

// happened reads when a step was done: the field "at" as a person writes it, or
// else the age of a step that a phone kept. The zero time stands for now. What a
// person wrote yesterday (18:30) is read as of yesterday.
func happened(form url.Values, now time.Time) (at time.Time, day, aged bool, err error) {
	ago, err := ageOf(form)
	if err != nil {
		return time.Time{}, false, false, err
	}
	if text := strings.TrimSpace(form.Get("at")); text != "" {
		at, day, err = amount.AtDay(text, now.Add(-ago))
		return at, day, false, err
	}
	if form.Get("ago_ms") == "" {
		return time.Time{}, false, false, nil
	}
	return now.Add(-ago), false, true, nil
}

// ageOf reads how long a phone has kept a step, 0 where it says nothing.
func ageOf(form url.Values) (time.Duration, error) {
	text := form.Get("ago_ms")
	if text == "" {
		return 0, nil
	}
	ms, err := strconv.ParseInt(text, 10, 64)
	if err != nil || ms < 0 || ms > maxAgo.Milliseconds() {
		want := fmt.Sprintf("at most %.0f days in milliseconds; enter it by hand with its time", maxAgo.Hours()/24)
		return 0, &medium.InputError{Field: "age of the step", Value: text, Want: want}
	}
	return time.Duration(ms) * time.Millisecond, nil
}

// keepValues remembers materials and settings for the next form.
func (s *Station) keepValues(o order) {
	names := remembered[o.kind]
	if len(names) == 0 {
		return
	}
	keep := url.Values{}
	for _, n := range names {
		if v := o.form.Get(n); v != "" && len(v) < 200 {
			keep.Set(n, v)
		}
	}
	s.people.remember(o.kind, keep)
}

// readOrder reads the form of a step, with its pictures.
func (s *Station) readOrder(r *http.Request, k medium.Kind) (order, error) {
	o := order{kind: k}
	multi := strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/form-data")
	if multi && !s.stepForm(k, medium.Farm{}, url.Values{}).Pictures {
		return o, &RequestError{s.t.get("guard.nopictures")}
	}
	if multi {
		if err := r.ParseMultipartForm(formParts); err != nil {
			return o, badForm(err)
		}
		o.files = r.MultipartForm.File["picture"] // the server removes them after the answer
	} else if err := r.ParseForm(); err != nil {
		return o, badForm(err)
	}
	o.form = r.PostForm
	for name, given := range o.form {
		if len(given) > 1 && name != "mat" {
			return o, &medium.InputError{Field: name, Value: strings.Join(given, ", "), Want: "one value, not several"}
		}
	}
	if _, err := ageOf(o.form); err != nil && medium.MayReportDanger(k) {
		o.form.Del("ago_ms") // the phone's clock is no reason to refuse it: it counts from now
	}
	o.token = o.form.Get("token")
	return o, nil
}

func badForm(err error) error {
	var too *http.MaxBytesError
	if errors.As(err, &too) {
		return err
	}
	return &RequestError{"the form did not arrive whole; send it again"}
}

// results keep what became of an order for the page that is shown after it.
type results struct {
	mu   sync.Mutex
	keep map[string]result
	last []string
}

const maxResults = 500

func (r *results) put(token string, one result) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, ok := r.keep[token]; !ok {
		r.last = append(r.last, token)
	}
	r.keep[token] = one
	if len(r.last) > maxResults {
		delete(r.keep, r.last[0])
		r.last = r.last[1:]
	}
}

func (r *results) get(token string) (result, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	one, ok := r.keep[token]
	return one, ok
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
