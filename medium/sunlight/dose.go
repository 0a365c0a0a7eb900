package sunlight

import (
	"math"
	"time"
)

// Dose is the sun on flat ground during one drying. It earns no sanitizing
// credit (NoSanitizingCredit).
type Dose struct {
	Hours           float64 `json:"hours"` // of the window, not of sunshine
	MaxElevationDeg float64 `json:"max_elevation_deg"`
	PeakUVIndex     float64 `json:"peak_uv_index"`
	ErythemalJPerM2 float64 `json:"erythemal_j_per_m2"`
	SED             float64 `json:"sed"`
	TotalMJPerM2    float64 `json:"total_mj_per_m2"`
	KLy             float64 `json:"kly"`
}

// MJPerKLy: 1 kilolangley = 1000 cal/cm2 = 41.84 MJ/m2 of total sun (not of
// UV), by definition of the thermochemical calorie.
const MJPerKLy = 41.84

// DoseUnderSky integrates from start to end (at most 24 h) minute by minute
// with the trapezoid rule, which is within 0.1 % for smooth sun. Errors:
// *WindowError, *RangeError, *UnknownSkyError.
func DoseUnderSky(place Place, start, end time.Time, ozoneDU float64, sky Sky) (Dose, error) {
	span := end.Sub(start)
	if span <= 0 || span > 24*time.Hour {
		return Dose{}, &WindowError{Start: start, End: end}
	}
	if _, known := skies[sky]; !known {
		return Dose{}, &UnknownSkyError{Input: string(sky)}
	}
	d := Dose{Hours: span.Hours(), MaxElevationDeg: -90}
	n := int(math.Ceil(span.Minutes()))
	stepS := span.Seconds() / float64(n)
	for i := range n + 1 {
		p, err := At(start.Add(time.Duration(float64(i)*stepS*1e9)), place)
		if err != nil {
			return Dose{}, err
		}
		index, err := ClearSkyUVIndex(p.ZenithDeg(), ozoneDU)
		if err != nil {
			return Dose{}, err
		}
		weight := stepS
		if i == 0 || i == n {
			weight /= 2
		}
		index *= sky.UVFactor()
		d.MaxElevationDeg = max(d.MaxElevationDeg, p.ElevationDeg)
		d.PeakUVIndex = max(d.PeakUVIndex, index)
		d.ErythemalJPerM2 += index * WattPerUVIndex * weight
		d.TotalMJPerM2 += ClearSkyTotalW(p.ElevationDeg) * sky.TotalFactor() * weight / 1e6
	}
	d.SED, d.KLy = d.ErythemalJPerM2/JoulePerSED, d.TotalMJPerM2/MJPerKLy
	return d, nil
}

// DoseFromForecast is the dose when a UV index was read off a forecast and held
// for some hours: index * 25 mW/m2 * time. It knows no total sun, so KLy stays
// 0: the wear of a drying then goes by the policy's sun-power. Index 0 to 25, hours above 0 to 24, else
// *RangeError.
func DoseFromForecast(index, hours float64) (Dose, error) {
	if !(index >= 0 && index <= 25) {
		return Dose{}, &RangeError{What: "UV index", Value: index, Max: 25, Fix: "read the forecast again"}
	}
	if !(hours > 0 && hours <= 24) {
		return Dose{}, &RangeError{What: "hours in the sun", Value: hours, Max: 24, Unit: "h",
			Fix: "give the hours of one drying"}
	}
	joule := index * WattPerUVIndex * hours * 3600
	return Dose{Hours: hours, PeakUVIndex: index, ErythemalJPerM2: joule, SED: joule / JoulePerSED}, nil
}

// ClearSkyTotalW is the total sun in W/m2 on flat ground under a clear sky by
// elevation in degrees: 1098*sin(e)*exp(-0.059/sin(e)), Haurwitz 1945 with the
// constant of the pvlib implementation. About 5 % is the best to expect.
func ClearSkyTotalW(elevationDeg float64) float64 {
	mu := sin(elevationDeg)
	if !(mu > 0) {
		return 0
	}
	return 1098 * mu * math.Exp(-0.059/mu)
}
