package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/labels/report"
	"resow/medium"
	"resow/medium/pool"
)

// poolSeed is fixed, so that the same plan gives the same answer.
const poolSeed = 2026

// poolFlags are the flags of the pool command as they were typed.
type poolFlags struct {
	sow                                 []string
	plan, noDry, spell, loss, wait, out string
	aside, level                        string
	wash, sanitize, racks, dry, air     int
	mats, weeks, repeats                int
	byOrder                             bool
}

func (a *app) poolCommand() *cobra.Command {
	var p poolFlags
	c := &cobra.Command{Use: "pool", Short: "How many mats the sowing plan needs, and what holds them up", Args: cobra.NoArgs,
		Long: `Pool gives the mats that a sowing plan keeps busy: the mean by Little's law, and
a simulation with drying weather, limited washing, racks and losses that gives
the chance of running short in each week, the number of mats that is enough, and
the bottleneck. --sow radish=3x8 is three sowings a week of eight mats each; the
days come from the crop table or stand behind: radish=3x8:8-10. A plan by
weekday comes from a CSV file with the heads crop, days_min, days_max, mon, tue,
wed, thu, fri, sat, sun. Without --mats the mats in use on file are taken.`,
		Example: `  resow pool --sow radish=3x8 --sow pea=2x6:9-11 --dry-days 1 --air-days 1 --no-dry 25%
  resow pool --plan week.csv --mats 60 --wash 20 --racks 24 --losses 2% --replace 14d --out pool.pdf`,
		RunE: func(*cobra.Command, []string) error {
			if p.weeks < 1 || p.repeats < 1 {
				return &usageError{fmt.Sprintf("--weeks %d, --repeats %d: want at least 1 of each", p.weeks, p.repeats)}
			}
			return a.maybeFarm(func(f *farm, origin report.Origin) error { return a.pool(f, origin, p) })
		}}
	flags := c.Flags()
	flags.StringArrayVar(&p.sow, "sow", nil, "a crop of the plan: CROP=SOWINGSxMATS a week, or CROP=SOWINGSxMATS:DAYS-DAYS")
	flags.StringVar(&p.plan, "plan", "", "CSV file with the plan by weekday")
	flags.IntVar(&p.mats, "mats", 0, "mats at hand (default: those in use on file)")
	flags.IntVar(&p.wash, "wash", 0, "mats that can be washed in a day; 0: no limit")
	flags.IntVar(&p.sanitize, "sanitize", 0, "mats that can be sanitized in a day; 0: no limit")
	flags.IntVar(&p.racks, "racks", 0, "mats that can hang at one time; 0: no limit")
	flags.IntVar(&p.dry, "dry-days", 1, "drying days between wash and sanitizer")
	flags.IntVar(&p.air, "air-days", 1, "drying days after the sanitizer")
	flags.StringVar(&p.noDry, "no-dry", "0%", "share of days on which nothing dries")
	flags.StringVar(&p.spell, "spell", "0d", "mean length of a run of such days: 2d")
	flags.StringVar(&p.loss, "losses", "0%", "share of turns that end a mat")
	flags.StringVar(&p.wait, "replace", "0d", "from a loss until the new mat is there: 14d")
	flags.StringVar(&p.aside, "aside", "0%", "share of the mats that is on hold at any time")
	flags.StringVar(&p.level, "level", "5%", "chance that is allowed for a week to run short")
	flags.IntVar(&p.weeks, "weeks", 12, "weeks to simulate")
	flags.IntVar(&p.repeats, "repeats", 400, "how often the weeks are simulated")
	flags.BoolVar(&p.byOrder, "by-order", false, "sowings come by chance, with the plan as their mean")
	flags.StringVar(&p.out, "out", "", "file to write: .pdf, .html or .csv")
	return c
}

func (p poolFlags) read(crop func(string) (medium.Crop, error)) (plan pool.Plan, level float64, err error) {
	plan = pool.Plan{ByOrder: p.byOrder, TurnAround: pool.TurnAround{WashPerDay: daily(p.wash), SanitizePerDay: daily(p.sanitize), Racks: p.racks, DryDays: p.dry, AirDays: p.air}}
	shares := []struct {
		to         *float64
		flag, text string
	}{{&plan.TurnAround.Weather.NoDry, "--no-dry", p.noDry}, {&plan.Losses.PerTurn, "--losses", p.loss}, {&plan.Losses.Aside, "--aside", p.aside}, {&level, "--level", p.level}}
	for _, s := range shares {
		percent, err := amount.Percent(s.flag, s.text)
		if err != nil {
			return plan, 0, err
		}
		*s.to = percent / 100
	}
	spell, err := amount.Span("--spell", p.spell)
	if err != nil {
		return plan, 0, err
	}
	wait, err := amount.Span("--replace", p.wait)
	if err != nil {
		return plan, 0, err
	}
	plan.TurnAround.Weather.Spell = spell.Hours() / 24
	plan.Losses.ReplaceDays = int(wait / (24 * time.Hour))
	for _, text := range p.sow {
		s, err := sowing(text, crop)
		if err != nil {
			return plan, 0, err
		}
		plan.Sowings = append(plan.Sowings, s)
	}
	if p.plan != "" {
		more, err := readPlan(p.plan, crop)
		if err != nil {
			return plan, 0, err
		}
		plan.Sowings = append(plan.Sowings, more...)
	}
	if len(plan.Sowings) == 0 {
		return plan, 0, &usageError{"give the sowing plan: --sow radish=3x8 for each crop, or --plan week.csv"}
	}
	return plan, level, nil
}

func daily(n int) (days [7]int) {
	for i := range days {
		days[i] = n
	}
	return days
}

// sowing reads CROP=SOWINGSxMATS[:DAYS-DAYS].
func sowing(text string, crop func(string) (medium.Crop, error)) (pool.Sowing, error) {
	bad := &amount.Error{What: "--sow", Input: text, Want: "a crop with its sowings a week times mats, such as radish=3x8 or radish=3x8:8-10"}
	name, rest, ok := strings.Cut(text, "=")
	if !ok || strings.TrimSpace(name) == "" {
		return pool.Sowing{}, bad
	}
	rest, days, given := strings.Cut(rest, ":")
	times, mats, ok := strings.Cut(rest, "x")
	n, err1 := strconv.Atoi(times)
	m, err2 := strconv.Atoi(mats)
	if !ok || err1 != nil || err2 != nil || n < 1 || n > 7 || m < 1 || m > pool.MaxMats {
		return pool.Sowing{}, bad
	}
	s := pool.Sowing{Crop: name, Mats: pool.Weekly(n, m)}
	if !given {
		return withDays(s, crop)
	}
	low, high, ok := strings.Cut(days, "-")
	if !ok {
		high = low
	}
	if s.GrowMin, err1 = strconv.Atoi(low); err1 != nil {
		return s, bad
	}
	if s.GrowMax, err2 = strconv.Atoi(high); err2 != nil {
		return s, bad
	}
	return s, nil
}

func withDays(s pool.Sowing, crop func(string) (medium.Crop, error)) (pool.Sowing, error) {
	c, err := crop(s.Crop)
	if err != nil {
		return s, err
	}
	if c.DaysMax == 0 {
		return s, &usageError{fmt.Sprintf("%s has no days to harvest in the crop table; give them: --sow %s=3x8:8-10", s.Crop, s.Crop)}
	}
	s.GrowMin, s.GrowMax = c.DaysMin, c.DaysMax
	return s, nil
}

var planDays = map[string]time.Weekday{"sun": time.Sunday, "mon": time.Monday, "tue": time.Tuesday, "wed": time.Wednesday, "thu": time.Thursday, "fri": time.Friday, "sat": time.Saturday}

const maxPlanBytes = 1 << 20

func readPlan(path string, crop func(string) (medium.Crop, error)) ([]pool.Sowing, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, maxPlanBytes+1))
	if err != nil {
		return nil, err
	}
	if len(text) > maxPlanBytes {
		return nil, &usageError{path + " is larger than 1 MiB, so it is no sowing plan"}
	}
	return parsePlan(path, bytes.NewReader(text), crop)
}

// parsePlan reads a sowing plan: one line for a crop, by its column heads.
func parsePlan(name string, in io.Reader, crop func(string) (medium.Crop, error)) ([]pool.Sowing, error) {
	r := csv.NewReader(in)
	r.TrimLeadingSpace = true
	rows, err := r.ReadAll()
	if err != nil {
		return nil, &usageError{fmt.Sprintf("%s: %v", name, err)}
	}
	if len(rows) < 2 {
		return nil, &usageError{name + ": want a line of heads (crop, days_min, days_max, mon … sun) and a line for each crop"}
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
				return nil, &usageError{fmt.Sprintf("%s: column %q is not known; want crop, days_min, days_max, mon, tue, wed, thu, fri, sat, sun", name, head)}
			case cell == "":
				continue
			case err != nil:
				return nil, &usageError{fmt.Sprintf("%s, line %d, %s: %q is not a whole number", name, n+2, head, cell)}
			case head == "days_min":
				s.GrowMin = value
			case head == "days_max":
				s.GrowMax = value
			default:
				s.Mats[weekday] = value
			}
		}
		if s.GrowMin == 0 && s.GrowMax == 0 {
			if s, err = withDays(s, crop); err != nil {
				return nil, err
			}
		}
		plan = append(plan, s)
	}
	return plan, nil
}

func (a *app) pool(f *farm, origin report.Origin, p poolFlags) error {
	crop := medium.Farm{}.Crop
	if f != nil {
		crop = f.Farm.Crop
	}
	plan, level, err := p.read(crop)
	if err != nil {
		return err
	}
	in := report.PoolInput{Origin: origin, Level: level, Plan: plan, Have: p.mats}
	if in.Have == 0 && f != nil {
		err := f.Conditions(func(c medium.Condition) error {
			if c.Stage != medium.Retired {
				in.Have++
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	if err := planned(&in, pool.Options{Weeks: p.weeks, Repeats: p.repeats, Mats: in.Have}); err != nil {
		return err
	}
	return a.paper(p.out, report.Pool(in))
}

// planned works out what a plan needs, plays it with the mats at hand, and finds
// the number that is enough.
func planned(in *report.PoolInput, o pool.Options) (err error) {
	var stuck *pool.Overloaded
	if in.Needs, err = pool.Need(in.Plan); err != nil && !errors.As(err, &stuck) {
		return err
	}
	if in.Have > 0 {
		outcome, err := pool.Simulate(in.Plan, o, rand.NewPCG(poolSeed, 0))
		if err != nil {
			return err
		}
		in.WithIt = &outcome
	}
	enough, err := pool.Enough(in.Plan, in.Level, o, rand.NewPCG(poolSeed, 0))
	if errors.As(err, &stuck) {
		in.Stuck = err.Error()
		return nil
	}
	in.Enough = &enough
	return err
}
