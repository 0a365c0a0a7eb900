package medium

import (
	"fmt"
	"math"
)

func chlorine(active string) bool {
	return active == "hypochlorite" || active == "calcium-hypochlorite"
}

// tableMostPH is the highest pH of the table of ChlorineMinTempC.
const tableMostPH = 10

// ChlorineMinTempC is the least solution temperature in C for a chlorine
// strength in ppm (mg/L) and a pH: FDA Food Code 4-501.114 (A), a model code
// for retail, used here as a reference. An unknown pH is taken as up to 10. It
// is not ok under 25 ppm or over pH 10, where the table has no row.
func ChlorineMinTempC(ppm float64, pH *float64) (float64, bool) {
	upTo8 := pH != nil && *pH <= 8
	if pH != nil && *pH > tableMostPH {
		return 0, false
	}
	switch {
	case ppm >= 100:
		return 13, true
	case ppm >= 50 && upTo8:
		return 24, true
	case ppm >= 50:
		return 38, true
	case ppm >= 25:
		return 49, true
	}
	return 0, false
}

// HOClShare is the share (0 to 1) of free chlorine that is hypochlorous acid,
// the form that sanitizes well, at a pH (0 to 14) and a temperature in C (0 to
// 60; over 35 the formula is stretched, from memory). pKa = 3000/T - 10.0686 +
// 0.0253 T with T in kelvin: Morris 1966, as used in several water models; the
// paper itself was not read. It holds without cyanuric acid. Other published
// constants differ by up to 3 points (0 C, pH 8), so show whole percent only.
// Outside the ranges: *InputError.
func HOClShare(pH, tempC float64) (float64, error) {
	if err := first(checkRange("pH", pH, 0, 14, ""), checkRange("temperature", tempC, 0, 60, "C")); err != nil {
		return 0, err
	}
	return 1 / (1 + math.Pow(10, pH-hoclPKa(tempC))), nil
}

func hoclPKa(tempC float64) float64 {
	kelvin := tempC + 273.15
	return 3000/kelvin - 10.0686 + 0.0253*kelvin
}

// Outside these a chlorine solution is relatively ineffective or corrosive
// (Food Safety Clearinghouse chlorine note). Gas under about pH 5 is from
// memory; the warning begins at 6 to stay clear of it.
const (
	gassyPH   = 6
	uselessPH = 8
)

// ChlorinePH is the finding on a pH at which chlorine is gassy or nearly
// useless, whatever the directions say; ok is false where the pH is neither.
// An unknown temperature is taken as 20 C.
func ChlorinePH(pH float64, tempC *float64) (f Finding, ok bool) {
	t := 20.0
	if tempC != nil {
		t = *tempC
	}
	share, err := HOClShare(pH, min(t, 60))
	if err != nil || pH >= gassyPH && pH <= uselessPH {
		return Finding{}, false
	}
	f = Finding{Rule: "chlorine-ph", Severity: Care,
		Source: "Food Safety Clearinghouse chlorine note; share by Morris 1966"}
	// Adding acid to chlorine is how people get gassed, so both texts end alike.
	const never = "never add acid: chlorine and acid give off gas; change the water or the product, and follow the label"
	if pH < gassyPH {
		f.Text = fmt.Sprintf("at pH %g a chlorine solution is corrosive and can give off chlorine gas; leave it, air "+
			"the room, discard it as the label says; %s", pH, never)
		return f, true
	}
	f.Text = fmt.Sprintf("at pH %g and %g C only %.0f %% of the chlorine is in the form that sanitizes well; %s", pH, t,
		100*share, never)
	return f, true
}
