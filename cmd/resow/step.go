package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// named are the mats that a command is about, and what was said of single ones, by the
// names of fields.
type named struct {
	codes []medium.Code
	own   map[medium.Code]map[string]string
}

// bodyOf makes the body of a mat's step.
type bodyOf func(f *farm.Farm, mats named, code medium.Code) (medium.Body, error)

// followUp is what a command has to say of its mats once their steps are on disk.
type followUp func(f *farm.Farm, codes []medium.Code, out io.Writer) error

// stepCommand makes the command of one kind of step: it reads the codes,
// records the body that body makes for all of them in one transaction, and
// prints what became of each.
func (a *app) stepCommand(c *cobra.Command, body bodyOf, after followUp) {
	var replaces uint64
	var exceptRefused bool
	c.Flags().BoolVar(&exceptRefused, "except-refused", false, "record those that can be, and name the others")
	a.yesFlag(c)
	c.Flags().Uint64Var(&replaces, "replaces", 0,
		"the voided step of the mat that this one stands for, by its number in resow history")
	c.Long += dashHelp
	c.ValidArgsFunction = a.completeCodes
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
		args, own, err := splitValues(f, medium.Kind(c.Name()), args)
		if err != nil {
			return err
		}
		codes, unknown := a.findAll(f, args, medium.Kind(c.Name()))
		if unknown != nil && (len(codes) == 0 || selectors(args) > 0) {
			return noneRecorded(unknown, len(codes))
		}
		if err := a.agreed(f, args, codes, c.Name()); err != nil {
			return err
		}
		if replaces > 0 && len(codes) > 1 {
			return ui.Wrong("--replaces names a step of one mat; give one code")
		}
		steps, err := stepsOf(f, named{codes, own}, body)
		if err != nil {
			return err
		}
		for i := range steps {
			steps[i].Replaces = replaces
		}
		switch {
		case exceptRefused:
			return a.recordSome(f, steps, unknown, after)
		case unknown != nil && !allDanger(steps):
			return noneRecorded(unknown, len(args))
		}
		if err := a.record(f, steps, after); err != nil || unknown == nil {
			return err
		}
		return fmt.Errorf("%w. The report counts for %s of this command; give the right code for the rest",
			unknown, ui.Counted(len(codes), "mat"))
	})
}

// splitValues takes the values off arguments such as TK7R2N81=310g: each is that of its
// mat for the first field of the kind that is asked of each mat.
func splitValues(f *farm.Farm, kind medium.Kind, args []string) (plain []string,
	own map[medium.Code]map[string]string, err error) {
	row, _ := medium.KindNamed(kind)
	plain, own = make([]string, len(args)), map[medium.Code]map[string]string{}
	for i, arg := range args {
		code, value, ok := strings.Cut(arg, "=")
		plain[i] = code
		if !ok || farm.IsSelector(arg) {
			plain[i] = arg
			continue
		}
		each := slices.IndexFunc(row.Fields, func(f medium.Field) bool { return f.Each && !f.Hidden })
		if each < 0 || code == "" || value == "" {
			return nil, nil, ui.Wrongf("%q: want a code", arg)
		}
		mat, err := f.Find(code)
		if err != nil {
			return nil, nil, err
		}
		if old, twice := own[mat]; twice {
			return nil, nil, ui.Wrongf("%s has two values: %s and %s", mat, old[row.Fields[each].Name], value)
		}
		own[mat] = map[string]string{row.Fields[each].Name: value}
	}
	return plain, own, nil
}

// stepsOf makes a step for each mat.
func stepsOf(f *farm.Farm, mats named, body bodyOf) ([]medium.Step, error) {
	steps := make([]medium.Step, len(mats.codes))
	for i, code := range mats.codes {
		b, err := body(f, mats, code)
		if err != nil {
			return nil, err
		}
		steps[i] = medium.Step{Mat: code, Body: b}
	}
	return steps, nil
}

// allDanger says that every step reports danger, which counts for the mats that exist.
func allDanger(steps []medium.Step) bool {
	return !slices.ContainsFunc(steps, func(s medium.Step) bool { return !medium.ReportsDanger(s.Body) })
}

// recordSome records those steps that would not be refused, and says which were left
// out; unknown are the codes that name no mat.
func (a *app) recordSome(f *farm.Farm, steps []medium.Step, unknown error, after followUp) error {
	_ = a.sign(f, steps) // Admit refuses a time that can't be read, or takes the danger all the same
	good, refused := f.Parted(steps)
	if unknown != nil {
		refused = append(refused, unknown)
	}
	left := &farm.RefusedError{All: refused}
	switch {
	case len(good) == 0:
		return noneRecorded(left, len(steps))
	case len(refused) == 0:
		return a.record(f, good, after)
	}
	if err := a.record(f, good, after); err != nil {
		return err
	}
	return left
}

const dashHelp = `

In the place of codes: due, again (your last act's mats), lot:R-12, crop:radish,
place:"shelf A", stage:"to wash", size:250x510mm, material:polyester.
A single - reads the codes from standard input, with any white space between
them. All mats of a command are recorded, or none; a report of danger counts for
those that exist.`

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
		switch {
		case f.Of == medium.OfYesNo:
			flags.Bool(flagName(f), false, help)
		case f.Many:
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
		return a.completeSolutions()
	case f.Of == medium.OfActive:
		return fixedWords(actives()...)
	case f.Name == "product":
		return a.completeSanitizers()
	}
	return nil
}

// said gives the text of each flag that was given, or has a usual value.
func (s *stepFlags) said() map[string]string {
	said := map[string]string{}
	for _, f := range s.kind.Asked() {
		flag := s.Flags().Lookup(flagName(f))
		switch {
		case f.Many:
			each, err := s.Flags().GetStringArray(flagName(f))
			must(err)
			said[f.Name] = strings.Join(each, ", ")
		case f.Of != medium.OfYesNo || flag.Changed:
			said[f.Name] = flag.Value.String()
		}
	}
	return said
}

func (s *stepFlags) body(a *app, f *farm.Farm, own map[string]string) (medium.Body, error) {
	said := s.said()
	maps.Copy(said, own)
	return a.reader(f).Body(s.kind.Kind, said)
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
// records them.
func (a *app) fieldCommand(c *cobra.Command, after followUp) *stepFlags {
	flags := a.fieldFlags(c, medium.Kind(c.Name()))
	a.stepCommand(c, func(f *farm.Farm, mats named, code medium.Code) (medium.Body, error) {
		return flags.body(a, f, mats.own[code])
	}, after)
	return flags
}
