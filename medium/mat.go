package medium

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Mat is one washable piece of mesh as it was registered.
type Mat struct {
	record
	Form       string  `cbor:"10,keyasint,omitzero" json:"form"` // mat or screen
	LengthMM   float64 `cbor:"11,keyasint,omitzero" json:"length_mm"`
	WidthMM    float64 `cbor:"12,keyasint,omitzero" json:"width_mm"`
	Material   string  `cbor:"13,keyasint,omitzero" json:"material,omitempty"`
	ApertureMM float64 `cbor:"14,keyasint,omitzero" json:"aperture_mm,omitempty"`
	ThreadMM   float64 `cbor:"15,keyasint,omitzero" json:"thread_mm,omitempty"`
	Layers     int     `cbor:"16,keyasint,omitzero" json:"layers,omitempty"`
	Roll       string  `cbor:"17,keyasint,omitzero" json:"roll,omitempty"` // mesh roll or sheet it was cut from
	Supplier   string  `cbor:"18,keyasint,omitzero" json:"supplier,omitempty"`
	// the supplier's words on food contact
	ContactStatement string  `cbor:"19,keyasint,omitzero" json:"contact_statement,omitempty"`
	ContactDate      string  `cbor:"20,keyasint,omitzero" json:"contact_date,omitempty"` // YYYY-MM-DD
	Cost             float64 `cbor:"21,keyasint,omitzero" json:"cost,omitempty"`         // in the farm's currency
	DryWeightG       float64 `cbor:"22,keyasint,omitzero" json:"dry_weight_g,omitempty"`
	Mark             string  `cbor:"23,keyasint,omitzero" json:"mark,omitempty"` // second identity that needs no label
	SunRatingKLy     float64 `cbor:"24,keyasint,omitzero" json:"sun_rating_kly,omitempty"`
	// why nobody knows which mat it is: it is held from the start and never released
	Unidentified string `cbor:"25,keyasint,omitzero" json:"unidentified,omitempty"`
}

// Forms of a mat.
const (
	FormMat    = "mat"
	FormScreen = "screen"
)

// AreaMM2 is the mat's area in square millimetres.
func (m Mat) AreaMM2() float64 { return m.LengthMM * m.WidthMM }

// AreaM2 is the mat's area in square meters.
func (m Mat) AreaM2() float64 { return m.AreaMM2() / 1e6 }

// Size is the mat's size for a label or a table: 250 x 510 mm.
func (m Mat) Size() string {
	return fmt.Sprintf("%s x %s mm", trimZeros(m.LengthMM), trimZeros(m.WidthMM))
}

func trimZeros(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0") }

// ContactDocumented says whether the supplier's food-contact statement is on
// file with its date.
func (m Mat) ContactDocumented() bool { return m.ContactStatement != "" && m.ContactDate != "" }

// Check refuses a mat that can't be: sizes from 10 mm to 5 m, openings and
// threads from 0.02 to 20 mm, 1 to 10 layers.
func (m Mat) Check() error {
	sized := []struct {
		field    string
		v        float64
		min, max float64
		unit     string
		optional bool
	}{
		{"length", m.LengthMM, 10, 5000, "mm", false},
		{"width", m.WidthMM, 10, 5000, "mm", false},
		{"aperture", m.ApertureMM, 0.02, 20, "mm", true},
		{"thread", m.ThreadMM, 0.02, 20, "mm", true},
		{"dry weight", m.DryWeightG, 0.1, 20000, "g", true},
		{"cost", m.Cost, 0, 1e6, "", true},
		{"sun rating", m.SunRatingKLy, 1, 2000, "kLy", true},
	}
	for _, s := range sized {
		if s.optional && s.v == 0 {
			continue
		}
		if err := checkRange(s.field, s.v, s.min, s.max, s.unit); err != nil {
			return err
		}
	}
	if m.Form != FormMat && m.Form != FormScreen {
		return &InputError{Field: "form", Value: m.Form, Want: "mat or screen"}
	}
	if m.Layers < 1 || m.Layers > 10 {
		return &InputError{Field: "layers", Value: fmt.Sprint(m.Layers), Want: "a whole number from 1 to 10"}
	}
	if (m.ApertureMM == 0) != (m.ThreadMM == 0) {
		return &InputError{Field: "mesh", Value: "one of aperture and thread",
			Want: "both the aperture and the thread in mm (a mesh count alone does not tell the opening)"}
	}
	if m.ContactDate != "" {
		if err := checkDate("date of the food-contact statement", m.ContactDate); err != nil {
			return err
		}
	}
	return nil
}

func checkRange(field string, v, min, max float64, unit string) error {
	if !math.IsNaN(v) && v >= min && v <= max {
		return nil
	}
	if unit == "s" || unit == "g" { // people type 500d and 999kg
		return &InputError{Field: field, Value: spoken(v, unit), Want: spoken(min, unit) + " to " + spoken(max, unit)}
	}
	want := strconv.FormatFloat(min, 'f', -1, 64) + " to " + strconv.FormatFloat(max, 'f', -1, 64)
	if unit != "" {
		want += " " + unit
	}
	return &InputError{Field: field, Value: strconv.FormatFloat(v, 'f', -1, 64), Want: want}
}

// spoken writes an amount as a person types it: 500 days, not 43200000 s.
func spoken(v float64, unit string) string {
	switch {
	case unit == "s" && v > 0:
		for _, u := range []struct {
			s    float64
			name string
		}{{86400, "days"}, {3600, "h"}, {60, "min"}} {
			if v >= 2*u.s && math.Mod(v, u.s/2) == 0 {
				v, unit = v/u.s, u.name
				break
			}
		}
	case unit == "g" && v >= 1000:
		v, unit = v/1000, "kg"
	}
	return strings.TrimSpace(strconv.FormatFloat(v, 'f', -1, 64) + " " + unit)
}

// OpenArea is the open share of a square woven mesh in percent: 100 (w/p)^2
// with pitch p = w + d, in the terms of ISO 9044 (formula as quoted by mesh
// handbooks; the standard's own text was not seen). It is 0 where the mesh is
// not known.
func (m Mat) OpenArea() float64 {
	p := m.ApertureMM + m.ThreadMM
	if m.ApertureMM == 0 || m.ThreadMM == 0 {
		return 0
	}
	return 100 * (m.ApertureMM / p) * (m.ApertureMM / p)
}

// MeshCount is the number of openings in 25.4 mm, or 0 where the mesh is not
// known. A sieve number is not a mesh count.
func (m Mat) MeshCount() float64 {
	p := m.ApertureMM + m.ThreadMM
	if m.ApertureMM == 0 || m.ThreadMM == 0 {
		return 0
	}
	return 25.4 / p
}
