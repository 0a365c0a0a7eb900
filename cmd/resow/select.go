package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// What one command takes at most: mats, and bytes of their codes.
const (
	maxCodes     = 10000
	maxCodeBytes = 1 << 20
)

// findAll gives the mats that the arguments name, each once, in their order: by codes,
// or by selectors for the step that is to be done. A single dash reads further codes
// from standard input, with any white space between them. With an error it gives those
// that name a mat.
func (a *app) findAll(f *farm.Farm, args []string, step medium.Kind) ([]medium.Code, error) {
	switch selectors(args) {
	case 0:
	case len(args):
		return f.Select(args, step, a.initials())
	default:
		return nil, ui.Wrong("codes and selectors (" + strings.Join(farm.SelectorNames(), " ") +
			") do not go together: give one or the other")
	}
	texts, err := a.expand(args)
	if err != nil {
		return nil, err
	}
	codes, twice, err := f.FindAll(texts)
	if len(twice) > 0 && err == nil {
		a.Remark(ui.Some(twice, 10) + " named more than once, taken once")
	}
	return codes, err
}

func (a *app) expand(args []string) ([]string, error) {
	var texts []string
	for _, arg := range args {
		if arg != "-" {
			texts = append(texts, arg)
			continue
		}
		in, err := io.ReadAll(io.LimitReader(a.in, maxCodeBytes+1))
		if err != nil {
			return nil, err
		}
		if len(in) > maxCodeBytes {
			return nil, ui.Wrong("more than 1 MiB on standard input, where codes were asked for: give them in several runs")
		}
		texts = append(texts, farm.CodesIn(string(in))...)
	}
	if len(texts) == 0 {
		return nil, ui.Wrong("name at least one mat: its code, or - to read codes from standard input")
	}
	if len(texts) > maxCodes {
		return nil, ui.Wrongf("%d mats, and one command takes %d: give them in several runs", len(texts), maxCodes)
	}
	return texts, nil
}

// selectors counts the arguments that name mats by what they have in common.
func selectors(args []string) (n int) {
	for _, arg := range args {
		if farm.IsSelector(arg) {
			n++
		}
	}
	return n
}

func (a *app) yesFlag(c *cobra.Command) {
	c.Flags().BoolVar(&a.yes, "yes", false, "do not ask, for programs")
}

// agreed asks a person about two mats or more that were not named one by one.
func (a *app) agreed(f *farm.Farm, args []string, codes []medium.Code, doing string) error {
	if selectors(args) == 0 || len(codes) < 2 {
		return nil
	}
	what, err := f.Summary(codes)
	if err != nil {
		return err
	}
	return a.agree(fmt.Sprintf("%s %s: %s.", doing, ui.Counted(len(codes), "mat"), what))
}

// agree asks whether what is said is to be recorded. Where nobody can be asked, --yes
// has to say it.
func (a *app) agree(what string) error {
	switch {
	case a.yes:
		return nil
	case !a.canAsk():
		return ui.Wrong(what + " Nobody can be asked here: add --yes")
	case !a.ask(what + " Record it? Type y: "):
		return ui.Wrong("nothing was recorded")
	}
	return nil
}

func (a *app) canAsk() bool {
	in, ok := a.in.(*os.File)
	return ok && !a.JSON && ui.IsTerminal(in)
}

// ask asks a question that y or yes says yes to.
func (a *app) ask(question string) bool {
	fmt.Fprint(a.Out, strings.TrimRight(ui.Wrap(question, 78, ""), "\n")+" ")
	line, _ := bufio.NewReader(a.in).ReadString('\n')
	answer := strings.ToLower(strings.TrimSpace(line))
	return answer == "y" || answer == "yes"
}
