package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

func scriptCode(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: code NAME FILE N")
	}
	var doc struct {
		Codes []string `json:"codes"`
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &doc))
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	ts.Setenv(args[0], doc.Codes[n])
}

func scriptFarm(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: farm")
	}
	do := func(words ...string) { ts.Check(ts.Exec("resow", words...)) }
	do("init", "--name", "Reed End Greens", "--zone", "Europe/Dublin")
	do("sanitizer", "add", "blue drum", "--active", "quat", "--stock", "10%", "--density", "0.99g/mL", "--directions", "label",
		"--strength", "150-200ppm", "--contact", "2min", "--registration", "as on the label")
	do("add", "--count", "3", "--size", "250x510mm", "--aperture", "0.5mm", "--thread", "0.3mm", "--material", "polyester",
		"--contact", "complies with EU 10/2011", "--contact-date", "2026-03-01", "--json")
	var doc struct {
		Codes []string `json:"codes"`
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &doc))
	a, b, c := doc.Codes[0], doc.Codes[1], doc.Codes[2]
	ts.Setenv("A", a)
	ts.Setenv("B", b)
	ts.Setenv("C", c)
	do("rinse", a, b, "--debris", "none")
	scriptLater(ts, false, []string{"9h"})
	do("dry", a, b, "--where", "air", "--for", "8h")
	scriptLater(ts, false, []string{"1h"})
	do("sanitize", a, b, "--product", "blue drum", "--strength", "180ppm", "--contact", "2min")
	scriptLater(ts, false, []string{"10h"})
	do("dry", a, b, "--where", "air", "--for", "8h")
}

func scriptExits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND…")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	if exit, ok := err.(*exec.ExitError); ok {
		got = exit.ExitCode()
	} else if err != nil {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d: %s", got, want, strings.Join(args[1:], " "))
	}
}

// scriptLater lets the clock go on, for what takes its time.
func scriptLater(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: later DURATION")
	}
	d, err := time.ParseDuration(args[0])
	ts.Check(err)
	now, err := time.Parse(time.RFC3339, ts.Getenv("RESOW_TEST_NOW"))
	ts.Check(err)
	ts.Setenv("RESOW_TEST_NOW", now.Add(d).Format(time.RFC3339))
}

func scriptCard(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: card NAME FILE ACTION")
	}
	var doc struct {
		Cards []struct{ Code, Action string }
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &doc))
	for _, c := range doc.Cards {
		if c.Action == args[2] {
			ts.Setenv(args[0], c.Code)
			return
		}
	}
	ts.Fatalf("no card %s in %s", args[2], args[1])
}

func scriptSame(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 2 {
		ts.Fatalf("usage: same FILE FILE")
	}
	if same := ts.ReadFile(args[0]) == ts.ReadFile(args[1]); same == neg {
		ts.Fatalf("%s and %s: the same is %v", args[0], args[1], same)
	}
}

func scriptItem(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: item NAME FILE KIND")
	}
	var doc struct {
		Items []struct{ Code, Kind string }
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &doc))
	for _, it := range doc.Items {
		if it.Kind == args[2] {
			ts.Setenv(args[0], it.Code)
			return
		}
	}
	ts.Fatalf("no item %s in %s", args[2], args[1])
}

func scriptFeed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: feed FILE SCAN…")
	}
	var lines []string
	for _, scan := range args[1:] {
		if code, ok := strings.CutPrefix(scan, "half:"); ok {
			scan = code[:5]
		}
		lines = append(lines, scan)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Join(lines, "\n")+"\n"), 0o600))
}

func scriptAnswers(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: answers FILE WORD,WORD…")
	}
	var doc struct {
		Answers []struct{ Answer string }
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &doc))
	var got []string
	for _, a := range doc.Answers {
		got = append(got, a.Answer)
	}
	want := strings.Split(strings.Join(args[1:], " "), ",")
	if strings.Join(got, ",") != strings.Join(want, ",") {
		ts.Fatalf("answers\n  %s, want\n  %s", strings.Join(got, ", "), strings.Join(want, ", "))
	}
}

func scriptBackup(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: backup NAME DIR")
	}
	files, err := filepath.Glob(filepath.Join(ts.MkAbs(args[1]), "*.backup"))
	ts.Check(err)
	if len(files) == 0 {
		ts.Fatalf("no backup in %s", args[1])
	}
	slices.Sort(files)
	ts.Setenv(args[0], files[len(files)-1])
}

func scriptShorten(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: shorten FILE N TO")
	}
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	text := ts.ReadFile(args[0])
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), []byte(text[:len(text)-n]), 0o600))
}
