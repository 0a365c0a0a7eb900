package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// happened reads --at; the zero time stands for now.
func (a *app) happened(f *farm.Farm) (time.Time, error) {
	if a.at == "" {
		return time.Time{}, nil
	}
	return amount.At(a.at, f.Now())
}

// happenedOn reads --at of a step about a mat, where a day alone is enough.
func (a *app) happenedOn(f *farm.Farm) (at time.Time, day bool, err error) {
	if a.at == "" {
		return time.Time{}, false, nil
	}
	return amount.AtDay(a.at, f.Now())
}

// sign says of steps who did them and when. Its error is a time that can't be read,
// which the steps bear too.
func (a *app) sign(f *farm.Farm, steps []medium.Step) error {
	at, day, unread := a.happenedOn(f)
	for i := range steps {
		steps[i].By, steps[i].At, steps[i].Day, steps[i].Unread = a.initials(), at, day, unread
	}
	return unread
}

// enter puts steps into the ledger under the run's initials, at the time of --at.
func (a *app) enter(f *farm.Farm, steps ...medium.Step) ([]medium.Step, error) {
	if err := a.sign(f, steps); err != nil {
		return nil, err
	}
	return a.keep(f, steps)
}

// recordFarm records something about the farm, and says so.
func (a *app) recordFarm(f *farm.Farm, body medium.Body) error {
	done, err := a.enter(f, medium.Step{Mat: medium.FarmThread, Body: body})
	if err != nil {
		return err
	}
	return a.Print(done[0], func(w io.Writer) {
		ui.Say(w, "recorded %s: %s", done[0].Kind, farm.Line(done[0].Body))
		printFindings(w, done[0].Outcome.Findings)
	})
}

// record puts steps into the ledger and prints what became of them.
func (a *app) record(f *farm.Farm, steps []medium.Step, after followUp) error {
	_ = a.sign(f, steps) // Admit refuses a time that can't be read, or takes the danger all the same
	codes := make([]medium.Code, len(steps))
	for i := range steps {
		codes[i] = steps[i].Mat
	}
	done, err := a.keep(f, steps)
	if err != nil {
		return noneRecorded(err, len(steps))
	}
	lines := a.results(done)
	return a.Print(map[string]any{"steps": lines}, func(w io.Writer) {
		a.printRecorded(w, lines)
		if after != nil {
			a.Note(after(f, codes, w))
		}
	})
}

// noneRecorded says of what stopped one mat of several that all are recorded or none.
func noneRecorded(err error, mats int) error {
	if mats < 2 || isUnsure(err) {
		return err
	}
	return fmt.Errorf("%w. Nothing was recorded for the %d mats of this command; "+
		"with --except-refused it takes the others", err, mats)
}

// results is what became of steps; one that is not accepted shows in the exit code.
func (a *app) results(steps []medium.Step) []medium.Result {
	lines := make([]medium.Result, len(steps))
	for i, s := range steps {
		lines[i] = s.Result()
		if !s.Outcome.Accepted {
			a.code = exitNotAccepted
		}
	}
	return lines
}

func (a *app) printRecorded(w io.Writer, lines []medium.Result) {
	missed, stays := 0, false
	for _, r := range lines {
		stays = stays || !r.Accepted && r.From == r.To // mold seen on an unwashed mat holds it
		word := "recorded"
		if !r.Accepted {
			word = a.Paint(ui.Yellow, "recorded, NOT ACCEPTED")
			missed++
		}
		if r.Late {
			word += " (late entry)"
		}
		move := string(r.To)
		if r.From != "" && r.From != r.To {
			move = fmt.Sprintf("%s -> %s", r.From, r.To)
		}
		fmt.Fprintf(w, "%s  %-8s  %-26s %s\n", r.Code, r.Kind, move, word)
		if len(lines) == 1 {
			printFindings(w, r.Findings)
		}
	}
	if len(lines) > 1 {
		printFindings(w, groupFindings(lines))
		fmt.Fprintf(w, "%d mats, %d accepted, %d not accepted\n", len(lines), len(lines)-missed, missed)
	}
	if stays {
		fmt.Fprintln(w, "A step that is not accepted stays on record and does not move the mat.")
	}
}

// groupFindings gives each finding of a batch once, with the mats that it is
// about.
func groupFindings(lines []medium.Result) (each []medium.Finding) {
	type key struct{ rule, text, source string }
	mats := map[key][]string{}
	of := func(f medium.Finding) key { return key{f.Rule, f.Text, f.Source} }
	for _, r := range lines {
		for _, f := range r.Findings {
			if mats[of(f)] == nil {
				each = append(each, f)
			}
			mats[of(f)] = append(mats[of(f)], r.Code.String())
		}
	}
	for i, f := range each {
		who := strings.Join(mats[of(f)], ", ")
		if len(mats[of(f)]) == len(lines) {
			who = fmt.Sprintf("all %d mats", len(lines))
		}
		each[i].Text += " (" + who + ")"
	}
	return each
}

func printFindings(w io.Writer, findings []medium.Finding) {
	for _, f := range findings {
		ui.Item(w, "  ", f.Rule+": "+f.Text)
		ui.Item(w, "    ", "limit from: "+f.Source)
	}
	printHints(w, findings)
}
