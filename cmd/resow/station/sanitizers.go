package station

import (
	"cmp"
	"net/url"
	"strings"

	"resow/cmd/resow/amount"
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
	Form  form
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
func (s *Station) labelForm(filled url.Values) form {
	b := formBuilder{t: s.t, v: filled, f: form{Kind: medium.KindSanitizer}}
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
		label, err := sanitizerOf(v.form, f.Farm)
		return farmStep(label), err
	})
	return "/sanitizers", err
}

// sanitizerOf reads the form. What is left empty stays as it is on file under this name,
// since the form comes up empty.
func sanitizerOf(form url.Values, f medium.Farm) (b *medium.Sanitizer, err error) {
	said := func(name string) string { return strings.TrimSpace(form.Get(name)) }
	b = &medium.Sanitizer{Name: said("name"), Active: said("active")}
	if old, ok := f.Sanitizer(b.Name, ""); ok && b.Name != "" && old.Active == b.Active {
		b = &old
	}
	active := sanitizer.Active(b.Active)
	if text := said("stock"); text != "" {
		stock, err := sanitizer.ReadStock(active, text)
		if err != nil {
			return b, err
		}
		if old, _ := sanitizer.ReadStock(active, b.Stock); stock != old { // the density on file is another liquid's
			b.Stock, b.DensityGPML = stock, 0
		}
	}
	b.Directions = cmp.Or(said("directions"), b.Directions)
	b.Registration = cmp.Or(said("registration"), b.Registration)
	b.Note = cmp.Or(said("note"), b.Note)
	contact := float64(b.ContactS)
	span := func(what, text string) (float64, error) { return farm.Amount(medium.OfSpan, what, text) }
	for _, o := range []struct {
		name, unit string
		to         *float64
		read       func(what, text string) (float64, error)
	}{
		{"density", "g/mL", &b.DensityGPML, amount.Density},
		{"min_temp", "C", &b.MinTempC, amount.Temperature},
		{"max_temp", "C", &b.MaxTempC, amount.Temperature},
		{"min_ph", "", &b.MinPH, amount.Number},
		{"max_ph", "", &b.MaxPH, amount.Number},
		{"good_h", "", &b.MixedHours, amount.Number},
		{"opened_days", "", &b.OpenedDays, amount.Number},
		{"contact", "min", &contact, span},
	} {
		if err := farm.Optional(o.to, amount.Beside(said(o.name), o.unit), o.name, o.read); err != nil {
			return b, err
		}
	}
	b.ContactS = int(contact)
	rinse, err := ticked("rinse", said("rinse"))
	if err != nil {
		return b, err
	}
	if b.Confirmed, err = ticked("as_printed", said("as_printed")); err != nil {
		return b, err
	}
	b.Rinse, b.Corrects = b.Rinse || rinse, said("corrects")
	// one left empty is what is on file
	if text := said("least"); text != "" || b.MinPPM == 0 {
		if b.MinPPM, _, err = sanitizer.UseRange(b.Active, amount.Beside(text, "ppm")); err != nil {
			return b, err
		}
	}
	if text := said("most"); text != "" || b.MaxPPM == 0 {
		_, b.MaxPPM, err = sanitizer.UseRange(b.Active, amount.Beside(text, "ppm"))
	}
	return b, err
}

func ticked(name, said string) (bool, error) {
	if said == "" {
		return false, nil
	}
	return farm.YesNo(name, said)
}
