package sunlight

import "time"

// Position is where the sun stands. Angles in degrees; azimuth from north over
// east. Elevation is seen from the ground without the air's refraction.
type Position struct {
	ElevationDeg float64 `json:"elevation_deg"`
	AzimuthDeg   float64 `json:"azimuth_deg"`
	DistanceAU   float64 `json:"distance_au"`

	declinationDeg float64
	hourAngleDeg   float64
}

// ZenithDeg is the geometric zenith angle.
func (p Position) ZenithDeg() float64 { return 90 - p.ElevationDeg }

// At computes the sun's position: Meeus, Astronomical Algorithms (2nd
// edition), chapter 25 (low accuracy, stated as 0.01 degree), apparent
// sidereal time of chapter 12 and the parallax of 8.794 arcseconds. Against
// the worked example of the NREL Solar Position Algorithm it is off by 0.001
// degree in zenith and 0.006 in azimuth, and within 0.01 degree of that
// algorithm at nine other places and times (see the tests). Meant for 1950 to 2100. Errors: *RangeError.
func At(t time.Time, place Place) (Position, error) {
	if err := place.Check(); err != nil {
		return Position{}, err
	}
	if y := t.UTC().Year(); y < 1950 || y > 2100 {
		return Position{}, &RangeError{What: "year", Value: float64(y), Min: 1950, Max: 2100, Fix: "look at the date"}
	}
	jd := julianDay(t)
	s := apparentSun(jd + deltaT/86400)
	hour := turn(siderealDeg(jd, s) + place.LonDeg - s.rightAscension)
	el := asin(sin(place.LatDeg)*sin(s.declination) + cos(place.LatDeg)*cos(s.declination)*cos(hour))
	az := atan2(sin(hour), cos(hour)*sin(place.LatDeg)-sin(s.declination)/cos(s.declination)*cos(place.LatDeg))
	return Position{
		ElevationDeg: el - parallaxDeg/s.distance*cos(el),
		AzimuthDeg:   turn(az + 180),
		DistanceAU:   s.distance, declinationDeg: s.declination, hourAngleDeg: hour,
	}, nil
}

// deltaT is terrestrial minus universal time in seconds, about 69 in the
// 2020s; an error of 30 s moves the sun by 0.0003 degree.
const deltaT = 69.0

const parallaxDeg = 8.794 / 3600

// julianDay counts days from the Unix epoch, which is JD 2440587.5.
func julianDay(t time.Time) float64 {
	return 2440587.5 + float64(t.Unix())/86400 + float64(t.Nanosecond())/86400e9
}

type sun struct {
	longitude      float64 // apparent
	trueLongitude  float64
	node           float64 // of the moon's orbit, for the nutation
	obliquity      float64
	rightAscension float64
	declination    float64
	distance       float64
}

// apparentSun takes a Julian day in terrestrial time.
func apparentSun(jde float64) sun {
	c := (jde - 2451545) / 36525
	meanLon := 280.46646 + 36000.76983*c + 0.0003032*c*c
	anomaly := 357.52911 + 35999.05029*c - 0.0001537*c*c
	ecc := 0.016708634 - 0.000042037*c - 0.0000001267*c*c
	centre := (1.914602-0.004817*c-0.000014*c*c)*sin(anomaly) +
		(0.019993-0.000101*c)*sin(2*anomaly) + 0.000289*sin(3*anomaly)
	s := sun{trueLongitude: turn(meanLon + centre), node: 125.04 - 1934.136*c}
	s.distance = 1.000001018 * (1 - ecc*ecc) / (1 + ecc*cos(anomaly+centre))
	s.longitude = s.trueLongitude - 0.00569 - 0.00478*sin(s.node)
	s.obliquity = 23.43929111 - 0.013004167*c + 0.00256*cos(s.node)
	s.rightAscension = turn(atan2(cos(s.obliquity)*sin(s.longitude), cos(s.longitude)))
	s.declination = asin(sin(s.obliquity) * sin(s.longitude))
	return s
}

func siderealDeg(jd float64, s sun) float64 {
	c := (jd - 2451545) / 36525
	mean := 280.46061837 + 360.98564736629*(jd-2451545) + 0.000387933*c*c
	return mean - 0.00478*sin(s.node)*cos(s.obliquity)
}

// Sunrise is counted when the upper limb touches the horizon, with the usual
// 0.5667 degree of refraction (NREL Solar Position Algorithm, A.2).
const (
	sunRadiusDeg         = 0.26667
	horizonRefractionDeg = 0.5667
)

// Daylight gives sunrise and sunset of the solar day around t, in UTC, good to
// about ten seconds at mid latitudes. Errors: *NoSunriseError, *RangeError.
func Daylight(t time.Time, place Place) (rise, set time.Time, err error) {
	noon, err := solarNoon(t, place)
	if err != nil {
		return rise, set, err
	}
	const rim = -(sunRadiusDeg + horizonRefractionDeg)
	up := func(at time.Time) bool {
		p, _ := At(at, place) // place and year were accepted above
		return p.ElevationDeg > rim
	}
	before, after := noon.Add(-12*time.Hour), noon.Add(12*time.Hour)
	if !up(noon) {
		return rise, set, &NoSunriseError{}
	}
	if up(before) || up(after) {
		return rise, set, &NoSunriseError{AlwaysUp: true}
	}
	return crossing(before, noon, up), crossing(after, noon, up), nil
}

// solarNoon is the meridian passage nearest to t.
func solarNoon(t time.Time, place Place) (time.Time, error) {
	t = t.UTC()
	for range 3 {
		p, err := At(t, place)
		if err != nil {
			return t, err
		}
		hour := p.hourAngleDeg
		if hour > 180 {
			hour -= 360
		}
		t = t.Add(-time.Duration(hour / 360 * 86400e9))
	}
	return t, nil
}

// crossing halves the span between a dark and a light time down to a second.
func crossing(dark, light time.Time, up func(time.Time) bool) time.Time {
	for light.Sub(dark).Abs() > time.Second {
		middle := dark.Add(light.Sub(dark) / 2)
		if up(middle) {
			light = middle
		} else {
			dark = middle
		}
	}
	return light
}
