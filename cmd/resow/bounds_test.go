package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// The due list at its bound: what is not shown is counted, and can be had.
func TestDueCountsWhatItLeavesOut(t *testing.T) {
	const mats = 61 // the retired one and two on hold have less to say, but the holds are due
	path, _ := recallFarm(t, mats)
	due := func(args ...string) (string, int) {
		w, out, errs := deadWorld(recallDay.Add(60 * 24 * time.Hour))
		require.Equal(t, 0, run(append([]string{"due", "--mats", "--store", path}, args...), w), errs.String())
		return out.String(), strings.Count("\n"+out.String(), "\nT")
	}
	all, n := due("--all")
	require.Equal(t, mats-1, n)
	require.NotContains(t, all, "more")
	for limit, more := range map[string]string{"1": "+59 more;", "59": "+1 more;", "60": "", "61": ""} {
		text, n := due("--limit", limit)
		require.Equal(t, more != "", strings.Contains(text, " more;"), limit)
		require.Contains(t, text, more)
		require.LessOrEqual(t, n, mats-1)
	}
	text, n := due()
	require.Equal(t, 50, n)
	require.True(t, strings.HasSuffix(text, "+10 more; `resow due --mats --all` lists them too\n"))

	text, _ = due("--limit", "7", "--json")
	var doc struct {
		Total int
		Items []medium.DueItem
	}
	require.NoError(t, json.Unmarshal([]byte(text), &doc))
	require.Equal(t, mats-1, doc.Total)
	require.Len(t, doc.Items, 7)
}

// What is read up to a bound is refused behind it, never cut there.
func TestLongInputIsRefused(t *testing.T) {
	path, codes := recallFarm(t, 12)
	for _, c := range []struct {
		in   string
		says string
	}{
		{string(codes[11]) + strings.Repeat(" ", maxCodeBytes) + string(codes[10]), "more than 1 MiB"},
		{strings.Repeat(string(codes[11])+"\n", maxCodes+1), "10001 mats, and one command takes 10000: give them in several runs"},
	} {
		w, _, errs := deadWorld(recallDay.Add(time.Hour))
		w.in = strings.NewReader(c.in)
		require.Equal(t, exitUsage, run([]string{"hold", "-", "--reason", "x", "--by", "MK", "--store", path}, w))
		require.Contains(t, errs.String(), c.says)
	}
	w, out, errs := deadWorld(recallDay.Add(time.Hour))
	w.in = strings.NewReader(strings.Repeat(string(codes[11])+"\n", maxCodes))
	require.Equal(t, 0, run([]string{"hold", "-", "--reason", "x", "--by", "MK", "--store", path}, w), errs.String())
	require.Contains(t, out.String(), codes[11].String())

	plan := filepath.Join(t.TempDir(), "plan.csv")
	row := "radish,8,10,1,0,0,0,0,0,0\n"
	require.NoError(t, os.WriteFile(plan, []byte("crop,days_min,days_max,mon,tue,wed,thu,fri,sat,sun\n"+strings.Repeat(row, 1+maxPlanBytes/len(row))), 0o600))
	w, _, errs = deadWorld(recallDay)
	require.Equal(t, exitUsage, run([]string{"pool", "--plan", plan, "--store", path}, w))
	require.Contains(t, errs.String(), "larger than 1 MiB, so it is not a sowing plan")
}

// A shell that completes a code on a farm with more mats than it is told says so.
func TestCompletionCountsTheRest(t *testing.T) {
	path, _ := recallFarm(t, maxCompletions+3)
	w, out, _ := deadWorld(recallDay)
	require.Equal(t, 0, run([]string{"__complete", "scan", "--store", path, "T"}, w))
	require.Contains(t, out.String(), "_activeHelp_ 2 more: type more of the code")
	require.Equal(t, maxCompletions, strings.Count(out.String(), "\t"))
}
