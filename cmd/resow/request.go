package main

import (
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"strings"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/store"
)

// Every command that records has a request number, so that it can be repeated
// when nobody knows whether the disk took it: the number is printed then, and
// with --request the ledger tells whether it has the steps.

// numberText is Crockford's base 32, without the letters that look like digits.
var numberText = base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)

// argsLen is how many bytes of a request number are made of the command.
const argsLen = 3

// keep puts steps into the ledger under the run's request number.
func (a *app) keep(f *farm.Farm, steps []medium.Step) ([]medium.Step, error) {
	number, err := a.requestNumber(f)
	if err != nil {
		return nil, err
	}
	done, err := f.Record(number, steps)
	if isUnsure(err) {
		return nil, &againError{err: err, number: number}
	}
	return done, err
}

// requestNumber gives the number that was typed, for the first steps of a run, or
// a fresh one.
func (a *app) requestNumber(f *farm.Farm) (string, error) {
	if number := a.request; number != "" {
		a.request = ""
		return number, nil
	}
	number := make([]byte, 10)
	for {
		if _, err := io.ReadFull(a.random, number); err != nil {
			return "", fmt.Errorf("drawing a request number: %w", err)
		}
		copy(number[len(number)-argsLen:], a.argsSum())
		text := numberText.EncodeToString(number)
		if used, err := f.Recorded(text); err != nil || len(used) == 0 {
			return text, err
		}
	}
}

// argsSum is made of the command as it was typed, so that a number is not taken
// for that of another one.
func (a *app) argsSum() []byte {
	h := sha256.New()
	for i := 0; i < len(a.args); i++ {
		if a.args[i] == "--request" {
			i++
			continue
		}
		if !strings.HasPrefix(a.args[i], "--request=") {
			fmt.Fprintf(h, "%d %s", len(a.args[i]), a.args[i])
		}
	}
	return h.Sum(nil)[:argsLen]
}

// recordedBefore looks for what an earlier try of the command with this number
// recorded, and prints it. It is done then.
func (a *app) recordedBefore() (done bool, err error) {
	a.request = strings.NewReplacer("-", "", " ", "").Replace(strings.ToUpper(a.request))
	raw, err := numberText.DecodeString(a.request)
	if err != nil || len(raw) != 10 {
		return false, ui.Wrongf("--request %q: want the 16 letters and digits that the first try printed", a.request)
	}
	if string(raw[len(raw)-argsLen:]) != string(a.argsSum()) {
		return false, ui.Wrong("--request: this number was printed by another command; repeat that one word for word, " +
			"or leave --request out")
	}
	err = a.open(true, func(f *farm.Farm) error {
		steps, err := f.Recorded(a.request)
		if done = len(steps) > 0; !done || err != nil {
			return err
		}
		lines := a.results(steps)
		return a.Print(map[string]any{"repeated": true, "steps": lines}, func(w io.Writer) {
			fmt.Fprintln(w, "The first try has recorded this; nothing was added:")
			a.printRecorded(w, lines)
		})
	})
	return done, err
}

// againError says how a command is repeated of which nobody knows whether it was
// recorded.
type againError struct {
	err    error
	number string
}

func (e *againError) Error() string {
	var parts []string
	for rest := e.number; rest != ""; rest = rest[min(4, len(rest)):] {
		parts = append(parts, rest[:min(4, len(rest))])
	}
	return fmt.Sprintf("%v. To do it again without recording it twice, repeat the same command with --request %s", e.err,
		strings.Join(parts, "-"))
}

func (e *againError) Unwrap() error { return e.err }

func isUnsure(err error) bool {
	var unsure *store.UnsureError
	return errors.As(err, &unsure)
}
