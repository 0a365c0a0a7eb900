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

func (a *app) historyCommand(c *cobra.Command) {
	c.ValidArgsFunction = a.completeCodes
	c.RunE = a.reads(func(f *farm.Farm, args []string) error {
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
		return a.Print(map[string]any{"code": code, "steps": thread}, func(w io.Writer) { a.printThread(w, f, thread) })
	})
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
		ui.Item(w, lead, text)
		for _, finding := range s.Outcome.Findings {
			ui.Item(w, strings.Repeat(" ", len(lead))+"  ", finding.Text)
		}
	}
}
