package medium

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// maxText bounds every text that a person types into a step, in bytes.
const maxText = 500

// checkBody refuses a body with a value that can't be.
func checkBody(body Body) error {
	switch b := body.(type) {
	case *Add:
		return first(b.Mat.Check(), checkText("material", b.Mat.Material), checkText("roll", b.Mat.Roll), checkText("supplier", b.Mat.Supplier),
			checkText("food-contact statement", b.Mat.ContactStatement), checkText("mark", b.Mat.Mark), checkText("why it is unidentified", b.Mat.Unidentified))
	case *Sow:
		return b.check()
	case *Mist:
		return first(checkOptional("water", b.WaterML, 1, 20000, "mL"), checkText("what it was treated with", b.Treated), checkText("place", b.Where))
	case *Harvest:
		return first(checkOptional("yield", b.YieldG, 0.1, 100000, "g"), checkOptional("cut height", b.CutHeightMM, 0.5, 300, "mm"), checkText("place", b.Place))
	case *Rinse:
		return first(oneOf("debris", string(b.Debris), string(DebrisNone), string(DebrisTraces), string(DebrisRoots)),
			checkText("detergent", b.Detergent), checkOptional("minutes", b.Minutes, 0.1, 600, "min"), checkText("place", b.Place))
	case *Dry:
		return first(oneOf("where it dried", b.Where, DrySun, DryAir), checkRange("drying time", float64(b.DurationS), 0, 14*86400, "s"),
			checkOptional("sun", b.KLy, 0.0001, 20, "kLy"), checkOptional("dose", b.ErythemalJM2, 0, 20000, "J/m2"),
			checkOptional("dose", b.SED, 0, 200, "SED"), checkOptional("UV index", b.UVIndex, 0, 25, ""), checkText("sky", b.Sky), checkText("source of the sun figures", b.SunFrom))
	case *Sanitize:
		return b.check()
	case *Mold:
		return first(needText("where the mold is", b.Where), checkText("when it was seen", b.Seen), checkOptional("share", b.SharePercent, 0.01, 100, "%"),
			checkOptional("area", b.AreaMM2, 0.1, 25e6, "mm2"), checkText("treatment", b.Treated), checkPictures(b.Pictures))
	case *Cut:
		return first(checkRange("cut length", b.LengthMM, 0.5, 5000, "mm"), checkText("place", b.Where), checkPictures(b.Pictures))
	case *Swab:
		return b.check()
	case *Hold:
		if b.Dropped {
			return checkText("reason", b.Reason)
		}
		return needText("reason", b.Reason)
	case *Release:
		return needText("reason", b.Reason)
	case *Inspect:
		return first(checkRange("holes", float64(b.Holes), 0, 10000, ""), checkOptional("aperture", b.ApertureMM, 0.02, 20, "mm"), checkText("note", b.Note),
			checkPictures(b.Pictures))
	case *Trim:
		return first(checkRange("length", b.LengthMM, 10, 5000, "mm"), checkRange("width", b.WidthMM, 10, 5000, "mm"))
	case *Relabel:
		return first(needText("reason", b.Reason), checkText("mark", b.Mark))
	case *Document:
		return first(needText("food-contact statement", b.ContactStatement), checkText("supplier", b.Supplier), checkDate("date of the food-contact statement", b.ContactDate))
	case *Retire:
		causes := make([]string, len(Causes))
		for i, c := range Causes {
			causes[i] = string(c)
		}
		return first(oneOf("cause", string(b.Cause), causes...), checkText("note", b.Note))
	}
	return &InputError{Field: "step", Value: string(body.kind()), Want: "a step about a mat"}
}

func (b *Sow) check() error {
	if len(b.Crops) == 0 || len(b.Crops) > 12 {
		return &InputError{Field: "crop", Value: fmt.Sprintf("%d crops", len(b.Crops)), Want: "1 to 12 crops (--crop)"}
	}
	for _, c := range b.Crops {
		if err := first(needText("crop", c.Crop), checkOptional("seed", c.SeedG, 0.01, 50000, "g")); err != nil {
			return err
		}
	}
	return first(checkText("lot", b.Lot), checkText("seed lot", b.SeedLot), checkText("place", b.Place))
}

func (b *Swab) check() error {
	if b.Pass && b.Limit > 0 && b.Reading > b.Limit {
		return &InputError{Field: "swab result", Value: "pass", Want: fmt.Sprintf("fail: the reading %g is over the limit %g", b.Reading, b.Limit)}
	}
	return first(needText("swab test", b.Test), checkOptional("reading", b.Reading, 0, 1e9, ""), checkOptional("limit", b.Limit, 0, 1e9, ""), checkText("unit", b.Unit))
}

func (b *Sanitize) check() error {
	if b.Product == "" && b.Active == "" && b.Solution == "" {
		return &InputError{Field: "sanitizer", Value: "", Want: "a solution (--solution), a product on file (--product) or its active ingredient (--active)"}
	}
	if _, ok := Actives[b.Active]; b.Active != "" && !ok {
		return (Sanitizer{Name: "x", Active: b.Active}).Check()
	}
	if err := checkWater(b.TempC, b.PH); err != nil {
		return err
	}
	least := 0.1
	if b.Solution != "" { // its record has the strength
		least = 0
	}
	return first(checkText("place", b.Place), checkText("product", b.Product), checkRange("strength", b.StrengthPPM, least, 700000, "ppm"), checkRange("contact time", float64(b.ContactS), 0, 86400, "s"),
		checkRange("sides", float64(b.Sides), 1, 2, ""), oneOf("method", b.Method, "spray", "soak", "wipe"))
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
		return &InputError{Field: field, Value: strings.ToValidUTF8(text[:20], "") + "…", Want: fmt.Sprintf("at most %d bytes", maxText)}
	}
	if Visible(text) != text {
		return &InputError{Field: field, Value: Visible(text), Want: "letters, digits and signs in one line: no control characters"}
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
