package main

import (
	"cmp"
	"errors"
	"iter"
	"slices"
	"time"

	"resow/labels/report"
	"resow/medium"
)

func (a *app) reuseReport(f *farm, origin report.Origin) (report.Report, error) {
	tally, err := a.tally(f)
	if err != nil {
		return report.Report{}, err
	}
	var broken error
	r := report.Reuse(report.ReuseInput{Origin: origin, Mats: each(f.Conditions, &broken), Tally: tally})
	return r, broken
}

var errEnough = errors.New("enough")

// each gives what the store hands on straight from it, so that no more than one
// is in memory at a time. What goes wrong stands in broken.
func each[T any](read func(func(T) error) error, broken *error) iter.Seq[T] {
	return func(yield func(T) bool) {
		err := read(func(v T) error {
			if !yield(v) {
				return errEnough
			}
			return nil
		})
		if !errors.Is(err, errEnough) {
			*broken = cmp.Or(*broken, err)
		}
	}
}

// tally reads every mat's thread, one at a time.
func (a *app) tally(f *farm) (*report.Tally, error) {
	t := report.NewTally(f.Farm, f.now(a))
	var broken error
	err := f.threads(func(thread []medium.Step) {
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

// sown counts the sowings of the last weeks.
func (a *app) sown(f *farm) (n int, err error) {
	now := f.now(a)
	err = f.threads(func(thread []medium.Step) { n += report.Sown(thread, now) }, report.PaceKinds()...)
	return n, err
}

// threads gives every mat's steps, all or those of some kinds, one mat after the
// other.
func (f *farm) threads(do func([]medium.Step), kinds ...medium.Kind) error {
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
	}, kinds...)
	flush()
	return err
}

func (a *app) retirementReport(f *farm, origin report.Origin) (report.Report, error) {
	var broken error
	from, to := a.period(f)
	r := report.Retirement(report.RetirementInput{Origin: origin, Mats: each(f.Conditions, &broken), From: from, To: to})
	return r, broken
}

// period is the last thirty days.
func (a *app) period(f *farm) (from, to time.Time) {
	to = f.now(a)
	return to.AddDate(0, 0, -30), to
}
