//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/demo"
)

// program gives the program as a process of its own: this test binary under its
// name.
func program(t *testing.T) string {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	name := filepath.Join(t.TempDir(), "resow")
	require.NoError(t, os.Symlink(self, name))
	return name
}

// under runs the program under strace with further options.
func under(t *testing.T, options []string, args ...string) (code int, said string) {
	t.Helper()
	return underWith(t, nil, options, args...)
}

func underWith(t *testing.T, in *os.File, options []string, args ...string) (code int, said string) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil && deep() {
		t.Fatal("strace is needed for this check: ", err)
	}
	if err != nil {
		t.Skip("strace is not installed")
	}
	if out, err := exec.Command(strace, "-q", "-o", os.DevNull, "true").CombinedOutput(); err != nil && !deep() {
		t.Skipf("strace may not look at a process here: %v %s", err, out)
	}
	cmd := exec.Command(strace, append(append([]string{"-f", "-q"}, options...), append([]string{program(t)}, args...)...)...)
	cmd.Env = append(os.Environ(), "RESOW_BY=MK", "RESOW_TEST_NOW=2026-11-02T08:00:00Z", "RESOW_TEST_SEED=9")
	var out bytes.Buffer
	if cmd.Stdout, cmd.Stderr = &out, &out; in != nil {
		cmd.Stdin = in
	}
	err = cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), out.String()
}

// asMK runs a command in this process.
func asMK(t *testing.T, args ...string) (code int, said string) {
	t.Helper()
	w, out, errs := deadWorld(time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC))
	w.env = func(name string) string { return map[string]string{"RESOW_BY": "MK"}[name] }
	code = run(args, w)
	return code, out.String() + errs.String()
}

func mustMK(t *testing.T, args ...string) string {
	t.Helper()
	code, said := asMK(t, args...)
	require.Equal(t, exitDone, code, "%v: %s", args, said)
	return said
}

// The disk fails when a command is all but done: it says that it is not known
// whether it was recorded, and the command that it prints records it once,
// whether it was there or not.
func TestTheLastSyncFails(t *testing.T) {
	path := filepath.Join(t.TempDir(), "farm.resow")
	mustMK(t, "init", "--name", "Reed End Greens", "--store", path)
	var added struct{ Codes []string }
	require.NoError(t, json.Unmarshal([]byte(mustMK(t, "add", "--count", "2", "--size", "250x510mm", "--store", path, "--json")), &added))
	count := func() (steps, mats int) {
		history := mustMK(t, "history", added.Codes[0], "--store", path)
		return strings.Count(history, "  hold "), len(regexp.MustCompile(`(?m)^T`).FindAllString(mustMK(t, "list", "--store", path), -1))
	}
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	for _, args := range [][]string{
		{"hold", added.Codes[0], "--reason", "doubt", "--store", path},
		{"hold", added.Codes[0], added.Codes[1], "--reason", "doubt", "--store", path},
		{"add", "--count", "3", "--size", "250x510mm", "--store", path},
	} {
		steps, mats := count()
		code, said := under(t, []string{"-o", os.DevNull, "-e", "trace=fdatasync", "-e", "inject=fdatasync:error=EIO:when=1+"}, args...)
		require.Equal(t, exitFailed, code, said)
		require.Contains(t, said, "nothing was recorded")
		nowSteps, nowMats := count()
		require.Equal(t, []int{steps, mats}, []int{nowSteps, nowMats}, "the first sync: nothing was recorded")

		for range 30 { // strace counts the calls of each thread: both may not be of one
			require.NoError(t, os.WriteFile(path, before, 0o600))
			code, said = under(t, []string{"-o", os.DevNull, "-e", "trace=fdatasync", "-e", "inject=fdatasync:error=EIO:when=2"}, args...)
			if code != exitDone {
				break
			}
		}
		require.Equal(t, exitFailed, code, said)
		require.Contains(t, said, "not known whether this was recorded")
		require.NotContains(t, strings.ToLower(said), "nothing was recorded")
		again := regexp.MustCompile(`--request \S+`).FindString(said)
		require.NotEmpty(t, again, said)
		again = strings.TrimPrefix(again, "--request ")

		code, said = asMK(t, "hold", added.Codes[1], "--reason", "another command", "--store", path, "--request", again)
		require.Equal(t, exitUsage, code, said)
		require.Contains(t, said, "another command")

		repeat := append(append([]string{}, args...), "--request", again)
		require.Contains(t, mustMK(t, repeat...), "The first try has recorded this", "the system still has it")
		require.NoError(t, os.WriteFile(path, before, 0o600)) // the machine was started anew, and the disk had not taken it
		require.NotContains(t, mustMK(t, repeat...), "first try")
		wantSteps, wantMats := count()
		require.NotEqual(t, []int{steps, mats}, []int{wantSteps, wantMats}, "it is recorded now")
		require.Contains(t, mustMK(t, repeat...), "The first try has recorded this")
		nowSteps, nowMats = count()
		require.Equal(t, []int{wantSteps, wantMats}, []int{nowSteps, nowMats}, "and not twice")
		require.NoError(t, os.WriteFile(path, before, 0o600))
	}
}

// An output file has its name when the disk has all of it: a power cut leaves the
// old one or the new one.
func TestOutputIsOnTheDiskBeforeItHasItsName(t *testing.T) {
	dir := t.TempDir()
	path, log := filepath.Join(dir, "farm.resow"), filepath.Join(dir, "log")
	mustMK(t, "init", "--name", "Reed End Greens", "--store", path)
	for _, args := range [][]string{
		{"export", "--out", filepath.Join(dir, "farm.jsonl"), "--store", path},
		{"export", "--csv", filepath.Join(dir, "tables"), "--store", path},
	} {
		code, said := under(t, []string{"-y", "-o", log, "-e", "trace=write,fsync,rename,renameat,renameat2"}, args...)
		require.Equal(t, exitDone, code, said)
		text, err := os.ReadFile(log)
		require.NoError(t, err)
		event := regexp.MustCompile(`(write|fsync|rename)\w*\([^\n]*\.resow-\d+`).FindAllStringSubmatch(string(text), -1)
		require.NotEmpty(t, event)
		last := ""
		for _, e := range event {
			require.False(t, e[1] == "rename" && last == "write", "%s", text)
			last = e[1]
		}
		require.Equal(t, "rename", last)
	}
}

// A trial of an import that was killed leaves nothing that the next one does not
// clear away.
func TestKilledTrialOfAnImport(t *testing.T) {
	dir, tmp := t.TempDir(), t.TempDir()
	now := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	require.NoError(t, demo.Build(filepath.Join(dir, "demo.resow"), now))
	lines := filepath.Join(dir, "demo.jsonl")
	mustMK(t, "export", "--out", lines, "--store", filepath.Join(dir, "demo.resow"))
	left := func() int {
		entries, err := os.ReadDir(tmp)
		require.NoError(t, err)
		return len(entries)
	}
	name := program(t)
	for range 20 {
		cmd := exec.Command(name, "import", lines, "--store", filepath.Join(dir, "new.resow"))
		cmd.Env = append(os.Environ(), "TMPDIR="+tmp)
		require.NoError(t, cmd.Start())
		for range 200 {
			if time.Sleep(2 * time.Millisecond); left() > 0 {
				break
			}
		}
		require.NoError(t, cmd.Process.Kill())
		require.Error(t, cmd.Wait(), "it was killed")
		if left() > 0 {
			break
		}
	}
	require.NotZero(t, left(), "it was killed while it tried")
	t.Setenv("TMPDIR", tmp)
	require.Contains(t, mustMK(t, "import", lines, "--store", filepath.Join(dir, "new.resow")), "can be taken")
	require.Zero(t, left())
}

// At the wash station the same mat is scanned again: it is the same request.
func TestTheLastSyncFailsAtTheWashStation(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "farm.resow")
	mustMK(t, "init", "--name", "Reed End Greens", "--store", path)
	var added struct{ Codes []string }
	require.NoError(t, json.Unmarshal([]byte(mustMK(t, "add", "--count", "1", "--size", "250x510mm", "--store", path, "--json")), &added))
	var printed struct {
		Cards []struct{ Code, Action string }
	}
	require.NoError(t, json.Unmarshal([]byte(mustMK(t, "cards", "--out", filepath.Join(dir, "cards.pdf"), "--store", path, "--json")), &printed))
	card := ""
	for _, c := range printed.Cards {
		if c.Action == "rinse-roots" {
			card = c.Code
		}
	}
	require.NotEmpty(t, card)
	scans := filepath.Join(dir, "scans")
	require.NoError(t, os.WriteFile(scans, []byte(strings.Join([]string{card, added.Codes[0], added.Codes[0]}, "\n")+"\n"), 0o600))
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	said := ""
	for range 30 { // strace counts the calls of each thread: both may not be of one
		require.NoError(t, os.WriteFile(path, before, 0o600))
		in, err := os.Open(scans)
		require.NoError(t, err)
		_, said = underWith(t, in, []string{"-o", os.DevNull, "-e", "trace=fdatasync", "-e", "inject=fdatasync:error=EIO:when=2"}, "scan", "--store", path)
		require.NoError(t, in.Close())
		if strings.Contains(said, "NOT KNOWN") {
			break
		}
	}
	require.Contains(t, said, "NOT KNOWN")
	require.Contains(t, said, "it is not recorded twice")
	require.Contains(t, said, "WASH AGAIN")
	require.NotContains(t, said, "--request", "nobody types a command there")
	require.Equal(t, 1, strings.Count(mustMK(t, "history", added.Codes[0], "--store", path), "  rinse "))
}
