package sanitizer

import (
	"maps"
	"math"
	"slices"
)

// MatArea is one mat of tonight's list. Mats without a product are grouped
// under the empty name so that nobody overlooks them.
type MatArea struct {
	Code     string  `json:"code"`
	Product  string  `json:"product"`
	AreaM2   float64 `json:"area_m2"`   // one side
	Sides    int     `json:"sides"`     // 1 or 2
	ContactS float64 `json:"contact_s"` // from the directions
}

// BenchSetup is how the farm wets its mats.
type BenchSetup struct {
	SprayMLPerM2  float64 `json:"spray_ml_per_m2"` // per side; used when DipML is 0
	DipML         float64 `json:"dip_ml"`          // volume of the bath
	DipMats       int     `json:"dip_mats"`        // mats per bath load
	MarginPercent float64 `json:"margin_percent"`
	BottleML      float64 `json:"bottle_ml"`  // 0 = no bottles are counted
	HandlingS     float64 `json:"handling_s"` // per mat: lay down, wet, turn
}

// BatchLine is what to make and do for one product.
type BatchLine struct {
	Product string   `json:"product"`
	Mats    []string `json:"mats"`
	AreaM2  float64  `json:"area_m2"` // all sides that get wet
	NeedML  float64  `json:"need_ml"`
	MakeML  float64  `json:"make_ml"` // with the margin
	Bottles int      `json:"bottles"`
	Minutes float64  `json:"minutes"`
}

// maxMats bounds a list; a farm washes dozens, not a million.
const maxMats = 100_000

// Tonight groups the mats by product and gives volumes, bottles and time.
// A dip needs the whole bath once per product however few mats there are; the
// bath is topped up with what the mats carry away only through the margin.
// Time: spraying, the mats are wetted one after another and the last one stays
// its contact time; dipping, each load stays its longest contact time.
// Errors: *AmountError.
func Tonight(mats []MatArea, setup BenchSetup) ([]BatchLine, error) {
	if err := setup.check(); err != nil {
		return nil, err
	}
	if len(mats) > maxMats {
		return nil, &AmountError{What: "number of mats", Value: float64(len(mats))}
	}
	groups := map[string][]MatArea{}
	for _, m := range mats {
		if err := m.check(); err != nil {
			return nil, err
		}
		groups[m.Product] = append(groups[m.Product], m)
	}
	lines := make([]BatchLine, 0, len(groups))
	for _, product := range slices.Sorted(maps.Keys(groups)) {
		lines = append(lines, setup.line(product, groups[product]))
	}
	return lines, nil
}

func (s BenchSetup) check() error {
	if s.DipML != 0 {
		if s.DipMats < 1 {
			return &AmountError{What: "mats per dip", Value: float64(s.DipMats)}
		}
		if err := checkML("dip volume", s.DipML); err != nil {
			return err
		}
	} else if !(s.SprayMLPerM2 > 0 && s.SprayMLPerM2 <= 10_000) {
		return &AmountError{What: "spray rate in mL per m2", Value: s.SprayMLPerM2}
	}
	switch {
	case !(s.MarginPercent >= 0 && s.MarginPercent <= 1000):
		return &AmountError{What: "margin percent", Value: s.MarginPercent}
	case !(s.HandlingS >= 0 && s.HandlingS <= 3600):
		return &AmountError{What: "handling seconds per mat", Value: s.HandlingS}
	case s.BottleML != 0 && !(s.BottleML >= 1 && s.BottleML <= MaxML):
		return &AmountError{What: "bottle volume in mL", Value: s.BottleML}
	}
	return nil
}

func (m MatArea) check() error {
	switch {
	case !(m.AreaM2 > 0 && m.AreaM2 <= 100):
		return &AmountError{What: "area in m2 of mat " + m.Code, Value: m.AreaM2}
	case m.Sides != 1 && m.Sides != 2:
		return &AmountError{What: "sides of mat " + m.Code, Value: float64(m.Sides)}
	case !(m.ContactS >= 0 && m.ContactS <= 86_400):
		return &AmountError{What: "contact seconds of mat " + m.Code, Value: m.ContactS}
	}
	return nil
}

func (s BenchSetup) line(product string, group []MatArea) BatchLine {
	line := BatchLine{Product: product}
	longest := 0.0
	for _, m := range group {
		line.Mats = append(line.Mats, m.Code)
		line.AreaM2 += m.AreaM2 * float64(m.Sides)
		longest = max(longest, m.ContactS)
	}
	handling := float64(len(group)) * s.HandlingS
	line.NeedML, line.Minutes = line.AreaM2*s.SprayMLPerM2, (handling+longest)/60
	if s.DipML != 0 {
		loads := math.Ceil(float64(len(group)) / float64(s.DipMats))
		line.NeedML, line.Minutes = s.DipML, (handling+loads*longest)/60
	}
	line.MakeML = line.NeedML * (1 + s.MarginPercent/100)
	if s.BottleML > 0 {
		line.Bottles = int(math.Ceil(line.MakeML / s.BottleML))
	}
	return line
}
