package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"resow/cmd/resow/demo"
	"resow/cmd/resow/station"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/store"
)

// beside are one or more calls of every command. {to dry} and the like stand
// for a mat in that stage ({growing 2}: another one), {bottle} for what an
// earlier call printed.
var beside = []struct {
	line  string
	name  string // of what is kept from the output
	keeps string // pattern of it
}{
	{line: "init --store other.resow --name Other"},
	{line: "add --count 2 --size 250x510mm"},
	{line: "import mats.csv --set at=2026-11-01"},
	{line: "policy show"}, {line: "policy set max-turns --limit 25 --reason test"},
	{line: "sanitizer add quat --active quat --stock 10%wv --directions label --strength 150-200ppm --contact 1min"}, {line: "sanitizer list"}, {line: "sanitizer show quat"},
	{line: "crop list"}, {line: "crop add mizuna --tsw 2.4g --density 120 --days 8-12"},
	{line: "prices show"}, {line: "prices set --labor 15"}, {line: "cutplan --sheet 2000x1000mm --size 510x250mm=4"},
	{line: "label {ready}"}, {line: "cards"}, {line: "cards list", name: "card", keeps: `X[A-Z0-9]{3} ?[A-Z0-9]{4}`}, {line: "cards add operator --initials ZZ"}, {line: "cards withdraw {card}"},
	{line: "report reuse"}, {line: "report retirement"}, {line: "report sanitation"}, {line: "report trace {growing}"},
	{line: "scan {ready}"}, {line: "scan {growing}"}, {line: "mist {growing} --water 100mL"}, {line: "harvest {growing} --yield 300g"}, {line: "rinse {growing} --debris none"}, {line: "dry {growing} --where air --for 3h"},
	{line: "mix --product quat --make 2L --bottle", name: "bottle", keeps: `B[A-Z0-9]{3} ?[A-Z0-9]{4}`}, {line: "solution list"}, {line: "solution strip {bottle} --reads 200ppm --step 50ppm"}, {line: "solution tag {bottle}"},
	{line: "sanitize {to sanitize} --product quat --strength 180ppm --contact 1min"}, {line: "solution discard {bottle} --reason old"},
	{line: "document {airing} --contact declared --contact-date 2026-03-01"}, {line: "inspect {airing}"}, {line: "mold {growing 3} --where crop"}, {line: "cut {growing 4} --length 3mm"}, {line: "swab {growing 5} --test ATP --result pass"}, {line: "hold {growing 6} --reason floor"},
	{line: "release {growing 6} --reason clean"}, {line: "trim {ready 2} --size 100x100mm"}, {line: "relabel {ready 2} --reason worn"}, {line: "retire {ready 3} --cause wear"}, {line: "correct {growing 7} 2 --reason wrong"},
	{line: "growing"}, {line: "move {growing 2} --place shelf"}, {line: "uncover {growing 2}"}, {line: "wipe {growing 2}"},
	{line: "note {ready} --text pale"}, {line: "amend text=paler"}, {line: "undo"},
	{line: "sow {clear} --crop radish --lot L1"}, {line: "batch"}, {line: "review --from 2026-11-18 --to 2026-11-24"},
	{line: "tags check"}, {line: "tags conflict {growing 8}"}, {line: "tags quarantine --size 250x510mm --reason lost", name: "piece", keeps: `T[A-Z0-9]{3} ?[A-Z0-9]{4}`}, {line: "tags resolve {piece} --is {growing 9} --reason notch"},
	{line: "due"}, {line: "show {growing 2}"}, {line: "list"}, {line: "history {growing}"}, {line: "trace {growing 2}"}, {line: "forecast"}, {line: "pool --sow radish=3x8"},
	{line: "export --out all.jsonl"}, {line: "backup --to backups"}, {line: "verify"}, {line: "demo"}, {line: "restore nothing.backup --try"},
}

// alone are commands that are not called here, and why.
var alone = map[string]string{
	"station": "it is what the others run beside",
}

// TestEveryCommandBesideAStation runs every command twice: alone, and while a
// station under load uses the same ledger. Each must print the same. The load
// reads pages and sends one step again and again: that takes the lock for
// writing and commits, and leaves the records as they are.
func TestEveryCommandBesideAStation(t *testing.T) {
	if testing.Short() {
		t.Skip("makes the demo farm and runs every command twice")
	}
	covered := map[string]bool{}
	for _, c := range beside {
		found, _, err := newRoot(&app{}).Find(strings.Fields(strings.NewReplacer("{", "", "}", "").Replace(c.line)))
		require.NoError(t, err, c.line)
		covered[found.CommandPath()] = true
	}
	for _, path := range leaves(newRoot(&app{})) {
		if alone[strings.TrimPrefix(path, "resow ")] == "" && !covered[path] {
			t.Errorf("%q is not in the table of this test; add a call of it to beside", path)
		}
	}

	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	base := filepath.Join(t.TempDir(), "farm.resow")
	require.NoError(t, demo.Build(base, now))
	names, replayed := besideNames(t, base, now)
	first := playBeside(t, base, now, names, "")
	second := playBeside(t, base, now, names, replayed)
	for i, c := range beside {
		require.NotContains(t, second[i], "in use by another program", c.line)
		require.Equal(t, first[i], second[i], c.line)
		require.NotContains(t, first[i], "exit 2\n", "%s is wrong use and shows nothing", c.line)
	}
}

func leaves(c *cobra.Command) (paths []string) {
	if c.Name() == "help" || c.Name() == "completion" {
		return nil
	}
	for _, sub := range c.Commands() {
		paths = append(paths, leaves(sub)...)
	}
	if len(paths) == 0 && c.Runnable() { // a group of commands only says what it holds
		paths = append(paths, c.CommandPath())
	}
	return paths
}

const besideToken = "00000000000000000000000000beside"

// besideNames gives a mat for every placeholder, and the mat whose step is sent
// again and again.
func besideNames(t *testing.T, path string, now time.Time) (names map[string]string, replayed string) {
	s, err := store.Open(path, store.Options{Now: func() time.Time { return now }})
	require.NoError(t, err)
	defer s.Close()
	f, err := s.Farm()
	require.NoError(t, err)
	names = map[string]string{}
	n := map[medium.Stage]int{}
	require.NoError(t, s.Conditions(func(c medium.Condition) error {
		if word := medium.Judge(c, f, now).Word; names["clear"] == "" && (word == medium.SowIt || word == medium.SowWithCare) {
			names["clear"] = string(c.Code)
			return nil
		}
		n[c.Stage]++
		names[fmt.Sprintf("%s %d", c.Stage, n[c.Stage])] = string(c.Code)
		if n[c.Stage] == 1 {
			names[string(c.Stage)] = string(c.Code)
		}
		return nil
	}))
	replayed = names[fmt.Sprintf("growing %d", n[medium.Growing])]
	_, err = s.Record(besideToken, []medium.Step{{Mat: medium.Code(replayed), By: "MK", Body: &medium.Mist{WaterML: 100}}})
	require.NoError(t, err)
	return names, replayed
}

// playBeside runs all calls on a copy of the ledger and gives what each printed.
func playBeside(t *testing.T, base string, now time.Time, names map[string]string, replayed string) []string {
	t.Chdir(t.TempDir())
	data, err := os.ReadFile(base)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile("farm.resow", data, 0o600))
	require.NoError(t, os.WriteFile("mats.csv", []byte("name,length,width\nA1,250mm,510mm\n"), 0o600))
	path, err := filepath.Abs("farm.resow")
	require.NoError(t, err)
	if replayed != "" {
		stop := loadedStation(t, path, now, replayed)
		defer stop()
	}
	kept := map[string]string{}
	for k, v := range names {
		kept[k] = v
	}
	random := &seeded{seed: "1"}
	var printed []string
	for _, c := range beside {
		args := strings.Fields(c.line)
		for k, v := range kept {
			c.line = strings.ReplaceAll(c.line, "{"+k+"}", v)
		}
		require.NotContains(t, c.line, "{", args)
		var out, errs bytes.Buffer
		w := world{in: strings.NewReader(""), out: &out, err: &errs, now: func() time.Time { return now }, random: random,
			env: func(k string) string { return map[string]string{"RESOW_BY": "MK", "NO_COLOR": "1"}[k] }}
		code := run(strings.Fields(c.line), w)
		text := fmt.Sprintf("exit %d\n%s%s", code, out.String(), errs.String())
		if c.keeps != "" {
			found := regexp.MustCompile(c.keeps).FindString(text)
			require.NotEmpty(t, found, "%s: %s", c.line, text)
			kept[c.name] = strings.ReplaceAll(found, " ", "")
		}
		printed = append(printed, text)
	}
	return printed
}

// loadedStation starts a station on a ledger with four phones that never rest.
func loadedStation(t *testing.T, path string, now time.Time, mat string) (stop func()) {
	out := &welcome{ready: make(chan struct{})}
	errs := &bytes.Buffer{}
	a := &app{path: path, Terminal: ui.Terminal{Out: out, Err: errs, JSON: true}, world: world{in: strings.NewReader(""), out: out, err: errs, env: os.Getenv, now: func() time.Time { return now }, random: &seeded{seed: "2"}}}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- a.station(ctx, station.Config{Listen: "127.0.0.1:0"}) }()
	<-out.ready
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	phone := &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	post := func(path string, form url.Values) (int, error) {
		res, err := phone.PostForm(out.doc["address"]+path, form)
		if err != nil {
			return 0, err
		}
		_, _ = io.Copy(io.Discard, res.Body)
		return res.StatusCode, res.Body.Close()
	}
	status, err := post("/pair", url.Values{"code": {out.doc["operator_code"]}, "device": {"load"}})
	require.NoError(t, err)
	require.Equal(t, http.StatusSeeOther, status)
	_, err = post("/shift", url.Values{"initials": {"MK"}})
	require.NoError(t, err)
	var sent atomic.Int64
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			for ctx.Err() == nil {
				status, err := post("/m/"+mat+"/mist", url.Values{"token": {besideToken}, "water": {"100"}})
				if err == nil && status != http.StatusSeeOther {
					t.Errorf("the station answered %d", status)
					return
				}
				res, err := phone.Get(out.doc["address"] + "/")
				if err == nil {
					res.Body.Close()
				}
				sent.Add(1)
			}
		})
	}
	return func() {
		for sent.Load() < 20 {
			time.Sleep(10 * time.Millisecond)
		}
		cancel()
		wait.Wait()
		if err := <-ended; err != nil && !errors.Is(err, http.ErrServerClosed) {
			t.Error(err)
		}
		t.Logf("%d rounds of the load", sent.Load())
	}
}

// welcome reads the document with which a station begins.
type welcome struct {
	b     bytes.Buffer
	doc   map[string]string
	ready chan struct{}
}

func (w *welcome) Write(p []byte) (int, error) {
	w.b.Write(p)
	if w.doc == nil && json.Unmarshal(w.b.Bytes(), &w.doc) == nil {
		close(w.ready)
	}
	return len(p), nil
}
