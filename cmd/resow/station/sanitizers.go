package station

import (
	"net/url"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/medium/sanitizer"
)

var labelForm = page{"sanitizer", "sanitizers", (*visit).labelPage, labelFields, (*visit).sendLabel}

type sanitizerLine struct {
	medium.Sanitizer
	Contact string
	Notes   []string
}

type sanitizersPage struct {
	frame
	List     []sanitizerLine
	Cautions []sanitizer.Caution
}

func (v *visit) sanitizersPage(f *farm.Farm) (filling, error) {
	page := &sanitizersPage{Cautions: farm.Cautions(f.Farm)}
	for _, one := range f.Sanitizers {
		page.List = append(page.List, sanitizerLine{one, medium.Seconds(one.ContactS), sanitizer.Notes(one)})
	}
	return page, nil
}

type labelPage struct {
	frame
	Form  stepInputs
	Token string
}

func (v *visit) labelPage(*farm.Farm) (filling, error) {
	return &labelPage{frame: frame{Title: v.t.get("sanitizers.add")}, Form: v.labelForm(v.form), Token: v.newToken()}, nil
}

func labelFields(v *visit) ([]string, error) {
	names := []string{"token"}
	for _, f := range v.labelForm(nil).Fields {
		names = append(names, f.Name)
	}
	return names, nil
}

// labelForm is the form of a label.
func (s *Station) labelForm(filled url.Values) stepInputs {
	b := formBuilder{t: s.t, v: filled, f: stepInputs{Kind: medium.KindSanitizer}}
	b.input("name", true)
	active := b.add("active", "select", true)
	for _, a := range sanitizer.Actives() {
		active.Choices = append(active.Choices, choice{string(a), a.Title(), string(a) == active.Value})
	}
	b.input("stock", false)
	b.amount("density", "g/mL", false)
	b.pick("directions", true, medium.DirectionsLabel, medium.DirectionsFarm)
	b.amount("least", "ppm", true)
	b.amount("most", "ppm", true)
	b.amount("contact", "min", true)
	b.amount("min_temp", "C", false)
	b.amount("max_temp", "C", false)
	b.amount("min_ph", "", false)
	b.amount("max_ph", "", false)
	b.check("rinse")
	b.amount("good_h", "", false)
	b.amount("opened_days", "", false)
	b.input("registration", false)
	b.input("note", false)
	b.input("corrects", false)
	b.check("as_printed")
	return b.f
}

func (v *visit) sendLabel() (string, error) {
	_, err := v.recordOne(func(f *farm.Farm) (medium.Step, error) {
		label, err := farm.ReadLabel(v.form.Get, f.Farm)
		return farmStep(label), err
	})
	return "/sanitizers", err
}
