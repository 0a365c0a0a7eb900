package main

import (
	"fmt"
	"io"

	"resow/medium"
)

// changedStep is what may have come out differently without a voided step.
type changedStep struct {
	MatSeq uint64      `json:"mat_seq"`
	Kind   medium.Kind `json:"kind"`
	At     string      `json:"happened_at"`
	By     string      `json:"by"`
	Why    string      `json:"why"`
}

// correct voids a step, and lists what was done or decided while that step was
// taken for true.
func (a *app) correct(f *farm, code medium.Code, seq uint64, reason string) error {
	at, err := a.happened(f)
	if err != nil {
		return err
	}
	done, err := a.keep(f, []medium.Step{{Mat: code, By: a.initials(), At: at, Body: &medium.Correct{MatSeq: seq, Reason: reason}}})
	if err != nil {
		return err
	}
	thread, err := f.Thread(code)
	if err != nil {
		return err
	}
	changed := []changedStep{}
	for _, c := range medium.ChangedBy(thread, seq) {
		changed = append(changed, changedStep{MatSeq: c.Step.MatSeq, Kind: c.Step.Kind, At: c.Step.When(f.loc, stampForm), By: c.Step.By, Why: c.Why})
	}
	lines := []medium.Result{done[0].Result()}
	return a.print(struct {
		Steps   []medium.Result `json:"steps"`
		Changed []changedStep   `json:"may_have_changed"`
	}{lines, changed}, func(w io.Writer) {
		a.printRecorded(w, lines)
		if len(changed) > 0 {
			fmt.Fprintln(w, "While that step was taken for true, these followed; look at each:")
		}
		for _, c := range changed {
			fmt.Fprint(w, column(fmt.Sprintf("  step %d  ", c.MatSeq), fmt.Sprintf("%s on %s by %s: %s", c.Kind, c.At, c.By, c.Why), 79))
		}
		fmt.Fprint(w, wrap(fmt.Sprintf("What really happened is recorded with --at, and with --replaces %d where it stands for that step.", seq), 79, ""))
	})
}
