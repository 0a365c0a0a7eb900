package main

import (
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// stepFlags are the flags of one kind of step, one for each of its fields.
type stepFlags struct {
	kind medium.StepKind
	*cobra.Command
}

// flagName is the flag of a field: --seed-lot for seed_lot.
func flagName(f medium.Field) string { return strings.ReplaceAll(f.Name, "_", "-") }

// fieldFlags gives a command a flag for each field of a kind of step. What is
// needed is asked for, but where a flag of the command's own can stand for it.
func (a *app) fieldFlags(c *cobra.Command, k medium.Kind, otherwise ...string) *stepFlags {
	row, _ := medium.KindNamed(k)
	flags := c.Flags()
	for _, f := range row.Asked() {
		help := f.Help
		switch {
		case len(f.Choices) > 0:
			help += ": " + ui.OrList(f.Choices)
		case f.Example != "":
			help += ": " + f.Example
		}
		switch f.Of {
		case medium.OfYesNo:
			flags.Bool(flagName(f), false, help)
		case medium.OfCrops:
			flags.StringArray(flagName(f), nil, help)
		default:
			flags.String(flagName(f), "", help)
		}
		if complete := a.completeField(f); complete != nil {
			must(c.RegisterFlagCompletionFunc(flagName(f), complete))
		}
		if f.Needed && !slices.Contains(otherwise, f.Name) {
			must(c.MarkFlagRequired(flagName(f)))
		}
	}
	return &stepFlags{row, c}
}

func (a *app) completeField(f medium.Field) completion {
	switch {
	case len(f.Choices) > 0:
		return fixedWords(f.Choices...)
	case f.Of == medium.OfCrops:
		return a.completeCrops
	case f.Of == medium.OfSolution:
		return a.completeSolutions
	case f.Of == medium.OfActive:
		return fixedWords(actives()...)
	case f.Name == "product":
		return a.completeSanitizers
	}
	return nil
}

// said gives the text of each flag that was given, or has a usual value.
func (s *stepFlags) said() map[string]string {
	said := map[string]string{}
	for _, f := range s.kind.Asked() {
		flag := s.Flags().Lookup(flagName(f))
		switch {
		case f.Of == medium.OfCrops:
			crops, err := s.Flags().GetStringArray(flagName(f))
			must(err)
			said[f.Name] = strings.Join(crops, ", ")
		case f.Of != medium.OfYesNo || flag.Changed:
			said[f.Name] = flag.Value.String()
		}
	}
	return said
}

func (s *stepFlags) body(a *app, f *farm.Farm) (medium.Body, error) {
	return a.reader(f).Body(s.kind.Kind, s.said())
}

// reader reads what is said of a step that was done at the time of --at. A time
// that can't be read is no matter yet: Admit refuses it, or takes the danger all the same.
func (a *app) reader(f *farm.Farm) farm.Reader {
	at, _, err := a.happenedOn(f)
	if at.IsZero() || err != nil {
		at = f.Now()
	}
	return farm.Reader{Farm: f.Farm, At: at}
}

// fieldCommand is the command of a kind of step that asks for its fields and
// records them, and does no more.
func (a *app) fieldCommand(k medium.Kind, short, long, example string, after func(f *farm.Farm, codes []medium.Code, out io.Writer) error) (*cobra.Command, *stepFlags) {
	var flags *stepFlags
	c := a.stepCommand(string(k), short, long, example, func(f *farm.Farm, _ medium.Code) (medium.Body, error) { return flags.body(a, f) }, after)
	flags = a.fieldFlags(c, k)
	return c, flags
}

// usually gives a flag a value that stands where nothing else is said.
func (s *stepFlags) usually(name, value string) {
	flag := s.Flags().Lookup(name)
	flag.DefValue = value
	must(flag.Value.Set(value))
}
