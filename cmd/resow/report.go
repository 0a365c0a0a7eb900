package main

import (
	"errors"
	"iter"
	"time"

	"resow/labels/report"
	"resow/medium"
)

func (a *app) reuseReport(f *farm, origin report.Origin) (report.Report, error) {
	mats, err := a.conditions(f)
	if err != nil {
		return report.Report{}, err
	}
	in := report.ReuseInput{Origin: origin, Mats: mats}
	err = f.threads(func(thread []medium.Step) {
		in.Turns = append(in.Turns, report.Turns(thread)...)
	})
	if err != nil {
		return report.Report{}, err
	}
	return report.Reuse(in), nil
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

var errEnough = errors.New("enough")

func (a *app) sanitationReport(f *farm, origin report.Origin) (report.Report, error) {
	from, to := a.period(f)
	var failed error
	steps := iter.Seq[medium.Step](func(yield func(medium.Step) bool) {
		err := f.Steps(func(s medium.Step) error {
			if !yield(s) {
				return errEnough
			}
			return nil
		})
		if !errors.Is(err, errEnough) {
			failed = err
		}
	})
	r := report.Sanitation(report.SanitationInput{Origin: origin, Steps: steps, From: from, To: to})
	return r, failed
}
