package medium

// Printer is how a printer's paper comes out, as measured on the calibration
// page: labels printed for it are moved and stretched by that much.
type Printer struct {
	record
	Name      string  `cbor:"10,keyasint,omitzero" json:"name"`
	OffsetXMM float64 `cbor:"11,keyasint,omitzero" json:"offset_x_mm,omitempty"` // to the right
	OffsetYMM float64 `cbor:"12,keyasint,omitzero" json:"offset_y_mm,omitempty"` // down
	ScaleX    float64 `cbor:"13,keyasint,omitzero" json:"scale_x_percent"`
	ScaleY    float64 `cbor:"14,keyasint,omitzero" json:"scale_y_percent"`
}

func (*Printer) kind() Kind { return KindPrinter }

// Check refuses a correction that no printer in order needs: more than 20 mm,
// or a scale outside 90 to 110 % (common practice, no source).
func (p Printer) Check() error {
	return first(needText("printer", p.Name), checkRange("offset across", p.OffsetXMM, -20, 20, "mm"),
		checkRange("offset down", p.OffsetYMM, -20, 20, "mm"),
		checkRange("scale across", p.ScaleX, 90, 110, "%"), checkRange("scale down", p.ScaleY, 90, 110, "%"))
}

// Printer finds the correction of a printer by its name.
func (f Farm) Printer(name string) (Printer, bool) {
	for _, p := range f.Printers {
		if SameName(p.Name, name) {
			return p, true
		}
	}
	return Printer{Name: name, ScaleX: 100, ScaleY: 100}, false
}
