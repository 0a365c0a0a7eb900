package medium

// Prices are what the farm pays, in its own currency: the other half of what a
// turn costs beside the price of the mesh, which stands with each mat. 0 stands
// for not known or nothing.
type Prices struct {
	record
	LaborPerHour float64 `cbor:"10,keyasint,omitzero" json:"labor_per_h,omitempty"`
	// throw-away medium that a mat replaces
	MediumPerTray    float64 `cbor:"11,keyasint,omitzero" json:"medium_per_tray,omitempty"`
	MediumGPerTray   float64 `cbor:"12,keyasint,omitzero" json:"medium_g_per_tray,omitempty"` // its dry mass
	MediumMinutes    float64 `cbor:"13,keyasint,omitzero" json:"medium_min_per_tray,omitempty"`
	SanitizerPerTurn float64 `cbor:"14,keyasint,omitzero" json:"sanitizer_per_turn,omitempty"`
	WaterPerTurn     float64 `cbor:"15,keyasint,omitzero" json:"water_per_turn,omitempty"`
	LabelPerMat      float64 `cbor:"16,keyasint,omitzero" json:"label_per_mat,omitempty"` // label, mark and making
}

func (*Prices) kind() Kind { return KindPrices }

// Check refuses prices below 0 or beyond belief, and a record without any.
func (p Prices) Check() error {
	const most = 1e6
	if p == (Prices{}) {
		return &InputError{Field: "prices", Value: "none", Want: "at least one, such as the farm's labor rate"}
	}
	return first(
		checkRange("labor per hour", p.LaborPerHour, 0, most, ""),
		checkRange("medium per tray", p.MediumPerTray, 0, most, ""),
		checkRange("mass of the medium per tray", p.MediumGPerTray, 0, 1e5, "g"),
		checkRange("minutes per tray of medium", p.MediumMinutes, 0, 600, "min"),
		checkRange("sanitizer per turn", p.SanitizerPerTurn, 0, most, ""),
		checkRange("water per turn", p.WaterPerTurn, 0, most, ""),
		checkRange("label per mat", p.LabelPerMat, 0, most, ""))
}
