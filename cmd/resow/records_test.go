package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/demo"
)

// ask runs the program on a ledger as a person would, and gives what it printed.
func ask(t *testing.T, path string, now time.Time, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	w := world{in: strings.NewReader(""), out: &out, err: &errs, env: func(k string) string {
		return map[string]string{"RESOW_STORE": path, "RESOW_BY": "MK"}[k]
	}, now: func() time.Time { return now }, random: &seeded{seed: "1"}}
	require.Equal(t, 0, run(args, w), "%v: %s%s", args, out.String(), errs.String())
	return out.String()
}

// The demo farm's records hold what an inspector asks for, in every row, and
// come through export and import without a changed byte.
func TestRecordsOfTheDemoFarm(t *testing.T) {
	if testing.Short() {
		t.Skip("makes the demo farm")
	}
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	dir := t.TempDir()
	path := filepath.Join(dir, "farm.resow")
	require.NoError(t, demo.Build(path, now))

	var log struct {
		Farm, Place, Anchor string
		Sections            []struct {
			Heading string
			Columns []struct{ Head, Cite string }
			Rows    [][]string
		}
	}
	require.NoError(t, json.Unmarshal([]byte(ask(t, path, now, "report", "sanitation", "--from", "2026-01-01", "--json")), &log))
	require.NotEmpty(t, log.Farm, "21 CFR 112.161(a)(1)(i): name of the farm")
	require.NotEmpty(t, log.Place, "21 CFR 112.161(a)(1)(i): location of the farm")
	require.NotEmpty(t, log.Anchor)
	rows := 0
	for _, s := range log.Sections {
		if s.Heading != "Cleaning and sanitizing steps" {
			continue
		}
		rows = len(s.Rows)
		for _, want := range []struct{ head, paragraph string }{
			{"Date and time", "21 CFR 112.161(a)(1)(v)"}, {"Place", "21 CFR 112.161(a)(1)(iv)"}, {"Crop and lot before", "21 CFR 112.161(a)(1)(iii)"},
			{"Product", "21 CFR 112.161(a)(1)(ii)"}, {"ppm", "21 CFR 112.161(a)(1)(ii)"}, {"Contact", "21 CFR 112.161(a)(1)(ii)"}, {"Other values", "21 CFR 112.161(a)(1)(ii)"},
			{"Method", "21 CFR 112.140(b)"}, {"By", "21 CFR 112.161(a)(4)"}, {"Reviewed", "21 CFR 112.161(b)"}, {"Result", "21 CFR 112.161(a)(2)"},
		} {
			at := -1
			for i, c := range s.Columns {
				if c.Head == want.head {
					at = i
					require.Equal(t, want.paragraph, c.Cite, want.head)
				}
			}
			require.GreaterOrEqual(t, at, 0, "%s asks for %s", want.paragraph, want.head)
			for _, r := range s.Rows {
				require.NotEmpty(t, r[at], "%s: %v", want.paragraph, r)
			}
		}
	}
	require.Greater(t, rows, 1000)

	first, second, again := filepath.Join(dir, "a.jsonl"), filepath.Join(dir, "b.jsonl"), filepath.Join(dir, "again.resow")
	ask(t, path, now, "export", "--out", first)
	ask(t, again, now, "import", first, "--apply")
	ask(t, again, now, "export", "--out", second)
	a, err := os.ReadFile(first)
	require.NoError(t, err)
	b, err := os.ReadFile(second)
	require.NoError(t, err)
	require.True(t, bytes.Equal(a, b))
	require.Contains(t, ask(t, again, now, "verify"), ": whole\n")
}
