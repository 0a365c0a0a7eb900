package main

import (
	"embed"
	"strings"

	"github.com/spf13/cobra"
)

// What each command says of itself stands in help/NAME.txt, for itself and for the
// commands below it: a heading with its name and arguments, one line for the list of
// commands, its text, and its examples.
//
//go:embed help/*.txt
var helpTexts embed.FS

// worded makes a command of its words. path is its name, behind that of the command
// that it stands below: "solution strip".
func worded(path string) *cobra.Command {
	first, _, _ := strings.Cut(path, " ")
	text, err := helpTexts.ReadFile("help/" + first + ".txt")
	must(err)
	_, block, _ := strings.Cut("\n"+string(text), "\n# "+path)
	block, _, _ = strings.Cut(block, "\n# ")
	args, block, _ := strings.Cut(block, "\n")
	block, example, _ := strings.Cut("\n"+block, "\nExamples:\n")
	short, long, _ := strings.Cut(strings.TrimSpace(block), "\n\n")
	return &cobra.Command{Use: path[strings.LastIndex(path, " ")+1:] + args, Args: argsOf(args),
		Short: short, Long: long, Example: strings.TrimRight(example, "\n")}
}

// sub gives a command one more that stands below it.
func (a *app) sub(c *cobra.Command, name string, make func(*app, *cobra.Command)) {
	below := worded(c.Name() + " " + name)
	make(a, below)
	c.AddCommand(below)
}

// argsOf takes as many arguments as the heading names: CODE is one, [CODE] is one that
// may be left out, CODE... is one or more.
func argsOf(heading string) cobra.PositionalArgs {
	least, most := 0, 0
	for _, arg := range strings.Fields(heading) {
		switch {
		case strings.HasPrefix(arg, "--"):
			return cobra.ExactArgs(least)
		case strings.HasSuffix(arg, "...]"):
			return cobra.ArbitraryArgs
		case strings.HasSuffix(arg, "..."):
			return cobra.MinimumNArgs(least + 1)
		case strings.HasPrefix(arg, "["):
			most++
		default:
			least, most = least+1, most+1
		}
	}
	switch {
	case most == 0:
		return cobra.NoArgs
	case least < most:
		return cobra.MaximumNArgs(most)
	}
	return cobra.ExactArgs(least)
}
