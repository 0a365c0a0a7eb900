package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) policyCommand(c *cobra.Command) {
	c.Long += fileIsOpen
	a.sub(c, "show", (*app).policyShowCommand)
	a.sub(c, "set", (*app).policySetCommand)
}

// ruleInForce is one line of policy show --json.
type ruleInForce struct {
	medium.Rule
	On      bool    `json:"on"`
	Limit   float64 `json:"limit"`
	InTurns float64 `json:"limit_window,omitempty"`
	Changed bool    `json:"changed"`
}

func (a *app) policyShowCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		rules := make([]ruleInForce, len(medium.Rules))
		for i, r := range medium.Rules {
			s := f.Policy.Setting(r.Name)
			rules[i] = ruleInForce{Rule: r, On: s.On, Limit: s.Limit, InTurns: s.Window}
			for _, own := range f.Policy.Settings {
				rules[i].Changed = rules[i].Changed || own.Rule == r.Name
			}
		}
		return a.Print(struct {
			Version int           `json:"version"`
			Rules   []ruleInForce `json:"rules"`
		}{f.Policy.Version, rules}, func(w io.Writer) {
			fmt.Fprintf(w, "Policy of %s, version %d\n", medium.Visible(f.Settings.Name), f.Policy.Version)
			for _, r := range rules {
				printRule(w, r)
			}
		})
	})
}

func printRule(w io.Writer, r ruleInForce) {
	limit := fmt.Sprintf("%g %s", r.Limit, r.Unit)
	switch {
	case r.Fixed:
		limit = "always"
	case !r.On:
		limit = "off"
	case r.InTurns > 0:
		limit += fmt.Sprintf(", window %g turns", r.InTurns)
	}
	star := " "
	if r.Changed {
		star = "*"
	}
	fmt.Fprintf(w, "%s %-7s %-21s %s\n", star, r.Severity, r.Name, limit)
	fmt.Fprint(w, ui.Wrap("            "+r.About, 79, "            "))
	fmt.Fprint(w, ui.Wrap("            from: "+r.Source, 79, "            "))
}

func (a *app) policySetCommand(c *cobra.Command) {
	var limit, window float64
	var off bool
	var reason string
	c.Long += fileIsOpen
	c.Flags().Float64Var(&limit, "limit", 0, "the new figure")
	c.Flags().Float64Var(&window, "window", 0, "the second figure of a rule that has one, in turns")
	c.Flags().BoolVar(&off, "off", false, "switch the rule off")
	c.Flags().StringVar(&reason, "reason", "", "why")
	required(c, "reason")
	c.ValidArgsFunction = fixedWords(ruleNames()...)
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
		rule, ok := medium.RuleNamed(args[0])
		if !ok {
			return &medium.UnknownError{What: "rule", Name: args[0]}
		}
		old := f.Policy.Setting(args[0])
		set := old
		set.On = !off
		if c.Flags().Changed("limit") {
			set.Limit = limit
		}
		if c.Flags().Changed("window") {
			set.Window = window
		}
		if set == old && !rule.Fixed {
			return ui.Wrongf("%s is set to that already (`resow policy show`); nothing was changed", rule.Name)
		}
		return a.recordFarm(f, &medium.PolicyChange{Setting: set, Reason: reason})
	})
}

func ruleNames() []string {
	names := make([]string, len(medium.Rules))
	for i, r := range medium.Rules {
		names[i] = r.Name
	}
	return names
}
