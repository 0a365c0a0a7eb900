package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"strings"
	"syscall"
	"testing"

	"resow/cmd/resow/ui"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"
)

// TestHelpFits holds every line of every help to 80 columns.
func TestHelpFits(t *testing.T) {
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		var help bytes.Buffer
		c.SetOut(&help)
		require.NoError(t, c.Help())
		for line := range strings.SplitSeq(help.String(), "\n") {
			if ui.Columns(line) > 80 {
				t.Errorf("%s: %d columns: %s", c.CommandPath(), ui.Columns(line), line)
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
	a := &app{Terminal: ui.Terminal{JSON: true, Held: []byte(`{"steps": [1]}`), Out: &bytes.Buffer{}, Err: io.Discard}}
	require.Equal(t, exitFailed, a.fail(&afterError{errors.New("the disk is full"), "resow label TK7R2N81"}))
	require.JSONEq(t, `{"steps": [1], "exit": 1, "error": "recorded, but nothing was printed: the disk is full; run `+"`resow label TK7R2N81`"+`"}`, a.Out.(*bytes.Buffer).String())
}
