package sanitizer

import (
	"fmt"
	"math"
)

// Answer is yes, no, or not recorded.
type Answer string

// The answers. The empty one means that nobody wrote it down.
const (
	Unknown Answer = ""
	Yes     Answer = "yes"
	No      Answer = "no"
)

// Reading is a measured figure that may be missing.
type Reading struct {
	Value float64 `json:"value"`
	Known bool    `json:"known"`
}

// Read makes a known reading.
func Read(v float64) Reading { return Reading{Value: v, Known: true} }

// Applied is what was done to one mat.
type Applied struct {
	StrengthPPM Window  `json:"strength_ppm"` // from Solution.Strength or StripInterval
	ContactS    float64 `json:"contact_s"`    // really wet, not until the timer rang
	TempC       Reading `json:"temp_c"`
	PH          Reading `json:"ph"`
	Sides       int     `json:"sides"`     // 1 or 2
	Rinsed      Answer  `json:"rinsed"`    // with potable water, afterwards
	AgeH        Reading `json:"age_h"`     // of the solution
	Cleaned     Answer  `json:"cleaned"`   // washed before sanitizing
	Debris      Answer  `json:"debris"`    // roots or dirt left, as reported at the rinse
	FinalDry    Answer  `json:"final_dry"` // Unknown while the mat is still airing
}

// Limits are the figures that the policy hands in.
type Limits struct {
	AllowFarm   bool    // farm procedures can be accepted, with a care note
	NeedTemp    bool    // a missing temperature fails when the directions give a window
	NeedPH      bool    // likewise for pH
	MaxAgeH     float64 // used where the directions state no hours; 0 = none
	SidesNeeded int     // 2 for mesh mats; 0 counts as 2
}

// CheckStep judges one sanitize step. Each failure is one finding; an empty
// result, or one with care notes only, means acceptable by the farm's own
// rules. d nil = no directions on file, which always fails.
func CheckStep(a Active, d *Directions, did Applied, lim Limits) []Finding {
	list := []Finding{}
	if d == nil {
		list = append(list, Finding{Rule: "no-directions", Severity: Fail, Text: NoDirections, Source: directionsSource})
	} else {
		list = append(list, checkKind(*d, lim)...)
		list = append(list, strengthFindings(a, did.StrengthPPM, *d, did.Rinsed == Yes)...)
		list = append(list, checkContact(*d, did)...)
		list = append(list, checkWindow("temperature", "C", d.TempC, did.TempC, lim.NeedTemp)...)
		list = append(list, checkWindow("ph", "", d.PH, did.PH, lim.NeedPH)...)
		list = append(list, checkRinse(*d, did)...)
		list = append(list, checkAge(*d, did, lim)...)
	}
	list = append(list, checkSides(did, lim)...)
	list = append(list, checkOrder(did)...)
	if a.Chlorine() {
		list = append(list, checkChlorine(did)...)
	}
	return list
}

// plain turns figures that are no numbers into zero strength, which fails as
// too weak instead of slipping through every comparison.
func plain(w Window) Window {
	if math.IsNaN(w.Min) || math.IsNaN(w.Max) || math.IsInf(w.Min, 0) || math.IsInf(w.Max, 0) {
		return Window{}
	}
	return w
}

func one(rule string, sev Severity, source, text string, figures Figures) []Finding {
	return []Finding{{Rule: rule, Severity: sev, Text: text, Figures: figures, Source: source}}
}

func checkKind(d Directions, lim Limits) []Finding {
	if d.Kind == KindLabel {
		return nil
	}
	if !lim.AllowFarm {
		return one("farm-procedure", Fail, policySource, "The directions are a farm procedure and the policy accepts labelled products only. Use a product with a food-contact label.", nil)
	}
	return one("farm-procedure", Care, policySource, "Sanitized by the farm's own procedure, not by a label for food-contact surfaces.", nil)
}

func checkContact(d Directions, did Applied) []Finding {
	if did.ContactS >= d.ContactS {
		return nil
	}
	return one("contact-short", Fail, directionsSource,
		fmt.Sprintf("Wet for %s s; the %s asks for %s s, %s s short. Keep it wet, re-wet if it dries, and do the whole time again.", figure(did.ContactS), d.Kind, figure(d.ContactS), figure(d.ContactS-did.ContactS)),
		Figures{"contact_s": did.ContactS, "label_contact_s": d.ContactS})
}

func checkWindow(rule, unit string, want Window, got Reading, needed bool) []Finding {
	if !want.Stated() {
		return nil
	}
	label := figure(want.Min) + " to " + figure(want.Max)
	if unit != "" {
		label += " " + unit
	}
	figures := Figures{"label_min": want.Min, "label_max": want.Max}
	if !got.Known {
		return one(rule+"-missing", severityIf(needed), directionsSource, fmt.Sprintf("No %s was recorded; the directions ask for %s.", rule, label), figures)
	}
	if want.Has(got.Value) {
		return nil
	}
	figures["measured"] = got.Value
	return one(rule, Fail, directionsSource, fmt.Sprintf("The %s was %s; the directions ask for %s.", rule, figure(got.Value), label), figures)
}

func checkRinse(d Directions, did Applied) []Finding {
	if !d.RinseRequired || did.Rinsed == Yes {
		return nil
	}
	return one("rinse-missing", Fail, directionsSource, "The directions ask for a rinse with potable water after the contact time and none is recorded. Rinse, then record it.", nil)
}

func checkAge(d Directions, did Applied, lim Limits) []Finding {
	limit, source := d.GoodMixedH, directionsSource
	if limit == 0 {
		limit, source = lim.MaxAgeH, policySource
	}
	if limit == 0 {
		return nil
	}
	if !did.AgeH.Known {
		return one("solution-age-missing", Fail, source, fmt.Sprintf("When the solution was mixed is not recorded; it is good for %s hours.", figure(limit)), Figures{"max_age_h": limit})
	}
	if did.AgeH.Value <= limit {
		return nil
	}
	return one("solution-age", Fail, source, fmt.Sprintf("The solution was %s hours old; it is good for %s. Mix a fresh one.", figure(did.AgeH.Value), figure(limit)), Figures{"age_h": did.AgeH.Value, "max_age_h": limit})
}

func checkSides(did Applied, lim Limits) []Finding {
	needed := lim.SidesNeeded
	if needed == 0 {
		needed = 2
	}
	if did.Sides >= needed {
		return nil
	}
	return one("one-side", Fail, policySource, fmt.Sprintf("%d of %d sides were wetted. Do the other side for the whole contact time.", did.Sides, needed), Figures{"sides": float64(did.Sides), "sides_needed": float64(needed)})
}

const cleanFirstSource = "Oklahoma State PNW 752 and Produce Safety Alliance, Cleaning vs. Sanitizing: a dirty surface cannot be sanitized"

// checkOrder: washed first, nothing left on it, dry afterwards. Drying: Food
// Code 4-901.11, air-dry after sanitizing.
func checkOrder(did Applied) []Finding {
	list := []Finding{}
	if did.Cleaned != Yes {
		list = append(list, one("not-cleaned", Fail, cleanFirstSource, "The mat was not washed first. Wash and rinse it, then sanitize again.", nil)...)
	}
	if did.Debris == Yes {
		list = append(list, one("debris", Fail, cleanFirstSource, "Roots or dirt were left on the mat at the rinse. Take them off, rinse, then sanitize again.", nil)...)
	}
	if did.FinalDry == No {
		list = append(list, one("not-dried", Fail, "FDA Food Code 4-901.11 (reference only)", "The mat was not dried after sanitizing. Let it drain and air-dry before it is used or stacked.", nil)...)
	}
	return list
}

// checkChlorine adds what pH and temperature say beyond the label. The retail
// table is only a reference, so it gives care.
func checkChlorine(did Applied) []Finding {
	list := []Finding{}
	if !did.PH.Known || !did.TempC.Known {
		return list
	}
	warnings, err := ChlorineWarnings(did.PH.Value, did.TempC.Value)
	if err != nil {
		return one("chlorine-reading", Fail, "plausible range of pH and temperature", err.Error(), Figures{"ph": did.PH.Value, "temp_c": did.TempC.Value})
	}
	list = append(list, warnings...)
	minC, err := FoodCodeMinC(did.StrengthPPM.Min, did.PH.Value)
	if err != nil {
		return append(list, one("chlorine-table", Care, ChlorineSource, err.Error(), Figures{"ppm": did.StrengthPPM.Min, "ph": did.PH.Value})...)
	}
	if did.TempC.Value < minC {
		list = append(list, one("chlorine-cold", Care, ChlorineSource,
			fmt.Sprintf("%s C is below the %s C that the retail code names for %s mg/L at pH %s; the label decides.", figure(did.TempC.Value), figure(minC), figure(did.StrengthPPM.Min), figure(did.PH.Value)),
			Figures{"temp_c": did.TempC.Value, "min_temp_c": minC})...)
	}
	return list
}
