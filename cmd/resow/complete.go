package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/medium"
)

type completion = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective)

func fixedWords(words ...string) completion {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return words, cobra.ShellCompDirectiveNoFileComp
	}
}

const maxCompletions = 500

func (a *app) completeCodes(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	var codes []string
	more := 0
	typed = strings.ToUpper(typed)
	_ = a.open(true, func(f *farm.Farm) error {
		return f.Conditions(func(c medium.Condition) error {
			switch {
			case !strings.HasPrefix(string(c.Code), typed) || c.Stage == medium.Retired:
			case len(codes) == maxCompletions:
				more++
			default:
				codes = append(codes, string(c.Code)+"\t"+string(c.Stage))
			}
			return nil
		})
	})
	if more > 0 {
		codes = cobra.AppendActiveHelp(codes, fmt.Sprintf("%d more: type more of the code", more))
	}
	return codes, cobra.ShellCompDirectiveNoFileComp
}

func (a *app) completeCrops(*cobra.Command, []string, string) (names []string, _ cobra.ShellCompDirective) {
	var state medium.Farm
	_ = a.open(true, func(f *farm.Farm) error {
		state = f.Farm
		return nil
	})
	crops, _ := farm.AllCrops(state)
	for _, c := range crops {
		names = append(names, c.Name)
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// completeOf proposes names of what is on file.
func (a *app) completeOf(list func(f *farm.Farm) []string) completion {
	return func(*cobra.Command, []string, string) (names []string, _ cobra.ShellCompDirective) {
		_ = a.open(true, func(f *farm.Farm) error {
			names = list(f)
			return nil
		})
		return names, cobra.ShellCompDirectiveNoFileComp
	}
}

func (a *app) completeSanitizers() completion {
	return a.completeOf(func(f *farm.Farm) (names []string) {
		for _, s := range f.Sanitizers {
			names = append(names, s.Name)
		}
		return names
	})
}

func (a *app) completeSolutions() completion {
	return a.completeOf(func(f *farm.Farm) (codes []string) {
		for _, b := range f.Bottles {
			codes = append(codes, string(b.Solution.Code)+"\t"+b.Solution.Product+", "+f.State(b, f.Now()))
		}
		return codes
	})
}

func (a *app) completePrinters() completion {
	return a.completeOf(func(f *farm.Farm) (names []string) {
		for _, p := range f.Printers {
			names = append(names, p.Name+"\t"+farm.Line(&p))
		}
		return names
	})
}
