package sanitizer

import (
	"fmt"
	"math"
)

// HOClShare is the share (0 to 1) of free chlorine that is hypochlorous acid,
// the form that sanitizes well, at a pH (0 to 14) and temperature in C (0 to
// 60; above 35 the formula is stretched, from memory). pKa = 3000/T - 10.0686 + 0.0253*T with T in kelvin: Morris 1966, as
// used in several water models; the paper itself was not read. Valid without
// cyanuric acid. Other published constants differ by up to 3 points (0 C, pH
// 8), so show whole percent only. Outside the ranges: *RangeError.
func HOClShare(ph, tempC float64) (float64, error) {
	if err := chlorineRange(ph, tempC); err != nil {
		return 0, err
	}
	return 1 / (1 + math.Pow(10, ph-hoclPKa(tempC))), nil
}

func hoclPKa(tempC float64) float64 {
	kelvin := tempC + 273.15
	return 3000/kelvin - 10.0686 + 0.0253*kelvin
}

func chlorineRange(ph, tempC float64) error {
	if !(ph >= 0 && ph <= 14) {
		return &RangeError{What: "pH", Value: ph, Max: 14, Fix: "read the pH strip again"}
	}
	if !(tempC >= 0 && tempC <= 60) {
		return &RangeError{What: "temperature", Value: tempC, Max: 60, Unit: "C", Fix: "measure the solution again"}
	}
	return nil
}

// PercentText writes a share as whole percent, the most that the models agree
// on.
func PercentText(share float64) string { return fmt.Sprintf("%.0f %%", share*100) }

// FoodCodeMinC is the published minimum temperature in C of a chlorine
// solution (mg/L available chlorine) by pH: FDA Food Code 4-501.114(A), as
// adopted with all figures in Wis. Admin. Code DHS 196 appendix 4-501.114.
// The code is written for warewashing in kitchens; for a farm mat it is a
// reference only. The rows start at 25, 50 and 100 mg/L; a strength between
// two rows takes the lower row. No row: *NotCoveredError.
func FoodCodeMinC(ppm, ph float64) (float64, error) {
	uncovered := func(why string) (float64, error) { return 0, &NotCoveredError{PPM: ppm, PH: ph, Why: why} }
	switch {
	case !(ph >= 0 && ph <= 14) || math.IsNaN(ppm) || math.IsInf(ppm, 0):
		return uncovered("strength or pH is not a plausible figure")
	case ph > 10:
		return uncovered("pH above 10")
	case ppm < 25:
		return uncovered("below 25 mg/L")
	case ppm > 200:
		return uncovered("above 200 mg/L, the no-rinse ceiling")
	case ppm >= 100:
		return 13, nil
	case ppm >= 50 && ph <= 8:
		return 24, nil
	case ppm >= 50:
		return 38, nil
	}
	return 49, nil
}

// ChlorineSource names the temperature table for screens and findings.
const ChlorineSource = "FDA Food Code 4-501.114(A) (retail model code, reference only)"

// neverAcidify ends each pH warning: adding acid to chlorine is how people get
// gassed.
const neverAcidify = "Do not add acid: chlorine and acid give off gas. Change the water or the product, and follow the label."

// ChlorineWarnings says when pH makes a chlorine solution nearly useless or
// gassy. Above pH 8 chlorine is relatively ineffective and below 6 it is
// corrosive (Food Safety Clearinghouse chlorine note); gas below about pH 5 is
// from memory, and the warning starts at 6 to stay clear of it.
func ChlorineWarnings(ph, tempC float64) ([]Finding, error) {
	share, err := HOClShare(ph, tempC)
	if err != nil {
		return nil, err
	}
	figures := Figures{"ph": ph, "temp_c": tempC, "hocl_share": share}
	const source = "Food Safety Clearinghouse chlorine note; Morris 1966"
	if ph > 8 {
		return []Finding{{Rule: "ph-high", Severity: Fail, Source: source, Figures: figures,
			Text: fmt.Sprintf("At pH %s only %s of the chlorine is in the form that sanitizes well. %s", figure(ph), PercentText(share), neverAcidify)}}, nil
	}
	if ph < 6 {
		return []Finding{{Rule: "ph-low", Severity: Fail, Source: source, Figures: figures,
			Text: fmt.Sprintf("At pH %s chlorine solution is corrosive and can give off chlorine gas. Leave it, air the room, discard it as the label says. %s", figure(ph), neverAcidify)}}, nil
	}
	return nil, nil
}
