package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) historyCommand() *cobra.Command {
	return &cobra.Command{
		Use: "history CODE", Short: "Show every step of a mat", Args: cobra.ExactArgs(1),
		Long: `History prints a mat's steps in the order in which they were recorded, with the
number that ` + "`resow correct`" + ` takes. Voided steps stay in the list. FARM shows the
records about the farm itself: policy, sanitizers, crops.`,
		Example:           "  resow history TK7R2N81\n  resow history FARM\n  resow history TK7R2N81 --json",
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(true, func(f *farm.Farm) error {
				code := medium.FarmThread
				if !strings.EqualFold(args[0], "farm") {
					var err error
					if code, err = f.Find(args[0]); err != nil {
						return err
					}
				}
				thread, err := f.Thread(code)
				if err != nil {
					return err
				}
				return a.Print(struct {
					Code  medium.Code   `json:"code"`
					Steps []medium.Step `json:"steps"`
				}{code, thread}, func(w io.Writer) { a.printThread(w, f, thread) })
			})
		},
	}
}

func (a *app) printThread(w io.Writer, f *farm.Farm, thread []medium.Step) {
	now := medium.Standings(thread)
	for i, s := range thread {
		state := ""
		switch {
		case now[i].Void:
			state = "VOID "
		case now[i].Since > 0:
			state = fmt.Sprintf("NOT COUNTED SINCE STEP %d WAS VOIDED ", now[i].Since)
		case !s.Outcome.Accepted:
			state = "NOT ACCEPTED "
		}
		lead := fmt.Sprintf("%4d  %-16s  %-5s %-9s ", s.MatSeq, s.When(f.Loc, "2006-01-02 15:04"), s.By, s.Kind)
		text := farm.Join(state+farm.Line(s.Body), f.StripText(s.Body))
		if s.Replaces > 0 {
			text += fmt.Sprintf(" (stands for step %d)", s.Replaces)
		}
		if s.SentBy != "" {
			text += fmt.Sprintf(" (sent by %s)", s.SentBy)
		}
		if s.Outcome.From != s.Outcome.To {
			text += fmt.Sprintf(" -> %s", s.Outcome.To)
		}
		if s.Outcome.Late {
			text += fmt.Sprintf(" (late entry, written %s)", f.Stamp(s.Recorded))
		}
		fmt.Fprint(w, ui.Column(lead, text, 79))
		for _, finding := range s.Outcome.Findings {
			fmt.Fprint(w, ui.Column(strings.Repeat(" ", len(lead))+"  ", finding.Text, 79))
		}
	}
}
