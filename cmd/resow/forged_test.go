package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/store"
)

// hostile is text that clears the screen, turns the line round and rings.
const hostile = "\x1b[2J\x1b]0;title\x07\u202eevil\u2066\u009b1m\r\n\x00"

// requireHarmless says that a text can't do anything to a terminal.
func requireHarmless(t *testing.T, what, text string) {
	t.Helper()
	for _, r := range text {
		if r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r)) {
			t.Fatalf("%s prints %q: %q", what, r, text)
		}
	}
}

// What a forged export or backup holds reaches no terminal as it is: neither in the
// reason why it is refused, nor where it holds together and is shown.
func TestForgedExportsAndBackups(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "farm.resow")
	mustMK(t, "init", "--name", "Reed End Greens", "--store", path)
	mustMK(t, "add", "--count", "1", "--size", "250x510mm", "--store", path)
	mustMK(t, "export", "--out", filepath.Join(dir, "good.jsonl"), "--store", path)
	good, err := os.ReadFile(filepath.Join(dir, "good.jsonl"))
	require.NoError(t, err)
	quoted, err := json.Marshal(hostile)
	require.NoError(t, err)
	evil := strings.Trim(string(quoted), `"`)
	raw := strings.NewReplacer("\n", "", "\r", "").Replace(hostile)
	lines := strings.SplitAfter(string(good), "\n")
	for i, change := range [][2]string{
		{`"made_by":"`, `"made_by":"` + evil}, {`"resow_export":1,"format":2,"made_by":"`, `"resow_export":7,"format":2,"made_by":"` + evil},
		{`"store":"`, `"store":"` + evil}, {`"anchor":"`, `"anchor":"` + evil}, {`"records":`, `"` + evil + `":1,"records":`},
		{`"mat":"`, `"mat":"` + evil}, {`"kind":"`, `"kind":"` + evil}, {`"by":"`, `"by":"` + evil}, {`"hash":"`, `"hash":"` + evil}, {`"to":"`, `"to":"` + evil},
		{`"body":{`, `"body":{"` + evil + `":1,`}, {`"body":{`, `"body":{"name":"` + evil + `","Name":"a",`}, {`"happened_at":"`, `"happened_at":"` + evil},
		{`"mat":"`, `"mat":"` + raw}, {`"by":"`, raw}, {`{"resow_export":1,`, `{"resow_export":1,` + raw},
	} {
		for n := range lines {
			forged := append([]string{}, lines...)
			if forged[n] = strings.Replace(forged[n], change[0], change[1], 1); forged[n] == lines[n] {
				continue
			}
			file := filepath.Join(dir, "forged.jsonl")
			require.NoError(t, os.WriteFile(file, []byte(strings.Join(forged, "")), 0o600))
			for _, apply := range [][]string{nil, {"--apply"}, {"--json"}} {
				code, said := asMK(t, append([]string{"import", file, "--store", filepath.Join(dir, "new.resow")}, apply...)...)
				require.NotEqual(t, exitDone, code, "%d: %s", i, said)
				requireHarmless(t, change[1], said)
			}
		}
	}

	// one that holds together: its texts are as they were admitted, by whoever wrote it
	now := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	backup := filepath.Join(dir, "forged.backup")
	step := func(n uint64, body medium.Body) medium.Step {
		return medium.Step{Version: medium.Version, Mat: "TK7R2N81", At: now, Recorded: now, By: hostile, Kind: medium.KindOf(body), Body: body}
	}
	farm := step(1, &medium.FarmSettings{Name: hostile, Zone: "Europe/Dublin", Units: medium.Metric, Currency: "EUR", Paper: "a4"})
	farm.Mat = medium.FarmThread
	forged := []medium.Step{farm, step(1, &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, Layers: 1, Mark: hostile}}),
		step(2, &medium.Mold{Where: hostile}), step(3, &medium.Hold{Reason: hostile})}
	o := store.Options{Now: func() time.Time { return now }, Program: hostile}
	_, err = store.Load(backup, func(yield func(medium.Step, error) bool) {
		for _, s := range forged {
			if !yield(s, nil) {
				return
			}
		}
	}, o)
	require.NoError(t, err)
	for _, args := range [][]string{
		{"restore", backup, "--store", path}, {"restore", backup, "--store", path, "--try"}, {"restore", path, "--store", backup, "--try"}, {"restore", path, "--store", backup},
		{"verify", "--store", backup}, {"history", "TK7R2N81", "--store", backup}, {"restore", path, "--store", backup, "--replace"},
	} {
		_, said := asMK(t, args...)
		requireHarmless(t, fmt.Sprint(args), said)
	}
}
