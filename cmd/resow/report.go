package main

import (
	"time"

	"resow/labels/report"
	"resow/medium"
)

func (a *app) reuseReport(f *farm, origin report.Origin) (report.Report, error) {
	mats, err := a.conditions(f)
	if err != nil {
		return report.Report{}, err
	}
	tally, err := a.tally(f)
	if err != nil {
		return report.Report{}, err
	}
	return report.Reuse(report.ReuseInput{Origin: origin, Mats: mats, Tally: tally}), nil
}

// tally reads every mat's thread, one at a time.
func (a *app) tally(f *farm) (*report.Tally, error) {
	t := report.NewTally(f.Farm, f.now(a))
	return t, f.threads(t.Add)
}

// threads gives every mat's steps, one mat after the other.
func (f *farm) threads(do func([]medium.Step)) error {
	var thread []medium.Step
	flush := func() {
		if len(thread) > 0 && thread[0].Mat != medium.FarmThread {
			do(thread)
		}
		thread = thread[:0]
	}
	err := f.Steps(func(s medium.Step) error {
		if len(thread) > 0 && thread[0].Mat != s.Mat {
			flush()
		}
		thread = append(thread, s)
		return nil
	})
	flush()
	return err
}

func (a *app) retirementReport(f *farm, origin report.Origin) (report.Report, error) {
	mats, err := a.conditions(f)
	if err != nil {
		return report.Report{}, err
	}
	from, to := a.period(f)
	return report.Retirement(report.RetirementInput{Origin: origin, Mats: mats, From: from, To: to}), nil
}

// period is the last thirty days.
func (a *app) period(f *farm) (from, to time.Time) {
	to = f.now(a)
	return to.AddDate(0, 0, -30), to
}
