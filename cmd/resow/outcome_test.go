package main

import (
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/store"
)

// evil stands in every text of a ledger that somebody forged.
const evil = "x\x1b[2J\u202ey\nFORGED\tz\u200b\u009b"

// forge puts evil into every text of a body.
func forge(v reflect.Value) {
	for i := range v.NumField() {
		f := v.Field(i)
		if !v.Type().Field(i).IsExported() {
			continue
		}
		switch {
		case f.Kind() == reflect.String && f.Type() != reflect.TypeFor[medium.Code]():
			f.SetString(evil)
		case f.Kind() == reflect.Struct && f.Type() != reflect.TypeFor[time.Time]():
			forge(f)
		case f.Kind() == reflect.Slice && f.Type().Elem().Kind() == reflect.Struct:
			f.Set(reflect.MakeSlice(f.Type(), 2, 2))
			forge(f.Index(0))
			forge(f.Index(1))
		case f.Kind() == reflect.Float64:
			f.SetFloat(100)
		case f.Kind() == reflect.Int:
			f.SetInt(2)
		}
	}
}

const forgedMat, forgedBottle = medium.Code("TK7R2N81"), medium.Code("B1Q8K3VE")

// forgedLedger holds evil in every free text of every kind of record.
func forgedLedger(t *testing.T, now time.Time) string {
	path := filepath.Join(t.TempDir(), "farm.resow")
	var steps []medium.Step
	add := func(mat medium.Code, body medium.Body) {
		at := now.Add(time.Duration(len(steps)-200) * time.Minute).Truncate(time.Second)
		steps = append(steps, medium.Step{Version: medium.Version, Mat: mat, At: at, Recorded: at, By: evil[:8], Kind: medium.KindOf(body), Token: "",
			Outcome: medium.Outcome{Accepted: true, Findings: []medium.Finding{{Rule: evil, Severity: "care", Text: evil, Source: evil}}}, Body: body})
	}
	for _, kind := range medium.FarmKinds() {
		body := medium.NewBody(kind)
		forge(reflect.ValueOf(body).Elem())
		switch b := body.(type) {
		case *medium.FarmSettings:
			b.Zone, b.Units, b.Paper, b.Currency = "Europe/Dublin", medium.Metric, "a4", "EUR"
		case *medium.Solution:
			b.Code, b.GoodUntil = forgedBottle, now.Add(time.Hour)
		case *medium.Strip:
			b.Code = forgedBottle
		case *medium.Discard, *medium.PolicyChange:
			continue
		case *medium.Sanitizer:
			b.Active = "quat"
		}
		add(medium.FarmThread, body)
	}
	for _, mat := range []medium.Code{forgedMat, "T0Q9YV3M"} {
		for _, kind := range medium.Kinds() {
			body := medium.NewBody(kind)
			forge(reflect.ValueOf(body).Elem())
			switch b := body.(type) {
			case *medium.Add:
				b.Mat.Mark = evil + string(mat)
			case *medium.Relabel:
				b.NewCode, b.Mark = "", ""
			case *medium.Correct:
				b.MatSeq, b.Voids = 3, medium.KindMist
			case *medium.Retire:
				if mat == forgedMat {
					continue
				}
			}
			add(mat, body)
		}
	}
	_, err := store.Load(path, func(yield func(medium.Step, error) bool) {
		for _, s := range steps {
			if !yield(s, nil) {
				return
			}
		}
	}, store.Options{Now: func() time.Time { return now }, Random: &seeded{seed: "forged"}})
	require.NoError(t, err)
	return path
}

// Whatever a ledger, a file or an argument holds, a terminal gets text that it
// obeys in nothing, and a line never begins with what a value says.
func TestForgedTextsAreShownHarmlessly(t *testing.T) {
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	path := forgedLedger(t, now)
	table := filepath.Join(t.TempDir(), "table.csv")
	require.NoError(t, os.WriteFile(table, []byte("mat,date,step,\""+strings.ReplaceAll(evil, "z", "\xff")+"\"\nM-1,2026-01-01,\"po\x1b[2Jlish\u202e\nFORGED\",x\n"), 0o600))
	shown := 0
	for _, line := range [][]string{{"due"}, {"show", string(forgedMat)}, {"scan", string(forgedMat)}, {"history", string(forgedMat)}, {"history", "T0Q9YV3M"}, {"list"},
		{"list", "--long"}, {"trace", evil}, {"trace", "x"}, {"solution", "list"}, {"solution", "show", string(forgedBottle)}, {"sanitizer", "list"}, {"sanitizer", "show", evil},
		{"policy", "show"}, {"crop", "list"}, {"crop", "show", evil}, {"prices"}, {"prices", "show"}, {"cards", "list"}, {"report", "reuse"}, {"report", "retirement"}, {"report", "sanitation"}, {"tags", "list"}, {"tags"},
		{"forecast"}, {"forecast", string(forgedMat)}, {"pool", "--sow", "mon=2 " + evil}, {"verify"}, {"batch"}, {"mix", "--product", evil}, {"scan", evil}, {evil}, {"show", "--" + evil}, {"import", table},
		{"import", table, "--map", evil + "=by"}, {"sow", string(forgedMat), "--crop", evil, "--by", "MK"}, {"harvest", string(forgedMat), "--place", evil, "--by", "MK"},
		{"mist", string(forgedMat), "--where", "ok", "--by", evil}, {"correct", string(forgedMat), "2", "--reason", "x", "--by", "MK"}, {"review", "--from", evil, "--to", evil, "--by", "MK"}, {"init", "--name", evil, "--zone", evil}} {
		for _, more := range [][]string{nil, {"--json"}} {
			w, out, errs := deadWorld(now)
			args := append(append(slices.Clone(line), "--store", path), more...)
			run(args, w)
			for _, text := range []string{out.String(), errs.String()} {
				require.True(t, utf8.ValidString(text), "%q", args)
				before := rune(0)
				for _, r := range text {
					require.False(t, r != '\n' && r != '\t' && medium.Unprintable(before, r), "%q prints %U in %q", args, r, text)
					before = r
				}
				for l := range strings.Lines(text) {
					if strings.HasPrefix(l, "FORGED") && line[0] != "report" && line[0] != "forecast" { // these wrap their cells
						t.Errorf("%q prints a line of its own: %q", args[:len(args)-1], l)
					}
				}
				if strings.Contains(text, `\u202e`) {
					shown++
				}
			}
		}
	}
	require.Greater(t, shown, 20, "the texts are shown at all")
}
