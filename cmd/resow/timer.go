package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// waiter waits for a time, or until the person presses Ctrl-C, which it tells.
// After stop, Ctrl-C ends the program as usual.
type waiter struct {
	wait func(time.Duration) (interrupted bool)
	stop func()
}

func newWaiter() waiter {
	c := make(chan os.Signal, 1)
	signal.Notify(c, os.Interrupt)
	return waiter{
		wait: func(d time.Duration) bool {
			t := time.NewTimer(d)
			defer t.Stop()
			select {
			case <-c:
				return true
			case <-t.C:
				return false
			}
		},
		stop: func() { signal.Stop(c) },
	}
}

// timeSanitizing counts a contact time down. It does not keep the ledger open
// meanwhile: others work too. It gives false where the person stopped it and
// wants nothing recorded.
func (a *app) timeSanitizing(args []string, s *sanitizing) (record bool, err error) {
	if a.at != "" {
		return false, ui.Wrong("--timer counts from now on, so it goes without --at")
	}
	for _, arg := range args {
		if arg == "-" {
			return false, ui.Wrong("--timer may have to ask you something, so name the mats instead of reading them from " +
				"standard input")
		}
	}
	var need time.Duration
	mats := 0
	err = a.open(true, func(f *farm.Farm) error {
		codes, err := a.findAll(f, args, medium.KindSanitize)
		if err != nil {
			return err
		}
		mats = len(codes)
		if need, err = s.needed(a, f); err != nil {
			return err
		}
		planned := *s
		planned.wet = need
		return a.foresee(f, planned, codes)
	})
	if err != nil {
		return false, err
	}
	fmt.Fprintf(a.Err, "Keep %s wet for %s, both sides; wet again what dries. Ctrl-C stops.\n", matsText(mats),
		medium.Seconds(int(need.Seconds())))
	wet, interrupted := a.countDown(need)
	s.wet = wet.Truncate(time.Second)
	if !interrupted {
		fmt.Fprintf(a.Err, "%sTime is up after %s.\n", a.clearLine()+ui.Control(a.Err, "\a"),
			medium.Seconds(int(s.wet.Seconds())))
		return true, nil
	}
	if a.askShort(s.wet, need) {
		return true, nil
	}
	a.code = exitFailed
	return false, a.Print(map[string]any{"steps": []medium.Result{}},
		func(w io.Writer) { fmt.Fprintln(w, "Nothing was recorded.") })
}

// foresee tells before the countdown why the step would not be accepted.
func (a *app) foresee(f *farm.Farm, s sanitizing, codes []medium.Code) error {
	told, missed := map[string]bool{}, []medium.Finding{}
	for _, code := range codes {
		c, err := f.Condition(code)
		if err != nil {
			return err
		}
		b, err := s.body(a, f)
		if err != nil {
			return err
		}
		// When it is over.
		step, err := medium.Admit(c, f.Farm, medium.Step{Mat: code, By: a.initials(), Body: b}, f.Now().Add(s.wet))
		if err != nil {
			return err
		}
		for _, finding := range step.Outcome.Findings {
			if finding.Severity == medium.StepRule && !told[finding.Text] {
				ui.Say(a.Err, "%s", "As it stands it will not be accepted: "+finding.Text+".")
				told[finding.Text], missed = true, append(missed, finding)
			}
		}
	}
	printHints(a.world.err, missed)
	return nil
}

func matsText(n int) string {
	if n == 1 {
		return "the mat"
	}
	return fmt.Sprintf("%d mats", n)
}

// countDown waits until need has gone by on the clock, or for Ctrl-C, and gives
// the time that really went by.
func (a *app) countDown(need time.Duration) (wet time.Duration, interrupted bool) {
	w := a.waiter()
	defer w.stop()
	begun := a.now()
	for {
		wet = a.now().Sub(begun)
		left := need - wet
		if left <= 0 {
			return wet, false
		}
		if ui.IsTerminal(a.Err) {
			shown := (left + time.Second - 1).Truncate(time.Second)
			fmt.Fprintf(a.Err, "%s%d:%02d left ", ui.Control(a.Err, "\r"), int(shown.Minutes()), int(shown.Seconds())%60)
		}
		if w.wait(min(left, time.Second)) {
			return a.now().Sub(begun), true
		}
	}
}

func (a *app) clearLine() string {
	if ui.IsTerminal(a.Err) {
		return ui.Control(a.Err, "\r\x1b[K")
	}
	return ""
}

// askShort asks what to do with a contact time that was cut short. Anything but
// a clear yes records nothing.
func (a *app) askShort(wet, need time.Duration) bool {
	fmt.Fprintf(a.Err, "\n%sStopped after %s of %s.\nRecord the short time (r) or nothing (n)? [n] ", a.clearLine(),
		medium.Seconds(int(wet.Seconds())), medium.Seconds(int(need.Seconds())))
	answer, _ := bufio.NewReader(a.in).ReadString('\n')
	switch strings.ToLower(strings.TrimSpace(answer)) {
	case "r", "record", "short":
		return true
	}
	return false
}
