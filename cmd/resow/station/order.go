package station

import (
	"cmp"
	"fmt"
	"mime/multipart"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
)

const (
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

// orderNames are what the form of an order has beside its own fields.
var orderNames = []string{"token", "at", "ago_ms", "kept_by", "kept_pass"}

func orderFields(names ...string) func(*visit) ([]string, error) {
	return fields(append(names, orderNames...)...)
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
		b, err := o.body(f.Farm, cmp.Or(at, f.Now()))
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

// body makes the typed body of a step from a form. The units of a bare number
// stand beside the fields.
func (o order) body(f medium.Farm, at time.Time) (medium.Body, error) {
	row, _ := medium.KindNamed(o.kind)
	said := map[string]string{}
	for _, field := range row.Asked() {
		said[field.Name] = o.form.Get(field.Name)
	}
	b, err := farm.Reader{Farm: f, Beside: true, At: at}.Body(o.kind, said)
	if pictures, ok := row.Field("pictures"); ok && err == nil && len(o.photo) > 0 {
		pictures.Set(b, o.photo)
	}
	return b, err
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
	b, err := o.body(medium.Farm{}, time.Time{})
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
