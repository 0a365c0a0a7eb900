package main

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/demo"
	"resow/medium"
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
			Name    string
			Sources map[string]string
			Rows    []struct {
				Step struct {
					At   time.Time `json:"happened_at"`
					By   string
					Kind medium.Kind
					Body map[string]any
				}
				Place string
				Crop  string `json:"crop_before"`
				Lot   string `json:"lot_before"`
			}
		}
	}
	require.NoError(t, json.Unmarshal([]byte(ask(t, path, now, "report", "sanitation", "--from", "2026-01-01", "--json")), &log))
	require.NotEmpty(t, log.Farm, "21 CFR 112.161(a)(1)(i): name of the farm")
	require.NotEmpty(t, log.Place, "21 CFR 112.161(a)(1)(i): location of the farm")
	require.NotEmpty(t, log.Anchor)
	rows := 0
	for _, s := range log.Sections {
		if s.Name != "steps" {
			continue
		}
		rows = len(s.Rows)
		require.Equal(t, map[string]string{"step.happened_at": "21 CFR 112.161(a)(1)(v)", "place": "21 CFR 112.161(a)(1)(iv)", "lot_before": "21 CFR 112.161(a)(1)(iii)",
			"step.body": "21 CFR 112.161(a)(1)(ii)", "step.body.product": "21 CFR 112.161(a)(1)(ii)", "step.body.strength_ppm": "21 CFR 112.161(a)(1)(ii)",
			"step.body.contact_s": "21 CFR 112.161(a)(1)(ii)", "step.body.method": "21 CFR 112.140(b)", "step.by": "21 CFR 112.161(a)(4)", "reviewed_by": "21 CFR 112.161(b)", "accepted": "21 CFR 112.161(a)(2)"}, s.Sources)
		for _, r := range s.Rows {
			require.False(t, r.Step.At.IsZero())
			require.NotEmpty(t, r.Step.By)
			require.Equal(t, r.Crop == "", r.Lot == "", "a crop without its lot: %v", r)
			if r.Step.Kind == medium.KindSanitize {
				require.Subset(t, slices.Collect(maps.Keys(r.Step.Body)), []string{"product", "method", "strength_ppm", "contact_s", "sides"})
			} else {
				require.Contains(t, r.Step.Body, "debris")
			}
			require.True(t, r.Crop == "" || r.Place != "", "no place after a crop: %v", r)
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
