package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// The demo must show its three verdicts on any day of the year, whatever the
// hour, and be the same farm for the same moment.
func TestDemoShowsThreeVerdicts(t *testing.T) {
	for _, now := range []time.Time{
		time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC),
		time.Date(2027, 3, 28, 1, 30, 0, 0, time.UTC), // clocks go forward
		time.Date(2028, 2, 29, 23, 0, 0, 0, time.UTC),
		time.Date(2026, 7, 1, 17, 29, 0, 0, time.UTC),
	} {
		dir := t.TempDir()
		out := strings.ReplaceAll(demoOutput(t, dir, now), dir, "demo")
		for _, word := range []medium.Word{medium.SowIt, medium.DoNotSow, medium.RetireMat} {
			require.Regexp(t, `(?m)^T\w{3} \w{4}   `+strings.ToUpper(string(word)), out, now)
		}
		requireAnswers(t, out)
		for _, line := range strings.Split(out, "\n") {
			require.LessOrEqual(t, len([]rune(line)), 80, line)
		}
		require.NotContains(t, strings.ToLower(out), " safe")
	}
}

// requireAnswers holds the order of the page: each answer stands under its own
// command, and no command is left without one.
func requireAnswers(t *testing.T, out string) {
	t.Helper()
	parts := strings.Split(out, "\n$ resow ")
	require.Len(t, parts, 5, "a heading, three scans and the due list: %s", out)
	require.NotContains(t, parts[0], "CODE", "nothing is answered before it is asked")
	for _, part := range parts[1:4] {
		code := strings.TrimPrefix(strings.SplitN(part, "\n", 2)[0], "scan ")
		require.Regexp(t, `^scan \w{8}\n`+code[:4]+" "+code[4:]+"   [A-Z ]+\n", part)
		require.NotContains(t, part, "WHY")
	}
	require.Regexp(t, `^due --within 12h\n\w+ +\d+ mats?  .*\n +resow \w+ due`, parts[4])
}

// The sowing that the demo proposes is one that nothing is held against.
func TestDemoProposesASoundSowing(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	sow := regexp.MustCompile(`(?m)sow T\w+ --crop.*$`).FindString(demoOutput(t, dir, now))
	require.NotEmpty(t, sow)
	w, out, errs := deadWorld(now)
	require.Equal(t, 0, run(append(strings.Fields(sow), "--by", "ME", "--store", filepath.Join(dir, demoFiles.store)), w), "%s %s", out, errs)
	require.NotContains(t, out.String()+errs.String(), "Check the seed")
}

func TestDemoIsDeterministic(t *testing.T) {
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	a, b := t.TempDir(), t.TempDir()
	require.Equal(t, strings.ReplaceAll(demoOutput(t, a, now), a, ""), strings.ReplaceAll(demoOutput(t, b, now), b, ""))
	for _, name := range []string{demoFiles.labels, demoFiles.reuse, demoFiles.retirement} {
		first, err := os.ReadFile(filepath.Join(a, name))
		require.NoError(t, err)
		second, err := os.ReadFile(filepath.Join(b, name))
		require.NoError(t, err)
		require.True(t, bytes.Equal(first, second), name)
	}
}

func TestDemoFarmHasMixedFates(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	demoOutput(t, dir, now)
	w, out, _ := deadWorld(now)
	require.Equal(t, 0, run([]string{"list", "--json", "--store", filepath.Join(dir, demoFiles.store)}, w))
	var doc struct{ Mats []listItem }
	require.NoError(t, json.Unmarshal(out.Bytes(), &doc))
	require.GreaterOrEqual(t, len(doc.Mats), 60)
	stages := map[medium.Stage]int{}
	turns := 0
	for _, m := range doc.Mats {
		stages[m.Stage]++
		turns = max(turns, m.Turn)
	}
	require.GreaterOrEqual(t, len(stages), 5, "%v", stages)
	require.LessOrEqual(t, turns, 20)
	require.GreaterOrEqual(t, turns, 15)

	w, out, _ = deadWorld(now)
	require.Equal(t, 0, run([]string{"verify", "--store", filepath.Join(dir, demoFiles.store)}, w), out)
}

// A demo never takes the place of a real farm's ledger.
func TestDemoLeavesARealFarmAlone(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	path := filepath.Join(dir, demoFiles.store)
	w, _, _ := deadWorld(now)
	require.Equal(t, 0, run([]string{"init", "--name", "Reed End Greens", "--by", "MK", "--store", path}, w))
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	w, _, _ = deadWorld(now)
	require.Equal(t, exitUsage, run([]string{"demo", "--dir", dir}, w))
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.Equal(before, after))
}

func demoOutput(t *testing.T, dir string, now time.Time) string {
	w, out, errs := deadWorld(now)
	require.Equal(t, 0, run([]string{"demo", "--dir", dir}, w), errs.String())
	return out.String()
}

// deadWorld is a world without a terminal whose clock stands still.
func deadWorld(now time.Time) (w world, out, errs *bytes.Buffer) {
	out, errs = &bytes.Buffer{}, &bytes.Buffer{}
	w = testWorld()
	w.in, w.out, w.err = strings.NewReader(""), out, errs
	w.now = func() time.Time { return now }
	return w, out, errs
}
