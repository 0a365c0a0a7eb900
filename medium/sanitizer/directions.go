package sanitizer

import (
	"fmt"
	"strings"
)

// DirectionsKind says where directions come from.
type DirectionsKind string

// Label: copied from the printed label for food-contact surfaces. Farm: the
// farm's own procedure, written down and initialled.
const (
	KindLabel DirectionsKind = "label"
	KindFarm  DirectionsKind = "farm procedure"
)

// Window is a closed range; the zero Window means that nothing is stated.
type Window struct {
	Min float64 `json:"min"`
	Max float64 `json:"max"`
}

// Stated says whether the directions give this window.
func (w Window) Stated() bool { return w != Window{} }

// Has says whether v lies in the window.
func (w Window) Has(v float64) bool { return v >= w.Min && v <= w.Max }

// Directions are what the label or the farm says about use on food-contact
// surfaces. Strengths are mg/L of what is counted.
type Directions struct {
	Kind           DirectionsKind `json:"kind"`
	StrengthPPM    Window         `json:"strength_ppm"`
	ContactS       float64        `json:"contact_s"` // wet contact time, at least
	TempC          Window         `json:"temp_c"`
	PH             Window         `json:"ph"`
	RinseRequired  bool           `json:"rinse_required"`       // with potable water, afterwards
	GoodMixedH     float64        `json:"good_mixed_h"`         // hours after mixing; 0 = not stated
	GoodOpenedDays float64        `json:"good_opened_days"`     // days after opening the stock; 0 = not stated
	Registration   string         `json:"registration"`         // number as printed
	WrittenBy      string         `json:"written_by,omitempty"` // initials of who copied or wrote it
	SurfacesText   string         `json:"surfaces,omitempty"`   // the label's words on surfaces
	Remark         string         `json:"remark,omitempty"`
}

// drugstorePPM is where a peroxide solution is near drugstore strength: 2.5 %
// (lower edge of the pharmacopoeia's range, from memory).
const drugstorePPM = 25_000

// DrugstorePeroxide is said wherever peroxide near 3 % is registered or used.
// 30,000 / 1,100 = 27: 65 FR 75174 for the ceiling.
const DrugstorePeroxide = "Drugstore peroxide of 3 % is about 30,000 ppm, 27 times the published ceiling of 1,100 ppm for peroxide that stays on a food-contact surface without a rinse (65 FR 75174). It is not a labelled sanitizer unless its own label says so. Rinse with potable water and dry, and write it down as a farm procedure; or use a product whose label covers food-contact surfaces."

// NoDirections is the text for a product with none on file.
const NoDirections = "No directions are on file for this product: copy the label's directions for food-contact surfaces, or write and initial a farm procedure. Until then no step with it is accepted."

// Validate checks that directions can be right. The ranges are wide enough
// for every label seen and only catch slips of the pen (common practice, no
// source). Errors are *DirectionsError or *UnknownActiveError.
func (d Directions) Validate(a Active) error {
	if !a.Known() {
		return &UnknownActiveError{Input: string(a)}
	}
	return firstError(d.validateKind(), d.validateStrength(a), d.validateTimes(), d.validateWindows())
}

func (d Directions) validateKind() error {
	switch {
	case d.Kind != KindLabel && d.Kind != KindFarm:
		return &DirectionsError{"kind", fmt.Sprintf("%q", d.Kind), "must be `label` or `farm procedure`"}
	case d.Kind == KindFarm && strings.TrimSpace(d.WrittenBy) == "":
		return &DirectionsError{"written by", "(empty)", "a farm procedure carries the initials of who wrote it"}
	}
	return nil
}

func (d Directions) validateStrength(a Active) error {
	w := d.StrengthPPM
	text := figure(w.Min) + " to " + figure(w.Max) + " mg/L"
	if !(w.Min > 0 && w.Min <= w.Max) || w.Max > 400_000 {
		return &DirectionsError{"strength", text, "must be a range above 0 with the lower figure first, in mg/L"}
	}
	c, known := a.Ceiling()
	if d.Kind == KindFarm && known && !d.RinseRequired && w.Max > c.PPM {
		return &DirectionsError{"strength", text, "above " + figure(c.PPM) + " mg/L a farm procedure needs a rinse with potable water (" + c.Source + ")"}
	}
	return nil
}

func (d Directions) validateTimes() error {
	switch {
	case !(d.ContactS >= 5 && d.ContactS <= 7200):
		return &DirectionsError{"contact time", figure(d.ContactS) + " s", "must be between 5 seconds and 2 hours"}
	case !(d.GoodMixedH >= 0 && d.GoodMixedH <= 24*366):
		return &DirectionsError{"good after mixing", figure(d.GoodMixedH) + " h", "must be between 0 (not stated) and a year"}
	case !(d.GoodOpenedDays >= 0 && d.GoodOpenedDays <= 366*5):
		return &DirectionsError{"good after opening", figure(d.GoodOpenedDays) + " days", "must be between 0 (not stated) and five years"}
	}
	return nil
}

func (d Directions) validateWindows() error {
	if w := d.TempC; w.Stated() && !(w.Min >= 0 && w.Min <= w.Max && w.Max <= 100) {
		return &DirectionsError{"temperature", figure(w.Min) + " to " + figure(w.Max) + " C", "must lie in 0 to 100 C with the lower figure first"}
	}
	if w := d.PH; w.Stated() && !(w.Min >= 0 && w.Min <= w.Max && w.Max <= 14) {
		return &DirectionsError{"pH", figure(w.Min) + " to " + figure(w.Max), "must lie in 0 to 14 with the lower figure first"}
	}
	return nil
}

// Notes are sentences that belong beside these directions wherever they are
// shown: the farm procedure, the ceiling, drugstore peroxide, mesh.
func (d Directions) Notes(a Active) []string {
	notes := []string{}
	if d.Kind == KindFarm {
		notes = append(notes, "This is the farm's own procedure, not a label: a care note stands on every verdict and report until a labelled product is used.")
	}
	if a == Peroxide && d.StrengthPPM.Max >= drugstorePPM {
		notes = append(notes, DrugstorePeroxide)
	}
	c, known := a.Ceiling()
	if known && d.StrengthPPM.Max > c.PPM && !d.RinseRequired {
		notes = append(notes, "These directions go up to "+figure(d.StrengthPPM.Max)+" mg/L without a rinse, above the published "+figure(c.PPM)+" mg/L ("+c.Source+"): read the label again, it is the rule.")
	}
	if d.Kind == KindLabel && strings.TrimSpace(d.Registration) == "" {
		notes = append(notes, "No registration number is written down: a labelled sanitizer has one on its label.")
	}
	return notes
}
