package farm

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"time"

	"resow/labels/report"
	"resow/medium"
)

// DemoPlace marks the demo farm's records on every report.
const DemoPlace = "invented for the demo; no such farm"

func (f *Farm) Origin() (report.Origin, error) {
	anchor, err := f.Anchor()
	if err != nil {
		return report.Origin{}, err
	}
	return report.Origin{Farm: f.Farm, StoreID: fmt.Sprintf("%x", f.ID()[:6]), Anchor: anchor.String(), At: f.Now(),
		Demo: f.Settings.Place == DemoPlace}, nil
}

// Report is a report that every face offers.
type Report struct {
	Name  string // of the command, and in the address of its page
	About string
	Build func(*Farm, report.Origin) (report.Report, error)
}

// Reports are in the order in which they are offered.
var Reports = []Report{
	{"reuse", "How often the mats were used, with what mold, yield and cost", (*Farm).ReuseReport},
	{"retirement", "Which mats must go, which are near a limit, which went and why", (*Farm).RetirementReport},
	{"sanitation", "The log of cleaning and sanitizing of the last 30 days, with its gaps and reviews",
		func(f *Farm, o report.Origin) (report.Report, error) {
			from, to := f.Period()
			return f.SanitationReport(o, from, to)
		}},
}

func (f *Farm) ReuseReport(origin report.Origin) (report.Report, error) {
	tally, err := f.Tally()
	if err != nil {
		return report.Report{}, err
	}
	var broken error
	r := report.Reuse(report.ReuseInput{Origin: origin, Mats: f.EachMat(&broken), Tally: tally})
	return r, broken
}

// Tally reads every mat's thread, one at a time.
func (f *Farm) Tally() (*report.Tally, error) {
	t := report.NewTally(f.Farm, f.Now())
	var broken error
	err := f.Threads(func(thread []medium.Step) {
		if slices.ContainsFunc(thread, func(s medium.Step) bool { return s.Kind == medium.KindCorrect }) {
			var err error
			if thread, err = f.Thread(thread[0].Mat); err != nil {
				broken = err
				return
			}
		}
		t.Add(thread)
	}, report.TallyKinds()...)
	return t, cmp.Or(err, broken)
}

// Sown counts the sowings of the last weeks.
func (f *Farm) Sown() (n int, err error) {
	now := f.Now()
	err = f.Threads(func(thread []medium.Step) { n += report.Sown(thread, now) }, report.PaceKinds()...)
	return n, err
}

func (f *Farm) RetirementReport(origin report.Origin) (report.Report, error) {
	var broken error
	from, to := f.Period()
	r := report.Retirement(report.RetirementInput{Origin: origin, Mats: f.EachMat(&broken), From: from, To: to})
	return r, broken
}

// Period is the last thirty days.
func (f *Farm) Period() (from, to time.Time) {
	to = f.Now()
	return to.AddDate(0, 0, -30), to
}

// Reviewed counts the steps of mats that a review takes in, and the reviewer's own.
func (f *Farm) Reviewed(review medium.Step, b *medium.Review) (steps, own int, err error) {
	err = f.Steps(func(s medium.Step) error {
		if s.Mat == medium.FarmThread || !b.Covers(s, review.Recorded, f.Loc) {
			return nil
		}
		steps++
		if medium.SamePerson(s, review) {
			own++
		}
		return nil
	})
	return steps, own, err
}

func (f *Farm) SanitationReport(origin report.Origin, from, to time.Time) (report.Report, error) {
	var failed error
	steps := func(kinds ...medium.Kind) iter.Seq[medium.Step] {
		return oneByOne(func(do func(medium.Step) error) error { return f.Steps(do, kinds...) }, &failed)
	}
	r := report.Sanitation(report.SanitationInput{Origin: origin, Steps: steps, From: from, To: to})
	return r, failed
}
