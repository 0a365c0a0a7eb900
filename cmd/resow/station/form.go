package station

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/medium/sanitizer"
)

// field is one input of a step's form.
type field struct {
	Name     string
	Label    string
	Type     string // text, amount, choice, check, select, picture
	Unit     string // added to a bare number
	Hint     string
	Choices  []choice
	Value    string
	Required bool
}

type choice struct {
	Value, Label string
	Chosen       bool
}

// form is a step's form, ready to be drawn or filled in.
type form struct {
	Kind     medium.Kind
	Fields   []field
	Cautions []string
	Pictures bool
}

// recordable are the steps that have a form, in the order of a turn.
var recordable = func() (kinds []medium.Kind) {
	for _, row := range medium.StepKinds() {
		if len(row.Asked()) > 0 {
			kinds = append(kinds, row.Kind)
		}
	}
	return kinds
}()

func isRecordable(k medium.Kind) bool { return slices.Contains(recordable, k) }

// stepForm makes the form of a kind of step with the farm's last values.
func (s *Station) stepForm(k medium.Kind, f medium.Farm, values url.Values) form {
	b := formBuilder{t: s.t, v: values, f: form{Kind: k, Cautions: s.cautionsOf(k, f)}}
	row, _ := medium.KindNamed(k)
	for _, field := range row.Fields {
		b.f.Pictures = b.f.Pictures || field.Of == medium.OfPictures
	}
	for _, field := range row.Asked() {
		b.ask(field, f)
	}
	return b.f
}

func (s *Station) cautionsOf(k medium.Kind, f medium.Farm) (out []string) {
	if text, ok := s.t["caution."+string(k)]; ok {
		out = []string{text}
	}
	if k == medium.KindSanitize {
		for _, c := range s.cautions(f) {
			out = append(out, c.Text)
		}
	}
	return out
}

// ask adds a field as its measure is asked for on a page.
func (b *formBuilder) ask(field medium.Field, f medium.Farm) {
	unit := farm.Unit(field, f.Settings.Units == medium.US)
	switch {
	case field.Of == medium.OfSolution:
		b.solutions(f)
	case field.Name == "product":
		b.products(f)
	case field.Of == medium.OfActive: // the page has the products
	case field.Of == medium.OfStrength:
		b.amount(field.Name, unit, len(f.Bottles) == 0)
	case field.Of == medium.OfYesNo:
		b.check(field.Name)
	case field.Of == medium.OfCrops:
		b.input(field.Name, field.Needed).choices(cropNames(f))
	case field.Of == medium.OfChoice && field.Needed || field.Name == "result":
		b.pick(field.Name, field.Choices...)
	case field.Of == medium.OfChoice, len(field.Choices) > 0 && field.Name == "seen":
		b.pickOr(field.Name, "", field.Choices...)
	case field.Of == medium.OfText, field.Of == medium.OfSize, field.Of == medium.OfArea, field.Of == medium.OfDate:
		b.input(field.Name, field.Needed).choices(field.Choices)
	default:
		b.amount(field.Name, unit, field.Needed)
	}
}

// cautions are the sentences beside sanitizing with the farm's products.
func (s *Station) cautions(f medium.Farm) []sanitizer.Caution {
	var out []sanitizer.Caution
	seen := map[string]bool{}
	for _, p := range f.Sanitizers {
		for _, c := range sanitizer.Cautions(sanitizer.Work{Active: sanitizer.Active(p.Active), UsePPM: p.MaxPPM, Misting: true}) {
			if !seen[c.Code] {
				seen[c.Code] = true
				out = append(out, c)
			}
		}
	}
	if len(out) == 0 {
		out = sanitizer.Cautions(sanitizer.Work{Active: sanitizer.Other, Misting: true})
	}
	return out
}

type formBuilder struct {
	t texts
	v url.Values
	f form
}

func (b *formBuilder) add(name, kind string, required bool) *field {
	label, ok := b.t["field."+string(b.f.Kind)+"."+name] // a name can mean two things
	if !ok {
		label = b.t.get("field." + name)
	}
	b.f.Fields = append(b.f.Fields, field{Name: name, Label: label, Type: kind, Value: b.v.Get(name), Required: required, Hint: b.t["hint."+name]})
	return &b.f.Fields[len(b.f.Fields)-1]
}

func (b *formBuilder) input(name string, required bool) *field { return b.add(name, "text", required) }

func (b *formBuilder) amount(name, unit string, required bool) {
	b.add(name, "amount", required).Unit = unit
}

func (b *formBuilder) check(name string) { b.add(name, "check", false) }

// pick offers a few words as large buttons, one of which must be chosen.
func (b *formBuilder) pick(name string, words ...string) { b.pickOr(name, "required", words...) }

func (b *formBuilder) pickOr(name, required string, words ...string) {
	f := b.add(name, "choice", required != "")
	for _, w := range words {
		f.Choices = append(f.Choices, choice{Value: w, Label: b.t.get("choice." + w), Chosen: w == f.Value})
	}
}

func (f *field) choices(words []string) {
	for _, w := range words {
		f.Choices = append(f.Choices, choice{Value: w, Label: w})
	}
}

func (b *formBuilder) products(f medium.Farm) {
	p := b.add("product", "select", len(f.Bottles) == 0)
	for i, s := range f.Sanitizers {
		p.Choices = append(p.Choices, choice{Value: s.Name, Label: s.Name, Chosen: p.Value == s.Name || p.Value == "" && i == 0})
	}
	if len(f.Sanitizers) == 0 {
		p.Hint = b.t.get("hint.no_sanitizer")
	}
	if len(f.Sanitizers) == 1 || p.Value == "" && len(f.Sanitizers) > 0 {
		b.direct(f.Sanitizers[0])
	}
}

// direct fills in the directions of the product where nothing was used before.
func (b *formBuilder) direct(s medium.Sanitizer) {
	if s.Directions == "" {
		return
	}
	if b.v.Get("strength") == "" {
		b.v.Set("strength", fmt.Sprintf("%g", s.MinPPM))
	}
	if b.v.Get("contact") == "" {
		b.v.Set("contact", amountText(float64(s.ContactS), "min"))
	}
}

func (b *formBuilder) solutions(f medium.Farm) {
	if len(f.Bottles) == 0 {
		return
	}
	p := b.add("solution", "select", false)
	p.Choices = []choice{{Value: "", Label: b.t.get("choice.no_solution")}}
	for _, bottle := range slices.Backward(f.Bottles) { // the newest first
		code := string(bottle.Solution.Code)
		p.Choices = append(p.Choices, choice{Value: code, Chosen: code == p.Value, Label: b.t.get("choice.solution",
			bottle.Solution.Code, bottle.Solution.Product, bottle.Strength(), stamp(bottle.Solution.GoodUntil, f.Location()))})
	}
}

// amountText writes seconds in minutes where that reads well.
func amountText(seconds float64, unit string) string {
	if unit == "min" {
		if int(seconds)%60 != 0 {
			return fmt.Sprintf("%g s", seconds)
		}
		seconds /= 60
	}
	return fmt.Sprintf("%g", seconds)
}

func cropNames(f medium.Farm) []string {
	crops, _ := farm.AllCrops(f) // one that is missing can still be typed
	names := make([]string, len(crops))
	for i, c := range crops {
		names[i] = c.Name
	}
	return names
}

// values reads what a form carries: the farm's unit goes to a bare number, and
// whatever unit was typed stands.
type values struct {
	url.Values
	err error
}

func (v *values) text(name string) string { return strings.TrimSpace(v.Get(name)) }

// on reads a box that is ticked or not; a program may say no.
func (v *values) on(name string) bool {
	switch text := v.text(name); strings.ToLower(text) {
	case "yes", "on": // a browser's own word
		return true
	case "", "no":
	default:
		if v.err == nil {
			v.err = &medium.InputError{Field: name, Value: text, Want: "yes or no"}
		}
	}
	return false
}

func (v *values) amount(name, unit string, read func(what, text string) (float64, error)) float64 {
	text := v.text(name)
	if text == "" || v.err != nil {
		return 0
	}
	got, err := read(name, amount.Beside(text, unit))
	if err != nil {
		v.err = err
	}
	return got
}

func (v *values) seconds(name, unit string) float64 {
	return v.amount(name, unit, func(what, text string) (float64, error) {
		d, err := amount.Span(what, text)
		return d.Seconds(), err
	})
}

// body makes the typed body of a step from a form. The units of a bare number
// stand beside the fields.
func body(o order, f medium.Farm, at time.Time) (medium.Body, error) {
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
