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

// actsListed is how many acts undo --list shows.
const actsListed = 10

func (a *app) undoCommand(c *cobra.Command) {
	var list bool
	reason := "undone"
	c.Flags().BoolVar(&list, "list", false, "show the last ten acts, and take nothing back")
	c.Flags().StringVar(&reason, "reason", reason, "what was wrong")
	a.yesFlag(c)
	c.RunE = func(*cobra.Command, []string) error {
		return a.open(list, func(f *farm.Farm) error {
			if list {
				return a.listActs(f)
			}
			return a.undo(f, reason)
		})
	}
}

func (a *app) listActs(f *farm.Farm) error {
	acts, err := f.Acts(a.initials(), actsListed)
	if err != nil {
		return err
	}
	return a.Print(struct {
		Acts []farm.Act `json:"acts"`
	}{acts}, func(w io.Writer) {
		for _, act := range acts {
			void := ""
			if act.Void {
				void = "  (taken back)"
			}
			fmt.Fprintf(w, "%-12s  %-9s  %s%s\n", f.Stamp(act.Recorded), act.Kind, ui.Counted(len(act.Codes), "mat"), void)
		}
		if len(acts) == 0 {
			fmt.Fprintf(w, "Nothing was recorded by %s yet.\n", a.initials())
		}
	})
}

// undo takes back the last act that still stands; where later steps rest on it, it
// shows them and asks.
func (a *app) undo(f *farm.Farm, reason string) error {
	u, err := f.LastAct(a.initials())
	if err != nil {
		return err
	}
	what := fmt.Sprintf("%s of %s, recorded %s", u.Act.Kind, ui.Counted(len(u.Act.Steps), "mat"), f.Stamp(u.Act.Recorded))
	if len(u.Later) > 0 {
		if err := a.agree(fmt.Sprintf("Later steps rest on the last act (%s): %s.", what, laterKinds(u.Later))); err != nil {
			return err
		}
	}
	done, err := a.enter(f, u.Corrections(reason)...)
	if err != nil {
		return err
	}
	lines := a.results(done)
	return a.Print(map[string]any{"steps": lines}, func(w io.Writer) {
		ui.Say(w, "Taken back: %s. The records stay, marked as void.", what)
		for _, r := range lines {
			fmt.Fprintf(w, "%s  %s\n", r.Code, r.To)
		}
	})
}

// laterKinds counts steps by their kinds, in their order.
func laterKinds(steps []medium.Step) string {
	count := map[medium.Kind]int{}
	var texts []string
	for _, s := range steps {
		if count[s.Kind]++; count[s.Kind] == 1 {
			texts = append(texts, string(s.Kind))
		}
	}
	for i, kind := range texts {
		texts[i] = fmt.Sprintf("%d of kind %s", count[medium.Kind(kind)], kind)
	}
	return strings.Join(texts, ", ")
}
