package main

import (
	"io"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
)

func (a *app) amendCommand(c *cobra.Command) {
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
		said := map[string]string{}
		for _, arg := range args {
			name, value, ok := strings.Cut(arg, "=")
			if !ok {
				return ui.Wrongf("%q: want what is changed as FIELD=VALUE, such as lot=R-12", arg)
			}
			said[strings.ReplaceAll(name, "-", "_")] = value
		}
		if len(said) == 0 && a.at == "" {
			return ui.Wrong("say what is changed: lot=R-12, or another time with --at")
		}
		return a.amend(f, said)
	})
}

// amend takes the last act back and records it again with what is changed.
func (a *app) amend(f *farm.Farm, said map[string]string) error {
	u, err := f.LastAct(a.initials())
	if err != nil {
		return err
	}
	at, day, err := a.happenedOn(f)
	if err != nil {
		return err
	}
	steps, err := f.Amended(u, said, at, day)
	if err != nil {
		return err
	}
	done, err := a.keep(f, steps)
	if err != nil {
		return err // all of it or nothing
	}
	lines := a.results(done)
	return a.Print(map[string]any{"steps": lines}, func(w io.Writer) {
		ui.Say(w, "%s of %s is void, and recorded again as changed:", u.Act.Kind, ui.Counted(len(u.Act.Steps), "mat"))
		for i := 1; i < len(lines); i += 2 {
			a.printRecorded(w, lines[i:i+1])
		}
	})
}
