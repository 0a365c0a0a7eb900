package main

import (
	"crypto/sha256"
	"encoding/binary"
	"os"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain makes the program available to the scripts in testdata/script. Only
// there its clock and its random source can be set: RESOW_TEST_NOW and
// RESOW_TEST_SEED.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"resow": func() { os.Exit(run(os.Args[1:], testWorld())) }})
}

func testWorld() world {
	w := world{in: os.Stdin, out: os.Stdout, err: os.Stderr, env: os.Getenv, now: time.Now, random: &seeded{seed: os.Getenv("RESOW_TEST_SEED")}}
	if text := os.Getenv("RESOW_TEST_NOW"); text != "" {
		at, err := time.Parse(time.RFC3339, text)
		if err != nil {
			panic(err)
		}
		w.now = func() time.Time { return at }
	}
	return w
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
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       os.Getenv("RESOW_UPDATE") != "",
		Setup: func(e *testscript.Env) error {
			e.Setenv("NO_COLOR", "1")
			e.Setenv("RESOW_BY", "MK")
			e.Setenv("RESOW_TEST_SEED", "1")
			e.Setenv("RESOW_TEST_NOW", "2026-11-02T08:00:00Z")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			// code NAME FILE N puts the N-th code of an add --json document into a variable.
			"code": scriptCode,
			// exits N COMMAND… runs a command that must end with that exit code.
			"exits": scriptExits,
		},
	})
}
