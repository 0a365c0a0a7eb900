package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestWrapBreaksLongWords(t *testing.T) {
	require.Equal(t, "a bb\n  ccc\n  ccc\n  c\n", wrap("a bb ccccccc", 5, "  "))
	require.Equal(t, "日本\n語\n", wrap("日本語", 5, "")) // two columns each: Unicode Standard Annex 11
	require.Equal(t, "日…", cut("日本語", 4))
	require.Equal(t, "abc…", cut("abcdef", 4))
	require.Equal(t, "abcd", cut("abcd", 4))
}

func TestWrapStaysInsideAndLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.RuneFrom([]rune("ab日 é")), 0, 60, -1).Draw(t, "text")
		most := rapid.IntRange(4, 30).Draw(t, "most")
		text = strings.TrimSpace(text)
		got := wrap(text, most, "  ")
		for line := range strings.Lines(got) {
			require.LessOrEqual(t, columns(strings.TrimSuffix(line, "\n")), most)
		}
		bare := func(s string) string { return strings.Join(strings.Fields(s), "") }
		require.Equal(t, bare(text), bare(got))
	})
}

// TestHelpFits holds every line of every help to 80 columns.
func TestHelpFits(t *testing.T) {
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		var help bytes.Buffer
		c.SetOut(&help)
		require.NoError(t, c.Help())
		for line := range strings.SplitSeq(help.String(), "\n") {
			if columns(line) > 80 {
				t.Errorf("%s: %d columns: %s", c.CommandPath(), columns(line), line)
			}
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(newRoot(&app{world: testWorld()}))
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func TestOutputThatCannotBeWritten(t *testing.T) {
	w := newWash(t, 3)
	for name, args := range map[string][]string{"list": {"list"}, "report": {"report", "reuse"}, "forecast": {"forecast"}, "json": {"list", "--json"}, "help": {"--help"}} {
		for _, tt := range []struct {
			err  error
			code int
			said bool
		}{{&os.PathError{Op: "write", Path: "/dev/stdout", Err: syscall.ENOSPC}, exitFailed, true}, {&os.PathError{Op: "write", Path: "|1", Err: syscall.EPIPE}, exitDone, false}} {
			var stderr bytes.Buffer
			code := run(append([]string{"--store", w.path}, args...), world{self: "resow", in: strings.NewReader(""), out: failing{tt.err}, err: &stderr,
				env: func(string) string { return "" }, now: w.clock.now, random: &seeded{}})
			require.Equal(t, tt.code, code, "%s %v", name, tt.err)
			require.Equal(t, tt.said, stderr.Len() > 0, "%s: %s", name, stderr.String())
		}
	}
}

func TestAfterTheRecordTheErrorSaysWhatIsLeft(t *testing.T) {
	a := &app{json: true, held: []byte(`{"steps": [1]}`), world: world{out: &bytes.Buffer{}, err: io.Discard, now: time.Now}}
	require.Equal(t, exitFailed, a.fail(&afterError{errors.New("the disk is full"), "resow label TK7R2N81"}))
	require.JSONEq(t, `{"steps": [1], "exit": 1, "error": "recorded, but nothing was printed: the disk is full; run `+"`resow label TK7R2N81`"+`"}`, a.world.out.(*bytes.Buffer).String())
}
