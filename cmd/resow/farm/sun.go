package farm

import (
	"fmt"
	"math"
	"time"

	"resow/medium"
	"resow/medium/sunlight"
)

// sun counts the wear and the dose of a drying in the sun: by the sun's height
// where the place is known, for the dose by a forecast where one was said. With
// neither, the hours alone count.
func (r Reader) sun(b *medium.Dry) error {
	if b.DurationS == 0 {
		if r.Past {
			return nil
		}
		return &medium.InputError{Field: "drying time", Want: "how long the mats lay in the sun: it is counted as wear",
			Way: medium.CaseSunTime}
	}
	end := r.At.In(r.Farm.Location())
	start := end.Add(-time.Duration(b.DurationS) * time.Second)
	place, known := r.place()
	forecast, said := b.UVIndex, b.Sky
	if known {
		if err := clearSky(b, place, start, end); err != nil {
			return err
		}
	} else if said != "" && forecast == 0 {
		want := "the farm's place on file, its latitude and longitude: without it the sky says nothing"
		return &medium.InputError{Field: "sky", Value: said, Want: want, Way: medium.CaseSunPlace}
	}
	if forecast == 0 {
		return nil
	}
	dose, err := sunlight.DoseFromForecast(forecast, end.Sub(start).Hours())
	if err != nil {
		return err
	}
	b.ErythemalJM2, b.SED, b.UVIndex = math.Round(dose.ErythemalJPerM2), Rounded(dose.SED, 3), forecast
	b.SunFrom = "UV index of a forecast, held for the whole time"
	if known {
		b.SunFrom += "; total sun computed from place, time and sky"
	}
	return nil
}

func clearSky(b *medium.Dry, place sunlight.Place, start, end time.Time) error {
	if err := place.Check(); err != nil {
		return err
	}
	sky, err := sunlight.ParseSky(b.Sky)
	if err != nil {
		return err
	}
	dose, err := sunlight.DoseUnderSky(place, start, end, sunlight.UsualOzoneDU, sky)
	if err != nil {
		return err
	}
	if dose.KLy < 1e-4 {
		return &medium.InputError{Field: "time in the sun", Value: start.Format("2 Jan 15:04") + " to " + end.Format("15:04"),
			Want: fmt.Sprintf("hours of daylight: at %g, %g the sun was %s; check the times, or record it as dried in the air",
				place.LatDeg, place.LonDeg, daylight(start, place))}
	}
	b.KLy, b.Sky, b.SunFrom = Rounded(dose.KLy, 3), string(sky), "computed from place, time and sky; no measurement"
	b.ErythemalJM2, b.SED, b.UVIndex = math.Round(dose.ErythemalJPerM2), Rounded(dose.SED, 3), Rounded(dose.PeakUVIndex, 2)
	return nil
}

// daylight says when the sun is up on a day, in the day's own zone.
func daylight(day time.Time, place sunlight.Place) string {
	y, m, d := day.Date()
	rise, set, err := sunlight.Daylight(time.Date(y, m, d, 12, 0, 0, 0, day.Location()), place)
	if err != nil {
		return err.Error()
	}
	return fmt.Sprintf("up from %s to %s that day", rise.In(day.Location()).Format("15:04"),
		set.In(day.Location()).Format("15:04"))
}

func (r Reader) place() (sunlight.Place, bool) {
	if r.Place != nil {
		return *r.Place, true
	}
	if s := r.Farm.Settings; s.Lat != nil && s.Lon != nil {
		return sunlight.Place{LatDeg: *s.Lat, LonDeg: *s.Lon}, true
	}
	return sunlight.Place{}, false
}
