package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
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
func (a *app) correct(f *farm.Farm, code medium.Code, seq uint64, reason string) error {
	at, err := a.happened(f)
	if err != nil {
		return err
	}
	done, err := a.keep(f, []medium.Step{{Mat: code, By: a.initials(), At: at,
		Body: &medium.Correct{MatSeq: seq, Reason: reason}}})
	if err != nil {
		return err
	}
	thread, err := f.Thread(code)
	if err != nil {
		return err
	}
	changed := []changedStep{}
	for _, c := range medium.ChangedBy(thread, seq) {
		changed = append(changed, changedStep{MatSeq: c.Step.MatSeq, Kind: c.Step.Kind,
			At: c.Step.When(f.Loc, farm.StampForm), By: c.Step.By, Why: c.Why})
	}
	later, fixed := laterSteps(thread, seq)
	lines := []medium.Result{done[0].Result()}
	return a.Print(struct {
		Steps   []medium.Result `json:"steps"`
		Changed []changedStep   `json:"may_have_changed"`
	}{lines, changed}, func(w io.Writer) {
		a.printRecorded(w, lines)
		if len(changed) > 0 {
			fmt.Fprintln(w, "These steps followed while that one still counted; look at each:")
		}
		for _, c := range changed {
			ui.Item(w, fmt.Sprintf("  step %d  ", c.MatSeq), fmt.Sprintf("%s on %s by %s: %s", c.Kind, c.At, c.By, c.Why))
		}
		text := fmt.Sprintf("If something else happened, record it now, with --at for the time; add --replaces %d if "+
			"that was the same kind of step (%s).", seq, done[0].Body.(*medium.Correct).Voids)
		if len(later) > 0 {
			text = fmt.Sprintf("Later steps still count: %s. Something else can't be recorded in front of them: void each "+
				"of them too, then record what happened in its order, with --at for the time and --replaces for the step that "+
				"it stands for.",
				strings.Join(later, ", "))
		}
		if fixed > 0 {
			text = fmt.Sprintf("Step %d, a relabeling, came later and can't be voided: if something else happened, record "+
				"it with a time after that.", fixed)
		}
		ui.Tell(w, "%s", text)
	})
}

// laterSteps numbers the steps after one that were not voided; fixed is the last of
// them that can't be.
func laterSteps(thread []medium.Step, seq uint64) (later []string, fixed uint64) {
	voided := medium.Voided(thread)
	for _, s := range thread {
		if s.MatSeq <= seq || s.Kind == medium.KindCorrect || voided[s.MatSeq] {
			continue
		}
		later = append(later, strconv.FormatUint(s.MatSeq, 10))
		if s.Kind == medium.KindRelabel {
			fixed = s.MatSeq
		}
	}
	return later, fixed
}

func (a *app) correctCommand(c *cobra.Command) {
	var reason string
	c.ValidArgsFunction = a.completeCodes
	c.RunE = func(_ *cobra.Command, args []string) error {
		seq, err := strconv.ParseUint(args[1], 10, 32)
		if err != nil {
			return ui.Wrongf("step %q: want its number in `resow history`", args[1])
		}
		if strings.EqualFold(args[0], "farm") {
			return ui.Wrong("a record about the farm is not voided: record it again, and the newer one counts (resow " +
				"policy set, sanitizer add, solution strip, crop add, prices set); `resow report sanitation` shows both where " +
				"a step relied on the older one")
		}
		return a.open(false, func(f *farm.Farm) error {
			code, err := f.Find(args[0])
			if err != nil {
				return err
			}
			return a.correct(f, code, seq, reason)
		})
	}
	c.Flags().StringVar(&reason, "reason", "", "what is wrong with it")
	must(c.MarkFlagRequired("reason"))
}
