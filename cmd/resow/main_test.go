package main

import (
	"crypto/sha256"
	"encoding/binary"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain makes the program available to the scripts in testdata/script. Only
// there its clock and its random source can be set: RESOW_TEST_NOW and
// RESOW_TEST_SEED. The timer moves the clock instead of waiting, and Ctrl-C comes
// after RESOW_TEST_INTERRUPT seconds.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"resow": func() { os.Exit(run(os.Args[1:], testWorld())) }})
}

func testWorld() world {
	w := world{self: "resow", in: os.Stdin, out: os.Stdout, err: os.Stderr, env: os.Getenv, now: time.Now, random: &seeded{seed: os.Getenv("RESOW_TEST_SEED")}}
	if text := os.Getenv("RESOW_TEST_NOW"); text != "" {
		at, err := time.Parse(time.RFC3339, text)
		if err != nil {
			panic(err)
		}
		w.now = func() time.Time { return at }
		w.waiter = func() waiter { return testWaiter(&at) }
	}
	return w
}

func testWaiter(clock *time.Time) waiter {
	interrupt, err := strconv.Atoi(os.Getenv("RESOW_TEST_INTERRUPT"))
	stop := clock.Add(time.Duration(interrupt) * time.Second)
	return waiter{
		wait: func(d time.Duration) bool {
			*clock = clock.Add(d)
			return err == nil && !clock.Before(stop)
		},
		stop: func() {},
	}
}

// seeded is a source of bytes that are the same in every run.
type seeded struct {
	seed string
	n    uint64
}

func (s *seeded) Read(p []byte) (int, error) {
	for i := 0; i < len(p); i += sha256.Size {
		s.n++
		sum := sha256.Sum256(binary.BigEndian.AppendUint64([]byte(s.seed), s.n))
		copy(p[i:], sum[:])
	}
	return len(p), nil
}

func TestScripts(t *testing.T) {
	if raced && testing.Short() {
		t.Skip("short, under the race detector: each command of a script is a process of its own, which takes a quarter of an hour; " +
			"the ordinary tests run them all")
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		UpdateScripts:       os.Getenv("RESOW_UPDATE") != "",
		Setup: func(e *testscript.Env) error {
			e.Setenv("NO_COLOR", "1")
			e.Setenv("RESOW_BY", "MK")
			e.Setenv("RESOW_TEST_SEED", "1")
			e.Setenv("RESOW_TEST_NOW", "2026-11-02T08:00:00Z")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			// farm begins a farm with the mats $A and $B, which are ready, and $C, which is new.
			"farm": scriptFarm,
			// code NAME FILE N puts the N-th code of an add --json document into a variable.
			"code": scriptCode,
			// bottle NAME FILE puts the code of a mix --json document's solution into a variable.
			"bottle": scriptBottle,
			// card NAME FILE ACTION puts the code of a cards --json document's first
			// card of an action into a variable.
			"card": scriptCard,
			// item NAME FILE KIND puts the code of a tags check --json line into a variable.
			"item": scriptItem,
			// feed FILE SCAN… writes a file of scans, one a line; half:CODE is a half read.
			"feed": scriptFeed,
			// answers FILE WORD,WORD… compares the large words of a scan --json session.
			"answers": scriptAnswers,
			// same FILE FILE says that two files have the same bytes.
			"same": scriptSame,
			// exits N COMMAND… runs a command that must end with that exit code.
			"exits": scriptExits,
			// later DURATION lets the clock go on.
			"later": scriptLater,
			// backup NAME DIR puts the newest backup of a folder into a variable.
			"backup": scriptBackup,
			// shorten FILE N TO writes FILE without its last N bytes.
			"shorten": scriptShorten,
		},
	})
}
