package main

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// holdBatch is how many mats are held in one transaction. With all of a large
// recall in one, nobody else could record meanwhile.
const holdBatch = 1000

var errInterrupted = errors.New("stopped by Ctrl-C")

// holdStep refuses, before a long trace, a hold that no mat could be given.
func (a *app) holdStep(f *farm.Farm, reason string) (medium.Step, error) {
	step := medium.Step{By: a.initials(), Body: &medium.Hold{Reason: reason}}
	done, err := medium.Admit(medium.Condition{Stage: medium.ToWash}, f.Farm, step, f.Now())
	if err == nil && done.Body.(*medium.Hold).Reason != reason { // the next run looks for it
		return step, ui.Wrong("--hold: say why in one line of at most 500 bytes")
	}
	return step, err
}

// holdAll holds mats, batch after batch, each whole. Between them others use the
// ledger, and Ctrl-C stops it; what was held stays so, and the next run goes on
// from there. recorded is how many steps the ledger had when the mats were found.
func (a *app) holdAll(mats []medium.Code, step medium.Step, recorded uint64) (h farm.Holding, err error) {
	h.Held = []medium.Code{}
	tell := a.Progress("putting mats on hold", a.now)
	stop := a.waiter()
	defer stop.stop()
	done := 0
	for batch := range slices.Chunk(mats, holdBatch) {
		err := a.open(false, func(f *farm.Farm) error { return h.Hold(f, batch, step, recorded) })
		if err == nil {
			done += len(batch)
			if tell != nil {
				tell(done, len(mats))
			}
			if done < len(mats) && stop.wait(0) {
				err = errInterrupted
			}
		}
		if err != nil && done > 0 {
			err = fmt.Errorf("put on hold %s; not reached yet: %d; %w; run the same command again: it holds the rest",
				ui.Counted(len(h.Held), "mat"), len(mats)-done, err)
		}
		if err != nil {
			return h, err
		}
	}
	return h, nil
}

// printHolding says what was held, in plain numbers.
func (a *app) printHolding(w io.Writer, h farm.Holding, reason string) {
	if len(h.Held)+h.Added == 0 {
		fmt.Fprintln(w, "All of these mats are on hold or retired already.")
	} else {
		said := fmt.Sprintf("%s: %s, %q.", a.Paint(ui.Red, "ON HOLD"), ui.Counted(len(h.Held), "mat"), reason)
		ui.Say(w, "%s", said)
	}
	text := fmt.Sprintf("On hold before: %d.", h.Before)
	if h.Added > 0 {
		text += fmt.Sprintf(" Of those for something else: %d; this reason was added.", h.Added)
	}
	if h.Retired > 0 {
		text += fmt.Sprintf(" Retired, and so not held: %d.", h.Retired)
	}
	if h.Voided > 0 {
		text += fmt.Sprintf(" Not held, since the sowing on them was voided: %s; --voided holds these too.",
			ui.Counted(h.Voided, "mat"))
	}
	ui.Say(w, "%s", text)
	if h.Others {
		said := "Others recorded steps meanwhile; run the same command once more, to be sure that it has every mat."
		ui.Say(w, "%s", said)
	}
}
