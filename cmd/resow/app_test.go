package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"
)

// A newcomer finds a command in the file of its name, and its test in another one.
func TestEveryCommandHasItsFiles(t *testing.T) {
	for _, g := range groups {
		for _, m := range g.makers {
			if m.make != nil { // the others are all that stepCommand makes
				require.FileExists(t, m.name+".go")
			}
			_, test := os.Stat(m.name + "_test.go")
			_, script := os.Stat("testdata/script/" + m.name + ".txtar")
			require.True(t, test == nil || script == nil, "%s has no test of its name", m.name)
		}
	}
}

// What help/NAME.txt holds is what the commands have: no text is for nothing, and each
// heading names a command.
func TestEveryHelpTextIsACommands(t *testing.T) {
	texts, err := filepath.Glob("help/*.txt")
	require.NoError(t, err)
	root := newRoot(&app{world: testWorld()})
	require.Len(t, texts, len(root.Commands())+1) // with the program's own
	for _, name := range texts {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		for block := range strings.SplitSeq("\n"+string(text), "\n# ") {
			heading, _, _ := strings.Cut(block, "\n")
			if heading == "" || heading == "resow" {
				continue
			}
			c, _, err := root.Find(strings.Fields(heading))
			require.NoError(t, err, heading)
			require.True(t, strings.HasPrefix("resow "+heading, c.CommandPath()), heading)
			require.Contains(t, c.Example, "resow", heading)
			require.Equal(t, heading, strings.TrimPrefix(c.Parent().CommandPath()+" "+c.Use, "resow "))
		}
	}
}

// The arguments that a heading names are those that a command takes.
func TestArgumentsOfAHeading(t *testing.T) {
	for heading, takes := range map[string][]int{"": {0}, " CODE": {1}, " [CODE]": {0, 1}, " CODE STEP": {2}, " [CODE...]": {0, 1, 2, 3},
		" CODE... | -": {1, 2, 3}, " CODE...": {1, 2, 3}, " CODE --is CODE": {1}, " FILE|FOLDER": {1}} {
		for n := range 4 {
			err := argsOf(heading)(&cobra.Command{}, make([]string, n))
			require.Equal(t, slices.Contains(takes, n), err == nil, "%q with %d", heading, n)
		}
	}
}

// A command that is named is made alone; its help, flags and group are those
// that it has among all others.
func TestOneCommandAlone(t *testing.T) {
	all := newRoot(&app{world: testWorld()})
	made := 0
	for _, g := range groups {
		for _, m := range g.makers {
			root := newRoot(&app{world: testWorld()}, m.name, "--json")
			require.Len(t, root.Commands(), 1)
			c := root.Commands()[0]
			require.Equal(t, m.name, c.Name())
			among, _, err := all.Find([]string{m.name})
			require.NoError(t, err)
			require.Equal(t, among.UsageString(), c.UsageString())
			require.Equal(t, among.GroupID, c.GroupID)
			made++
		}
	}
	require.Len(t, all.Commands(), made)
	for _, args := range [][]string{nil, {"--json", "scan"}, {"help"}, {"completion"}, {"__complete", "sc"}, {"scam"}, {"--version"}} {
		require.Len(t, newRoot(&app{world: testWorld()}, args...).Commands(), made, "%q", args)
	}
}
