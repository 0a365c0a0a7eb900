package farm

import (
	"cmp"
	"fmt"
	"resow/medium"
	"resow/medium/sanitizer"
	"strings"
)

// Changes says in what two copies of a sanitizer's directions differ.
func Changes(old, s medium.Sanitizer) (changed []string) {
	for _, k := range []struct{ what, was, is string }{
		{"name", old.Name, s.Name}, {"stock", old.Stock, s.Stock}, {"directions", old.Directions, s.Directions},
		{"strength", span(old.MinPPM, old.MaxPPM, "ppm"), span(s.MinPPM, s.MaxPPM, "ppm")},
		{"contact", Quantity("%g s", float64(old.ContactS)), Quantity("%g s", float64(s.ContactS))},
		{"temperature", span(old.MinTempC, old.MaxTempC, "C"), span(s.MinTempC, s.MaxTempC, "C")},
		{"pH", span(old.MinPH, old.MaxPH, ""), span(s.MinPH, s.MaxPH, "")},
		{"rinse", RinseText(old), RinseText(s)},
		{"good after mixing", Quantity("%g h", old.MixedHours), Quantity("%g h", s.MixedHours)},
		{"good after opening", Quantity("%g days", old.OpenedDays), Quantity("%g days", s.OpenedDays)},
		{"density", Quantity("%g g/mL", old.DensityGPML), Quantity("%g g/mL", s.DensityGPML)},
		{"registration", old.Registration, s.Registration}, {"note", old.Note, s.Note},
	} {
		if k.was != k.is {
			changed = append(changed, fmt.Sprintf("%s %s, was %s", k.what, cmp.Or(k.is, "none"), cmp.Or(k.was, "none")))
		}
	}
	return changed
}

// span writes a range that a label gives; empty where it gives none.
func span(least, most float64, unit string) string {
	if least == 0 && most == 0 {
		return ""
	}
	if least == most {
		return strings.TrimSpace(fmt.Sprintf("%g %s", least, unit))
	}
	return strings.TrimSpace(fmt.Sprintf("%g to %g %s", least, most, unit))
}

// RinseText says whether the directions ask for a rinse.
func RinseText(s medium.Sanitizer) string {
	if s.Rinse {
		return "rinse with potable water"
	}
	return "no rinse asked for"
}

// SanitizerSheet is all that there is to know of a product before it is used.
type SanitizerSheet struct {
	Sanitizer     medium.Sanitizer    `json:"sanitizer"`
	Title         string              `json:"active_title"`
	CountedAs     string              `json:"counted_as"`
	StockPPM      float64             `json:"stock_ppm,omitempty"`
	DensitySource string              `json:"density_source,omitempty"`
	CeilingPPM    float64             `json:"ceiling_ppm,omitempty"` // without a rinse, in force
	CeilingSource string              `json:"ceiling_source,omitempty"`
	NeverWith     []string            `json:"never_with"`
	Notes         []string            `json:"notes"`
	Cautions      []sanitizer.Caution `json:"cautions"`
}

// SheetOf puts together what is on file about a product and what is published about
// its active ingredient.
func (f *Farm) SheetOf(s medium.Sanitizer) SanitizerSheet {
	active := sanitizer.Active(s.Active)
	doc := SanitizerSheet{Sanitizer: s, Title: active.Title(), CountedAs: active.CountedAs(),
		NeverWith: active.NeverWith(), Notes: sanitizer.Notes(s)}
	if stock, err := sanitizer.StockOf(s); err == nil {
		ppm, _ := stock.PPM() // StockOf has read it
		doc.StockPPM, doc.DensitySource = Round3(ppm), stock.DensitySource()
	}
	if c, ok := active.CeilingUnder(f.Policy); ok {
		doc.CeilingPPM, doc.CeilingSource = c.PPM, c.Source
	}
	doc.Cautions = sanitizer.Cautions(sanitizer.Work{Active: active, StockPPM: doc.StockPPM, UsePPM: s.MaxPPM,
		Misting: true})
	return doc
}

// StrengthRange reads 50-200ppm, or a single strength for both ends.
func StrengthRange(active, text string) (lo, hi float64, err error) {
	from, to, ok := cutRange(text)
	if !ok {
		from, to = text, text
	}
	if lo, _, err = sanitizer.UseRange(active, from); err != nil {
		return 0, 0, err
	}
	_, hi, err = sanitizer.UseRange(active, to)
	return lo, hi, err
}

// cutRange parts 50-200ppm into 50ppm and 200ppm.
func cutRange(text string) (from, to string, ok bool) {
	for i := 1; i < len(text); i++ {
		if text[i] != '-' {
			continue
		}
		from, to = text[:i], text[i+1:]
		if last := from[len(from)-1]; last >= '0' && last <= '9' || last == '.' {
			unit := to
			for len(unit) > 0 && (unit[0] >= '0' && unit[0] <= '9' || unit[0] == '.') {
				unit = unit[1:]
			}
			from += unit
		}
		return from, to, true
	}
	return "", "", false
}
