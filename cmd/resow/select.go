package main

import (
	"bufio"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

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
