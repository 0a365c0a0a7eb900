package main

import (
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/medium"
	"resow/medium/sunlight"
)

// drying holds the flags of dry.
type drying struct {
	where, took, from, to, sky, uv string
	lat, lon                       float64
	place                          bool // given with the command
}

func (a *app) dryCommand() *cobra.Command {
	var d drying
	c := a.stepCommand("dry", "Record that the mats are dry",
		`Dry after the rinse, and again after the sanitizer. Drying in the sun earns no
sanitizing credit; it is counted as wear of the mesh.

For the sun say how long (--for, or --from and --to). Where the farm's place is
on file (resow init --lat --lon), or given here, the sun's height gives the wear
and the sunburning dose of a clear sky, less what --sky keeps off. --uv takes the
UV index of a forecast for the dose instead. With neither, the hours count at the
policy's sun-power.`,
		`  resow dry TK7R2N81 TB3DF6H2 --where sun --from 10:00 --to 14:30 --sky partly --by MK
  resow dry TK7R2N81 --where sun --for 3h --uv 6 --by MK
  resow dry TK7R2N81 --where air --for 10h --by MK`,
		func(f *farm, _ medium.Code) (medium.Body, error) {
			if d.where != medium.DrySun {
				return d.air()
			}
			return d.sun(a, f)
		},
		func(_ *farm, _ []medium.Code, out io.Writer) error {
			if d.where == medium.DrySun {
				fmt.Fprint(out, wrap(sunlight.NoSanitizingCredit, 79, ""))
			}
			return nil
		})
	flags := c.Flags()
	flags.StringVar(&d.where, "where", "", "sun or air")
	flags.StringVar(&d.took, "for", "", "how long it took: 3h, 45min")
	flags.StringVar(&d.from, "from", "", "when the mats were laid in the sun: 10:00")
	flags.StringVar(&d.to, "to", "", "when they were taken in: 14:30")
	flags.StringVar(&d.sky, "sky", "", "clear, partly, scattered, broken or overcast (clear counts most wear)")
	flags.StringVar(&d.uv, "uv", "", "mean UV index of those hours from a forecast: 6")
	flags.Float64Var(&d.lat, "lat", 0, "latitude in degrees, north positive, where the farm's is not on file")
	flags.Float64Var(&d.lon, "lon", 0, "longitude in degrees, east positive")
	must(c.MarkFlagRequired("where"))
	c.MarkFlagsRequiredTogether("lat", "lon")
	c.MarkFlagsRequiredTogether("from", "to")
	c.MarkFlagsMutuallyExclusive("for", "from")
	must(c.RegisterFlagCompletionFunc("where", fixedWords(medium.DrySun, medium.DryAir)))
	must(c.RegisterFlagCompletionFunc("sky", fixedWords("clear", "partly", "scattered", "broken", "overcast")))
	record := c.RunE
	c.RunE = func(cmd *cobra.Command, args []string) error {
		d.place = cmd.Flags().Changed("lat")
		if d.to != "" {
			if a.at != "" {
				return &usageError{"--to says when the mats were taken in; leave --at out"}
			}
			a.at = d.to
		}
		return record(cmd, args)
	}
	return c
}

func (d drying) air() (medium.Body, error) {
	b := &medium.Dry{Where: d.where}
	if d.uv != "" || d.sky != "" || d.place {
		return nil, &usageError{"--uv, --sky, --lat and --lon are about the sun: --where sun"}
	}
	if d.from != "" {
		return nil, &usageError{"for the air say how long with --for; --from and --to are for the sun"}
	}
	if d.took == "" {
		return b, nil
	}
	t, err := amount.Span("drying time", d.took)
	b.DurationS = int(t.Seconds())
	return b, err
}

// sun counts the wear and the dose of a drying in the sun.
func (d drying) sun(a *app, f *farm) (medium.Body, error) {
	start, end, err := d.window(a, f)
	if err != nil {
		return nil, err
	}
	b := &medium.Dry{Where: medium.DrySun, DurationS: int(end.Sub(start).Seconds())}
	sky, err := sunlight.ParseSky(d.sky)
	if err != nil {
		return nil, err
	}
	place, known := d.at(f)
	if known {
		if err := place.Check(); err != nil {
			return nil, err
		}
		dose, err := sunlight.DoseUnderSky(place, start, end, sunlight.UsualOzoneDU, sky)
		if err != nil {
			return nil, err
		}
		if dose.KLy < 1e-4 {
			return nil, &usageError{fmt.Sprintf("the sun was not up from %s to %s at %g, %g (%s); check the times, or record it with --where air", start.Format("2 Jan 15:04"), end.Format("15:04"), place.LatDeg, place.LonDeg, daylight(start, place))}
		}
		b.KLy, b.Sky, b.SunFrom = roundTo(dose.KLy, 3), string(sky), "computed from place, time and sky; no measurement"
		b.ErythemalJM2, b.SED, b.UVIndex = math.Round(dose.ErythemalJPerM2), roundTo(dose.SED, 3), roundTo(dose.PeakUVIndex, 2)
	} else if d.sky != "" && d.uv == "" {
		return nil, &usageError{"--sky needs the place: begin the ledger with `resow init --lat --lon`, or give --lat and --lon here"}
	}
	if d.uv == "" {
		return b, nil
	}
	index, err := amount.Number("UV index", d.uv)
	if err != nil {
		return nil, err
	}
	dose, err := sunlight.DoseFromForecast(index, end.Sub(start).Hours())
	if err != nil {
		return nil, err
	}
	b.ErythemalJM2, b.SED, b.UVIndex = math.Round(dose.ErythemalJPerM2), roundTo(dose.SED, 3), index
	b.SunFrom = "UV index of a forecast, held for the whole time"
	if known {
		b.SunFrom += "; total sun computed from place, time and sky"
	}
	return b, nil
}

// daylight says when the sun is up on a day, in the day's own zone.
func daylight(day time.Time, place sunlight.Place) string {
	y, m, d := day.Date()
	rise, set, err := sunlight.Daylight(time.Date(y, m, d, 12, 0, 0, 0, day.Location()), place)
	if err != nil {
		return err.Error()
	}
	return fmt.Sprintf("up from %s to %s that day", rise.In(day.Location()).Format("15:04"), set.In(day.Location()).Format("15:04"))
}

// window is the time in the sun: --from and --to, or --for before the step.
func (d drying) window(a *app, f *farm) (start, end time.Time, err error) {
	if end, err = a.happened(f); err != nil {
		return start, end, err
	}
	if end.IsZero() {
		end = f.now(a)
	}
	if d.from != "" {
		if start, err = amount.At(d.from, f.now(a)); err != nil {
			return start, end, err
		}
		if !start.Before(end) {
			return start, end, &usageError{fmt.Sprintf("--from %s --to %s: want the earlier time first; over midnight --from needs its day: \"2026-11-24 20:00\"", d.from, d.to)}
		}
		return start, end, nil
	}
	if d.took == "" {
		return start, end, &usageError{"say how long the mats lay in the sun with --for 3h, or --from 10:00 --to 13:00; it is counted as wear"}
	}
	t, err := amount.Span("time in the sun", d.took)
	return end.Add(-t), end, err
}

func (d drying) at(f *farm) (sunlight.Place, bool) {
	if d.place {
		return sunlight.Place{LatDeg: d.lat, LonDeg: d.lon}, true
	}
	if s := f.Settings; s.Lat != nil && s.Lon != nil {
		return sunlight.Place{LatDeg: *s.Lat, LonDeg: *s.Lon}, true
	}
	return sunlight.Place{}, false
}
