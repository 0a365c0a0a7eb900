package medium

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// maxText bounds every text that a person types into a step, in bytes.
const maxText = 500

// checkBody refuses a body with a value that can't be: what its fields say, each
// for itself, and then what they say together.
func checkBody(body Body) error {
	if AboutFarm(body) || body.kind() == KindCorrect {
		return &InputError{Field: "step", Value: string(body.kind()), Want: "a step about a mat"}
	}
	row, _ := KindNamed(body.kind())
	for _, f := range row.Fields {
		if err := f.check(body); err != nil {
			return err
		}
	}
	if b, ok := body.(interface{ check() error }); ok {
		return b.check()
	}
	return nil
}

func (b *Add) check() error {
	return first(b.Mat.Check(), checkText("material", b.Mat.Material), checkText("roll", b.Mat.Roll),
		checkText("supplier", b.Mat.Supplier),
		checkText("food-contact statement", b.Mat.ContactStatement), checkText("mark", b.Mat.Mark),
		checkText("why it is unidentified", b.Mat.Unidentified))
}

func checkCrops(crops []Sown) error {
	if len(crops) == 0 || len(crops) > 12 {
		return &InputError{Field: "crop", Value: fmt.Sprintf("%d crops", len(crops)), Want: "1 to 12 crops"}
	}
	for _, c := range crops {
		if err := first(needText("crop", c.Crop), checkOptional("seed", c.SeedG, 0.01, 50000, "g")); err != nil {
			return err
		}
	}
	return nil
}

func (b *Sow) check() error {
	if crop, _, ok := strings.Cut(b.SeedLot, "="); ok && len(b.Crops) > 1 {
		return &InputError{Field: "seed lot", Value: b.SeedLot,
			Want: fmt.Sprintf("the seed lot of a crop of this sowing: %q is none of %s", crop, CropName(b.Crops))}
	}
	for _, c := range b.Crops {
		if err := checkText("seed lot", c.SeedLot); err != nil {
			return err
		}
	}
	return nil
}

func (b *Hold) check() error {
	if b.Dropped {
		return nil
	}
	return needText("reason", b.Reason)
}

func (b *Swab) check() error {
	if b.Pass && b.Limit > 0 && b.Reading > b.Limit {
		return &InputError{Field: "swab result", Value: "pass",
			Want: fmt.Sprintf("fail: the reading %g is over the limit %g", b.Reading, b.Limit)}
	}
	return nil
}

func (b *Sanitize) check() error {
	if b.Product == "" && b.Active == "" && b.Solution == "" {
		return &InputError{Field: "sanitizer", Value: "", Want: "a solution, a product on file or its active ingredient"}
	}
	if _, ok := Actives[b.Active]; b.Active != "" && !ok {
		return (Sanitizer{Name: "x", Active: b.Active}).Check()
	}
	if b.Solution == "" && b.StrengthPPM == 0 { // of a solution its record has the strength
		return &InputError{Field: "strength", Value: "0", Want: "0.1 to 700000 ppm"}
	}
	return nil
}

func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func checkOptional(field string, v, min, max float64, unit string) error {
	if v == 0 {
		return nil
	}
	return checkRange(field, v, min, max, unit)
}

func checkText(field, text string) error {
	if !utf8.ValidString(text) {
		return &InputError{Field: field, Value: strings.ToValidUTF8(text, "?"), Want: "text in UTF-8"}
	}
	if len(text) > maxText {
		return &InputError{Field: field, Value: strings.ToValidUTF8(text[:20], "") + "…",
			Want: fmt.Sprintf("at most %d bytes", maxText)}
	}
	if Visible(text) != text {
		return &InputError{Field: field, Value: Visible(text),
			Want: "letters, digits and signs in one line: no control characters"}
	}
	return nil
}

func checkDate(field, text string) error {
	if _, err := time.Parse(time.DateOnly, text); err != nil {
		return &InputError{Field: field, Value: text, Want: "a date as YYYY-MM-DD"}
	}
	return nil
}

// checkPast refuses a date after today; the location of now says what today is.
func checkPast(field, text string, now time.Time) error {
	if text <= now.Format(time.DateOnly) { // both are YYYY-MM-DD, or the text is empty
		return nil
	}
	return &InputError{Field: field, Value: text, Want: "a date up to today, as the statement has it"}
}

func needText(field, text string) error {
	if strings.TrimSpace(text) == "" {
		return &InputError{Field: field, Value: text, Want: "a few words"}
	}
	return checkText(field, text)
}

func oneOf(field, v string, allowed ...string) error {
	for _, a := range allowed {
		if v == a {
			return nil
		}
	}
	return &InputError{Field: field, Value: v, Want: strings.Join(allowed, ", ")}
}
