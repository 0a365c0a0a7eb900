package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var shellWord = regexp.MustCompile(`(?:"[^"]*"|[^\s"])+`)

// readmeCommands gives the commands of one section as they stand there, each as
// its words.
func readmeCommands(t *testing.T, section string) (commands [][]string) {
	t.Helper()
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, part, found := strings.Cut(string(text), "\n## "+section+"\n")
	require.True(t, found, section)
	part, _, _ = strings.Cut(part, "\n## ")
	for line := range strings.SplitSeq(strings.ReplaceAll(part, "\\\n", " "), "\n") {
		line, isCode := strings.CutPrefix(line+" ", "    resow ")
		if line, _, _ = strings.Cut(line, " #"); !isCode {
			continue
		}
		words := shellWord.FindAllString(line, -1)
		for i := range words {
			words[i] = strings.ReplaceAll(words[i], `"`, "")
		}
		commands = append(commands, words)
	}
	return commands
}

// TestReadmeCommands runs the first lines that a newcomer copies, as they stand:
// all of them are taken, one after the other.
func TestReadmeCommands(t *testing.T) {
	begin, round := readmeCommands(t, "Begin"), readmeCommands(t, "The daily round")
	require.Len(t, begin, 4)
	require.Len(t, round, 15)
	t.Chdir(t.TempDir())
	now := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	do := func(args ...string) {
		t.Helper()
		w, out, errs := deadWorld(now)
		w.env = func(name string) string { return map[string]string{"RESOW_BY": "MK"}[name] }
		require.Equal(t, 0, run(args, w), "resow %s:\n%s%s", strings.Join(args, " "), out, errs)
		now = now.Add(10 * time.Hour)
	}
	for _, c := range begin {
		do(c...)
	}
	const mat, other = "TK7R2N81", "TE6KCV3K" // stand for codes of the reader's own
	const mesh = ",250x510mm,0.5mm,0.3mm,complies,2026-03-01\n"
	require.NoError(t, os.WriteFile("mat.csv", []byte("mat,size,aperture,thread,contact statement,contact date\n"+
		mat+mesh+other+mesh), 0o600))
	do("import", "mat.csv", "--apply", "--confirm")
	do("rinse", mat, other, "--debris", "none")
	do("dry", mat, other, "--where", "air", "--for", "8h")
	do("sanitize", mat, other, "--product", "blue drum", "--strength", "100ppm", "--contact", "2min", "--temp", "24C", "--ph", "7.2")
	do("dry", mat, other, "--where", "air", "--for", "8h")
	for _, c := range round {
		if selectors(c) > 0 {
			c = append(c, "--yes") // nobody is asked here
		}
		do(c...)
		if len(c) > 0 {
			now = now.AddDate(0, 0, map[string]int{"sow": 2, "growing": 6}[c[0]])
		}
	}
	for _, name := range []string{"labels.pdf", "reuse.pdf"} {
		written, err := filepath.Glob(name)
		require.NoError(t, err)
		require.Len(t, written, 1)
	}
}
