package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"time"

	"golang.org/x/term"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// washLoop is the wash station at a keyboard: scans in, one loud answer each.
type washLoop struct {
	farm.Wash
	a       *app
	answers []loud            // of a session in JSON
	unsure  map[string]string // request numbers of steps of which nobody knows whether they were recorded
}

func (a *app) newLoop(by string) *washLoop {
	w := &washLoop{a: a, unsure: map[string]string{}}
	w.Wash = farm.Wash{By: by, Now: a.now, Record: w.record,
		Look: func(do func(*farm.Farm) error) error { return a.open(true, do) }}
	return w
}

// record puts one step into the ledger. One of which nobody knows whether it was
// recorded is the same request when its mat is scanned again.
func (w *washLoop) record(step medium.Step) (medium.Step, error) {
	said, err := json.Marshal(step)
	if err != nil {
		return step, err
	}
	var recorded []medium.Step
	err = w.a.open(false, func(f *farm.Farm) (err error) {
		w.a.request = w.unsure[string(said)]
		recorded, err = w.a.keep(f, []medium.Step{step})
		return err
	})
	var again *againError
	if errors.As(err, &again) {
		w.unsure[string(said)] = again.number
		return step, again.err
	}
	delete(w.unsure, string(said))
	if len(recorded) == 1 { // it is on disk, whatever the closing of the file said
		return recorded[0], nil
	}
	return step, err
}

// scanLoop runs the wash station until its input ends, or Ctrl-C or Ctrl-D is
// typed.
func (a *app) scanLoop(idle time.Duration) error {
	if a.at != "" {
		return ui.Wrong("the loop records what is done now; a late entry goes through the step's own command with --at")
	}
	if err := a.open(true, func(*farm.Farm) error { return nil }); err != nil {
		return err
	}
	restore, err := rawTerminal(a.in)
	if err != nil {
		return err
	}
	defer restore()
	w := a.newLoop(a.initials())
	s := a.newScreen()
	if !a.JSON {
		s.show(w, loud{Word: "READY", color: ui.Green, Text: []string{
			"Scan your own card, then an action card, then mats. A mat alone gives its verdict.", "Ctrl-C ends the loop."}})
	}
	w.run(a.keys(), s, idle)
	if a.JSON {
		return a.Print(struct {
			Answers []loud         `json:"answers"`
			Tally   farm.WashTally `json:"tally"`
		}{w.answers, w.Tally}, nil)
	}
	s.bye(w)
	return nil
}

func (w *washLoop) run(keys <-chan []byte, s *screen, idle time.Duration) {
	var in typed
	dropped := w.a.wait(idle)
	answer := func(to farm.WashAnswer) {
		dropped = w.a.wait(idle)
		if l := loudly(to); w.a.JSON {
			w.answers = append(w.answers, l)
		} else {
			s.show(w, l)
		}
	}
	for {
		select {
		case chunk, ok := <-keys:
			lines, stop := in.feed(chunk, w.a.now())
			if !ok {
				lines = append(lines, in.rest()...)
			}
			for _, line := range lines {
				answer(w.Take(line))
			}
			if !ok || stop {
				return
			}
			s.echo(in.buffer)
		case <-w.a.wait(in.pause()):
			for _, line := range in.rest() {
				answer(w.Take(line))
			}
		case <-dropped:
			dropped = w.a.wait(idle)
			if ended, ok := w.Idle(); ok {
				answer(ended)
			}
		}
	}
}

// wait is time.After through the world; nothing to wait for is for ever.
func (a *app) wait(d time.Duration) <-chan time.Time {
	if d <= 0 {
		return nil
	}
	if a.after != nil {
		return a.after(d)
	}
	return time.After(d)
}

// keys reads what is typed, as it comes.
func (a *app) keys() <-chan []byte {
	keys := make(chan []byte)
	go func() {
		defer close(keys)
		for {
			chunk := make([]byte, 256)
			n, err := a.in.Read(chunk)
			if n > 0 {
				keys <- chunk[:n]
			}
			if err != nil {
				return
			}
		}
	}()
	return keys
}

// rawTerminal makes a terminal hand over each key at once: a scanner may end
// with Tab, or with nothing at all. Anything else stays as it is.
func rawTerminal(in io.Reader) (restore func(), err error) {
	f, ok := in.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return func() {}, nil
	}
	old, err := term.MakeRaw(int(f.Fd()))
	if err != nil {
		return nil, err
	}
	return func() { _ = term.Restore(int(f.Fd()), old) }, nil
}
