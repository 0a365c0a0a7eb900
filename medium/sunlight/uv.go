package sunlight

import "math"

// UV index definitions: the index is 40 times the erythemally weighted
// irradiance in W/m2, so 1 unit is 25 mW/m2 (SMHI STRANG unit conversion page;
// WHO/SDE/OEH/02.2).
const (
	WattPerUVIndex = 0.025
	// JoulePerSED is one standard erythemal dose in J/m2 (SMHI, same page).
	JoulePerSED = 100.0
)

// UsualOzoneDU is the ozone column that the clear-sky formula is centred on,
// in Dobson units; used when nobody knows better.
const UsualOzoneDU = 300.0

// ClearSkyUVIndex is the index on flat ground under a cloudless, clean sky with
// dark ground: 12.5 * mu^2.42 * (ozone/300)^-1.23, mu the cosine of the zenith
// angle (Madronich 2007, Photochemistry and Photobiology 83, abstract). It is
// a formula, not a measurement: broken cloud moved the index fourfold within
// half an hour at Granada (Anton 2012). 0 when the sun is down. Ozone 100 to
// 600 DU, zenith 0 to 180 degrees, else *RangeError.
func ClearSkyUVIndex(zenithDeg, ozoneDU float64) (float64, error) {
	if !(zenithDeg >= 0 && zenithDeg <= 180) {
		return 0, &RangeError{What: "zenith angle", Value: zenithDeg, Max: 180, Unit: "degrees",
			Fix: "0 is overhead, 90 the horizon"}
	}
	if !(ozoneDU >= 100 && ozoneDU <= 600) {
		return 0, &RangeError{What: "ozone", Value: ozoneDU, Min: 100, Max: 600, Unit: "DU", Fix: "use 300 when unknown"}
	}
	mu := cos(zenithDeg)
	if mu <= 0 {
		return 0, nil
	}
	return 12.5 * math.Pow(mu, 2.42) * math.Pow(ozoneDU/300, -1.23), nil
}

// Band is the trade word for an index: low, moderate, high, very high, extreme
// (bands 0-2, 3-5, 6-7, 8-10, 11+ of WHO/SDE/OEH/02.2, on the rounded index).
func Band(index float64) string {
	switch n := math.Round(index); {
	case !(n >= 0):
		return ""
	case n <= 2:
		return "low"
	case n <= 5:
		return "moderate"
	case n <= 7:
		return "high"
	case n <= 10:
		return "very high"
	}
	return "extreme"
}
