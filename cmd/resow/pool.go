package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels/report"
	"resow/medium"
	"resow/medium/pool"
)

// poolFlags are the flags of the pool command as they were typed.
type poolFlags struct {
	farm.Planning
	plan, out string
}

func (a *app) poolCommand(c *cobra.Command) {
	var p poolFlags
	c.RunE = func(*cobra.Command, []string) error {
		if p.Weeks < 1 || p.Repeats < 1 {
			return ui.Wrongf("--weeks %d, --repeats %d: want at least 1 of each", p.Weeks, p.Repeats)
		}
		return a.maybeFarm(func(f *farm.Farm, origin report.Origin) error { return a.pool(f, origin, p) })
	}
	flags := c.Flags()
	flags.StringArrayVar(&p.Sow, "sow", nil,
		"a crop of the plan: CROP=SOWINGSxMATS a week, or CROP=SOWINGSxMATS:DAYS-DAYS")
	flags.StringVar(&p.plan, "plan", "", "CSV file with the plan by weekday")
	flags.IntVar(&p.Mats, "mats", 0, "mats at hand (default: those in use on file)")
	flags.IntVar(&p.Wash, "wash", 0, "mats that can be washed in a day; 0: no limit")
	flags.IntVar(&p.Sanitize, "sanitize", 0, "mats that can be sanitized in a day; 0: no limit")
	flags.IntVar(&p.Racks, "racks", 0, "mats that can hang at one time; 0: no limit")
	flags.IntVar(&p.Dry, "dry-days", 1, "drying days between wash and sanitizer")
	flags.IntVar(&p.Air, "air-days", 1, "drying days after the sanitizer")
	flags.StringVar(&p.NoDry, "no-dry", "0%", "share of days on which nothing dries")
	flags.StringVar(&p.Spell, "spell", "0d", "mean length of a run of such days: 2d")
	flags.StringVar(&p.Loss, "losses", "0%", "share of turns that end a mat")
	flags.StringVar(&p.Wait, "replace", "0d", "from a loss until the new mat is there: 14d")
	flags.StringVar(&p.Aside, "aside", "0%", "share of the mats that is on hold at any time")
	flags.StringVar(&p.Level, "level", "5%", "chance that is allowed for a week to run short")
	flags.IntVar(&p.Weeks, "weeks", 12, "weeks to simulate")
	flags.IntVar(&p.Repeats, "repeats", 400, "how often the weeks are simulated")
	flags.BoolVar(&p.ByOrder, "by-order", false, "sowings come by chance, with the plan as their mean")
	flags.StringVar(&p.out, "out", "", "file to write: .pdf, .html or .csv")
}

var planDays = map[string]time.Weekday{"sun": time.Sunday, "mon": time.Monday, "tue": time.Tuesday,
	"wed": time.Wednesday, "thu": time.Thursday, "fri": time.Friday, "sat": time.Saturday}

const maxPlanBytes = 1 << 20

// readPlan reads a sowing plan: one line for a crop, by its column heads.
func readPlan(name string, crop func(string) (medium.Crop, error)) ([]pool.Sowing, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, maxPlanBytes+1))
	if err != nil {
		return nil, err
	}
	if len(text) > maxPlanBytes {
		return nil, ui.Wrong(name + " is larger than 1 MiB, so it is not a sowing plan")
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.TrimLeadingSpace = true
	rows, err := r.ReadAll()
	if err != nil {
		return nil, ui.Wrongf("%s: %v", name, err)
	}
	if len(rows) < 2 {
		return nil, ui.Wrong(name + ": want a line of heads (crop, days_min, days_max, mon … sun) and a line for each crop")
	}
	var plan []pool.Sowing
	for n, row := range rows[1:] {
		var s pool.Sowing
		for i, cell := range row {
			head := strings.ToLower(strings.Trim(rows[0][i], "\ufeff "))
			cell = strings.TrimSpace(cell)
			weekday, isDay := planDays[head]
			value, err := strconv.Atoi(cell)
			switch {
			case head == "crop":
				s.Crop = cell
				continue
			case head != "days_min" && head != "days_max" && !isDay:
				return nil, ui.Wrongf("%s: column %q is not known; want crop, days_min, days_max, mon, tue, wed, "+
					"thu, fri, sat, sun", name, head)
			case cell == "":
				continue
			case err != nil:
				return nil, ui.Wrongf("%s, line %d, %s: %q is not a whole number", name, n+2, head, cell)
			case head == "days_min":
				s.GrowMin = value
			case head == "days_max":
				s.GrowMax = value
			default:
				s.Mats[weekday] = value
			}
		}
		if s.GrowMin == 0 && s.GrowMax == 0 {
			if s, err = farm.WithDays(s, crop); err != nil {
				return nil, err
			}
		}
		plan = append(plan, s)
	}
	return plan, nil
}

func (a *app) pool(f *farm.Farm, origin report.Origin, p poolFlags) (err error) {
	crop := medium.Farm{}.Crop
	if f != nil {
		crop = f.Farm.Crop
	}
	if p.plan != "" {
		if p.Further, err = readPlan(p.plan, crop); err != nil {
			return err
		}
	}
	in := report.PoolInput{Origin: origin, Have: p.Mats}
	var typed *amount.Error
	if in.Plan, in.Level, err = p.Read(crop); errors.As(err, &typed) {
		typed.What = "--" + typed.What
	}
	if err != nil {
		return err
	}
	if len(in.Plan.Sowings) == 0 {
		return ui.Wrong("give the sowing plan: --sow radish=3x8 for each crop, or --plan week.csv")
	}
	if in.Have == 0 && f != nil {
		for c := range f.EachMat(&err) {
			if c.Stage != medium.Retired {
				in.Have++
			}
		}
	}
	if err != nil {
		return err
	}
	if err := p.Work(&in); err != nil {
		return err
	}
	return a.paper(p.out, report.Pool(in))
}
