package farm

import (
	"cmp"
	"strings"

	"resow/cmd/resow/amount"
	"resow/medium"
	"resow/medium/sanitizer"
)

// ReadLabel reads what is said of a sanitizer's label, with the units beside the fields.
// What is left empty stays as it is on file under this name.
func ReadLabel(field func(name string) string, f medium.Farm) (b *medium.Sanitizer, err error) {
	said := func(name string) string { return strings.TrimSpace(field(name)) }
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
	span := func(what, text string) (float64, error) { return Amount(medium.OfSpan, what, text) }
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
		if err := Optional(o.to, amount.Beside(said(o.name), o.unit), o.name, o.read); err != nil {
			return b, err
		}
	}
	b.ContactS = int(contact)
	rinse, err := YesNo("rinse", said("rinse"))
	if err != nil {
		return b, err
	}
	if b.Confirmed, err = YesNo("as_printed", said("as_printed")); err != nil {
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
