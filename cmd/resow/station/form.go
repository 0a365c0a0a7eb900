package station

import (
	"fmt"
	"net/url"
	"slices"

	"resow/cmd/resow/farm"
	"resow/medium"
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

// Long says that a choice takes the whole width of a phone.
func (f field) Long() bool {
	return slices.ContainsFunc(f.Choices, func(c choice) bool { return len(c.Label) > 20 })
}

type choice struct {
	Value, Label string
	Chosen       bool
}

// stepInputs is a step's form, ready to be drawn or filled in.
type stepInputs struct {
	Kind     medium.Kind
	Fields   []field
	Cautions []string
	Pictures bool
}

// inputs makes the form of a kind of step with the farm's last values.
func (s *Station) inputs(k medium.Kind, f medium.Farm, values url.Values) stepInputs {
	b := formBuilder{t: s.t, v: values, f: stepInputs{Kind: k,
		Cautions: s.stepCautions(k, f), Pictures: says(k, medium.OfPictures)}}
	row, _ := medium.KindNamed(k)
	for _, field := range row.Asked() {
		b.ask(field, f)
	}
	return b.f
}

// says tells whether a kind of step says something of a measure.
func says(k medium.Kind, of medium.Measure) bool {
	row, _ := medium.KindNamed(k)
	return slices.ContainsFunc(row.Fields, func(f medium.Field) bool { return f.Of == of })
}

func (s *Station) stepCautions(k medium.Kind, f medium.Farm) (out []string) {
	if text, ok := s.t["caution."+string(k)]; ok {
		out = append(out, text)
	}
	if says(k, medium.OfSolution) {
		for _, c := range farm.Cautions(f) {
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
	case field.Of == medium.OfChoice, len(field.Choices) > 0 && field.Name == "seen":
		b.pick(field.Name, field.Needed || field.Name == "result", field.Choices...)
	case field.Of == medium.OfText, field.Of == medium.OfSize, field.Of == medium.OfArea, field.Of == medium.OfDate:
		b.input(field.Name, field.Needed).choices(field.Choices)
	default:
		b.amount(field.Name, unit, field.Needed)
	}
}

type formBuilder struct {
	t texts
	v url.Values
	f stepInputs
}

func (b *formBuilder) add(name, kind string, required bool) *field {
	label, ok := b.t["field."+string(b.f.Kind)+"."+name] // a name can mean two things
	if !ok {
		label = b.t.get("field." + name)
	}
	b.f.Fields = append(b.f.Fields, field{Name: name, Label: label, Type: kind, Value: b.v.Get(name), Required: required,
		Hint: b.t["hint."+name]})
	return &b.f.Fields[len(b.f.Fields)-1]
}

func (b *formBuilder) input(name string, required bool) *field { return b.add(name, "text", required) }

func (b *formBuilder) amount(name, unit string, required bool) {
	b.add(name, "amount", required).Unit = unit
}

func (b *formBuilder) check(name string) { b.add(name, "check", false) }

// pick offers a few words as large buttons.
func (b *formBuilder) pick(name string, required bool, words ...string) {
	f := b.add(name, "choice", required)
	for _, w := range words {
		f.Choices = append(f.Choices, choice{w, b.t.get("choice." + w), w == f.Value})
	}
}

func (f *field) choices(words []string) {
	for _, w := range words {
		f.Choices = append(f.Choices, choice{w, w, false})
	}
}

func (b *formBuilder) products(f medium.Farm) {
	p := b.add("product", "select", len(f.Bottles) == 0)
	for i, s := range f.Sanitizers {
		p.Choices = append(p.Choices, choice{s.Name, s.Name, p.Value == s.Name || p.Value == "" && i == 0})
	}
	if len(f.Sanitizers) == 0 {
		p.Hint = b.t.get("hint.no_sanitizer")
	} else if len(f.Sanitizers) == 1 || p.Value == "" {
		b.direct(f.Sanitizers[0])
	}
}

// direct fills in the directions of the product where nothing was used before.
func (b *formBuilder) direct(s medium.Sanitizer) {
	if s.Directions == "" {
		return
	}
	if b.v.Get("strength") == "" {
		b.v.Set("strength", fmt.Sprint(s.MinPPM))
	}
	if b.v.Get("contact") == "" {
		b.v.Set("contact", contactText(s.ContactS))
	}
}

func (b *formBuilder) solutions(f medium.Farm) {
	if len(f.Bottles) == 0 {
		return
	}
	p := b.add("solution", "select", false)
	p.Choices = []choice{{Label: b.t.get("choice.no_solution")}}
	for _, bottle := range slices.Backward(f.Bottles) { // the newest first
		code := string(bottle.Solution.Code)
		until := bottle.Solution.GoodUntil.In(f.Location()).Format(farm.StampForm)
		p.Choices = append(p.Choices, choice{Value: code, Chosen: code == p.Value, Label: b.t.get("choice.solution",
			bottle.Solution.Code, bottle.Solution.Product, bottle.Strength(), until)})
	}
}

// contactText writes seconds in minutes, the unit of the form, where they are whole.
func contactText(s int) string {
	if s%60 != 0 {
		return fmt.Sprint(s, " s")
	}
	return fmt.Sprint(s / 60)
}

// cropNames are the crops that the farm knows.
func cropNames(f medium.Farm) (names []string) {
	crops, _ := farm.AllCrops(f) // one that is missing can still be typed
	for _, c := range crops {
		names = append(names, c.Name)
	}
	return names
}
