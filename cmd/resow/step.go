package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// bodyOf makes the body of a mat's step.
type bodyOf func(f *farm.Farm, code medium.Code) (medium.Body, error)

// told is what a command has to say of its mats once their steps are on disk.
type told func(f *farm.Farm, codes []medium.Code, out io.Writer) error

// stepCommand makes the command of one kind of step: it reads the codes,
// records the body that body makes for all of them in one transaction, and
// prints what became of each.
func (a *app) stepCommand(c *cobra.Command, body bodyOf, after told) {
	var replaces uint64
	var exceptRefused bool
	c.Flags().BoolVar(&exceptRefused, "except-refused", false, "record those that can be, and name the others")
	a.yesFlag(c)
	c.Flags().Uint64Var(&replaces, "replaces", 0,
		"the voided step of the mat that this one stands for, by its number in resow history")
	c.Long += dashHelp
	c.ValidArgsFunction = a.completeCodes
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
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
		steps := make([]medium.Step, len(codes))
		danger := true
		for i, code := range codes {
			b, err := body(f, code)
			if err != nil {
				return err
			}
			danger = danger && medium.ReportsDanger(b)
			steps[i] = medium.Step{Mat: code, Body: b, Replaces: replaces}
		}
		switch {
		case exceptRefused:
			return a.recordSome(f, steps, unknown, after)
		case unknown != nil && !danger:
			return noneRecorded(unknown, len(args))
		}
		if err := a.record(f, steps, after); err != nil || unknown == nil {
			return err
		}
		return fmt.Errorf("%w. The report counts for %s of this command; give the right code for the rest",
			unknown, ui.Counted(len(codes), "mat"))
	})
}

// recordSome records those steps that would not be refused, and says which were left
// out; unknown are the codes that name no mat.
func (a *app) recordSome(f *farm.Farm, steps []medium.Step, unknown error, after told) error {
	a.sign(f, steps)
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

const dashHelp = "\n\nIn the place of codes: due, again (your last act's mats), lot:R-12, crop:radish,\n" +
	"place:\"shelf A\", stage:\"to wash\", size:250x510mm, material:polyester.\nA single - reads the codes from standard input, with any white space between\n" +
	"them. All mats of a command are recorded, or none; a report of danger counts for\nthose that exist."

// noneRecorded says of what stopped one mat of several that all are recorded or none.
func noneRecorded(err error, mats int) error {
	if mats < 2 || isUnsure(err) {
		return err
	}
	return fmt.Errorf("%w. Nothing was recorded for the %d mats of this command; with --except-refused it takes the others",
		err, mats)
}

// sign says of steps who did them and when.
func (a *app) sign(f *farm.Farm, steps []medium.Step) {
	at, day, unread := a.happenedOn(f)
	for i := range steps {
		steps[i].By, steps[i].At, steps[i].Day, steps[i].Unread = a.initials(), at, day, unread
	}
}

// record puts steps into the ledger and prints what became of them.
func (a *app) record(f *farm.Farm, steps []medium.Step, after told) error {
	a.sign(f, steps)
	codes := make([]medium.Code, len(steps))
	for i := range steps {
		codes[i] = steps[i].Mat
	}
	done, err := a.keep(f, steps)
	if err != nil {
		return noneRecorded(err, len(steps))
	}
	lines := a.results(done)
	return a.Print(map[string]any{"steps": lines}, func(w io.Writer) {
		a.printRecorded(w, lines)
		if after != nil {
			a.Note(after(f, codes, w))
		}
	})
}

// results is what became of steps; one that is not accepted shows in the exit code.
func (a *app) results(steps []medium.Step) []medium.Result {
	lines := make([]medium.Result, len(steps))
	for i, s := range steps {
		lines[i] = s.Result()
		if !s.Outcome.Accepted {
			a.code = exitNotAccepted
		}
	}
	return lines
}

func (a *app) printRecorded(w io.Writer, lines []medium.Result) {
	missed, stays := 0, false
	for _, r := range lines {
		stays = stays || !r.Accepted && r.From == r.To // mold seen on an unwashed mat holds it
		word := "recorded"
		if !r.Accepted {
			word = a.Paint(ui.Yellow, "recorded, NOT ACCEPTED")
			missed++
		}
		if r.Late {
			word += " (late entry)"
		}
		move := string(r.To)
		if r.From != "" && r.From != r.To {
			move = fmt.Sprintf("%s -> %s", r.From, r.To)
		}
		fmt.Fprintf(w, "%s  %-8s  %-26s %s\n", r.Code, r.Kind, move, word)
		if len(lines) == 1 {
			printFindings(w, r.Findings)
		}
	}
	if len(lines) > 1 {
		printFindings(w, groupFindings(lines))
		fmt.Fprintf(w, "%d mats, %d accepted, %d not accepted\n", len(lines), len(lines)-missed, missed)
	}
	if stays {
		fmt.Fprintln(w, "A step that is not accepted stays on record and does not move the mat.")
	}
}

// groupFindings gives each finding of a batch once, with the mats that it is
// about.
func groupFindings(lines []medium.Result) (each []medium.Finding) {
	type key struct{ rule, text, source string }
	mats := map[key][]string{}
	of := func(f medium.Finding) key { return key{f.Rule, f.Text, f.Source} }
	for _, r := range lines {
		for _, f := range r.Findings {
			if mats[of(f)] == nil {
				each = append(each, f)
			}
			mats[of(f)] = append(mats[of(f)], r.Code.String())
		}
	}
	for i, f := range each {
		who := strings.Join(mats[of(f)], ", ")
		if len(mats[of(f)]) == len(lines) {
			who = fmt.Sprintf("all %d mats", len(lines))
		}
		each[i].Text += " (" + who + ")"
	}
	return each
}

func printFindings(w io.Writer, findings []medium.Finding) {
	for _, f := range findings {
		ui.Item(w, "  ", f.Rule+": "+f.Text)
		ui.Item(w, "    ", "limit from: "+f.Source)
	}
	printHints(w, findings)
}

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
// records them.
func (a *app) fieldCommand(c *cobra.Command, after told) *stepFlags {
	flags := a.fieldFlags(c, medium.Kind(c.Name()))
	a.stepCommand(c, func(f *farm.Farm, _ medium.Code) (medium.Body, error) { return flags.body(a, f) }, after)
	if c.Name() == string(medium.KindHold) {
		c.MarkFlagsOneRequired("reason", "dropped")
	}
	return flags
}
