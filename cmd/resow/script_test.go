package main

import (
	"encoding/json"
	"os/exec"
	"strconv"
	"strings"

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
