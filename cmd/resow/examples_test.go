package main

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"
)

var exampleFlag = regexp.MustCompile(`--([a-z-]+)`)

// Every command has a help text with an example, and every flag in an example
// or in the README is one that the command has.
func TestExamplesUseRealFlags(t *testing.T) {
	root := newRoot(&app{world: testWorld()})
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		if c.Name() != "help" && c.Name() != "completion" && (c.Parent() == nil || c.Parent().Name() != "completion") {
			require.NotEmpty(t, c.Example, "%s has no example", c.CommandPath())
			require.NotEmpty(t, c.Long, "%s has no help text", c.CommandPath())
			checkFlags(t, root, c.Example)
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(root)
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	checkFlags(t, root, string(readme))
}

func checkFlags(t *testing.T, root *cobra.Command, text string) {
	text = strings.ReplaceAll(text, "\\\n", " ")
	for _, line := range strings.Split(text, "\n") {
		line = strings.TrimPrefix(strings.TrimSpace(line), "| ")
		for _, part := range strings.Split(line, "resow ")[1:] {
			part, _, _ = strings.Cut(part, "  ")
			part, _, _ = strings.Cut(part, "`")
			c, _, err := root.Find(strings.Fields(part))
			if err != nil || c == root {
				continue
			}
			for _, m := range exampleFlag.FindAllStringSubmatch(part, -1) {
				if m[1] != "help" && c.Flag(m[1]) == nil {
					t.Errorf("%s has no flag --%s: %s", c.CommandPath(), m[1], line)
				}
			}
		}
	}
}
