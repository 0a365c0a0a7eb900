package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
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
		checkFlags(t, root, strings.ReplaceAll(c.Long, "\n", " ")) // a hint may go over a line's end
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

// Every hint in a message names a command that there is, and flags that it has.
func TestHintsNameRealCommands(t *testing.T) {
	root := newRoot(&app{world: testWorld()})
	hints := 0
	check := func(where, text string) {
		checkFlags(t, root, text)
		for _, m := range hint.FindAllStringSubmatch(text, -1) {
			hints++
			if c, _, err := root.Find(strings.Fields(m[1])); err != nil || c == root {
				t.Errorf("%s: no command resow %s", where, m[1])
			}
		}
	}
	texts, err := filepath.Glob("help/*.txt")
	require.NoError(t, err)
	for _, name := range texts {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		check(name, string(text))
	}
	for _, dir := range []string{".", "station", "moving", "demo", "../../medium", "../../store", "../../labels/report"} {
		files, err := filepath.Glob(filepath.Join(dir, "*.go"))
		require.NoError(t, err)
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
			require.NoError(t, err)
			ast.Inspect(file, func(n ast.Node) bool {
				lit, ok := n.(*ast.BasicLit)
				if !ok || lit.Kind != token.STRING {
					return true
				}
				text, err := strconv.Unquote(lit.Value)
				require.NoError(t, err)
				check(name, text)
				return true
			})
		}
	}
	require.Greater(t, hints, 80)
}

// Every flag of a hint, also one that stands without its command, is one that there is.
func TestHintsNameRealFlags(t *testing.T) {
	root := newRoot(&app{world: testWorld()})
	var known func(c *cobra.Command, flag string) bool
	known = func(c *cobra.Command, flag string) bool {
		return c.Flag(flag) != nil || slices.ContainsFunc(c.Commands(), func(sub *cobra.Command) bool { return known(sub, flag) })
	}
	hints := slices.Collect(maps.Values(ways))
	for _, f := range failures {
		hints = append(hints, f.hint)
	}
	flags := 0
	for _, text := range hints {
		for _, m := range exampleFlag.FindAllStringSubmatch(text, -1) {
			flags++
			require.True(t, known(root, m[1]), "no command has --%s: %s", m[1], text)
		}
	}
	require.Greater(t, flags, 20)
}

var hint = regexp.MustCompile("`resow ([a-z][^`]*)`")

func checkFlags(t *testing.T, root *cobra.Command, text string) {
	text = strings.ReplaceAll(text, "\\\n", " ")
	for _, line := range strings.Split(text, "\n") {
		line = strings.TrimPrefix(strings.TrimSpace(line), "| ")
		for _, part := range strings.Split(line, "resow ")[1:] {
			part, _, _ = strings.Cut(part, "  ")
			for _, end := range []string{"`", ")", ". ", "%s --"} { // of the hint; a word that is filled in may be a command
				part, _, _ = strings.Cut(part, end)
			}
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
