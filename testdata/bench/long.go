package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"resow/medium"
	"resow/store"
)

// rowExport writes all records as JSON Lines to nowhere.
func (b *bench) rowExport(mats int) error {
	path, _, err := b.ledger(mats)
	if err != nil {
		return err
	}
	const aim = 200_000
	runs := 5
	if mats > 10000 {
		runs = 1
	}
	var rates []float64
	for range runs {
		s, err := store.Open(path, store.Options{ReadOnly: true})
		if err != nil {
			return err
		}
		begun := time.Now()
		anchor, err := s.Lines(io.Discard, nil)
		if err = errors.Join(err, s.Close()); err != nil {
			return err
		}
		rates = append(rates, float64(anchor.Count)/time.Since(begun).Seconds())
	}
	rate := median(rates)
	b.add(line{work: "export, records", against: "200,000 a second", mats: mats, runs: runs, ours: fmt.Sprintf("%.0f/s", rate),
		theirs: fmt.Sprintf("%d/s", aim), ratio: rate / aim}.atLeast(1))
	return nil
}

// tracedMats is how many mats the lot has that is traced, in a farm of any size.
const tracedMats = 24

// rowTrace times `resow trace LOT`, from the start of the process to its end, for a
// lot of 24 mats, and holds it against the smallest farm.
func (b *bench) rowTrace(mats int) error {
	path, f, err := b.ledger(mats)
	if err != nil {
		return err
	}
	if err := b.program(); err != nil {
		return err
	}
	own := filepath.Join(b.dir, "traced.resow")
	if err := copyFile(path, own); err != nil {
		return err
	}
	defer os.Remove(own)
	if err := sowLot(own, f.now.Add(time.Hour)); err != nil {
		return err
	}
	runs := 12
	if mats > 10000 {
		runs = 5
	}
	var took []float64
	for i := range runs + 2 {
		r, err := b.run(b.resow, "trace", "TRACED", "--json", "--store", own)
		if err != nil {
			return err
		}
		if i >= 2 { // the first warm up
			took = append(took, r.Seconds)
		}
	}
	t := median(took)
	if b.traces == nil {
		b.traces = map[int]float64{}
	}
	b.traces[mats] = t
	least := mats
	for k := range b.traces {
		least = min(least, k)
	}
	l := line{work: "trace of a lot of 24 mats", against: fmt.Sprintf("%d mats", least), mats: mats, runs: runs, ours: ms(t),
		theirs: ms(b.traces[least]), ratio: t / b.traces[least]}
	if mats > least {
		l = l.atMost(3)
	}
	b.add(l)
	return nil
}

// sowLot registers some mats, washes them and sows them with one lot.
func sowLot(path string, now time.Time) error {
	s, err := store.Open(path, store.Options{Now: func() time.Time { return now }})
	if err != nil {
		return err
	}
	defer s.Close()
	for _, body := range []medium.Body{
		&medium.Add{Mat: meshes[0]}, &medium.Rinse{Debris: medium.DebrisNone}, &medium.Dry{Where: medium.DryAir},
		&medium.Sanitize{Product: peroxide.Name, StrengthPPM: 1000, ContactS: 360, Sides: 2, Method: "spray"},
		&medium.Dry{Where: medium.DryAir},
		&medium.Sow{Crops: []medium.Sown{{Crop: "radish", SeedG: 42}}, Lot: "TRACED", SeedLot: "TRACED SEED"},
	} {
		now = now.Add(time.Hour)
		var steps []medium.Step
		for i := range tracedMats {
			steps = append(steps, medium.Step{Mat: medium.Code(fmt.Sprintf("X%06dX", i)), By: "MK", Body: body})
		}
		if _, err := s.Record("", steps); err != nil {
			return err
		}
	}
	return nil
}

// recorder records one step after another, as the station does: it opens the file for
// each commit and closes it.
type recorder struct {
	path    string
	sown    []medium.Code
	now     time.Time
	n       int
	took    []float64 // seconds that a step waited
	refused int
}

func (r *recorder) one() error {
	r.n++
	r.now = r.now.Add(time.Second)
	begun := time.Now()
	defer func() { r.took = append(r.took, time.Since(begun).Seconds()) }()
	s, err := store.Open(r.path, store.Options{Now: func() time.Time { return r.now }})
	if busy := (*store.BusyError)(nil); errors.As(err, &busy) {
		r.refused++
		return nil
	}
	if err != nil {
		return err
	}
	_, err = s.Record("", []medium.Step{{Mat: r.sown[r.n%len(r.sown)], By: "MK", Body: &medium.Mist{WaterML: 120}}})
	return errors.Join(err, s.Close())
}

// during records for as long as something else goes on.
func (r *recorder) during(do func() error) error {
	done := make(chan error, 1)
	go func() { done <- do() }()
	for {
		select {
		case err := <-done:
			return err
		default:
			if err := r.one(); err != nil {
				return err
			}
		}
	}
}

// rowBeside records while something reads the whole file.
func (b *bench) rowBeside(mats int) error {
	path, f, err := b.ledger(mats)
	if err != nil {
		return err
	}
	if err := b.program(); err != nil {
		return err
	}
	dir, err := os.MkdirTemp(b.dir, "beside")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	own := filepath.Join(dir, "busy.resow")
	if err := copyFile(path, own); err != nil {
		return err
	}
	now := f.now.Add(time.Hour)
	for _, args := range [][]string{
		{"export", "--out", filepath.Join(dir, "export.jsonl")}, {"trace", "L0007", "--json"}, {"trace", "roll 7", "--as", "roll", "--json"},
		{"verify"}, {"report", "reuse", "--out", filepath.Join(dir, "reuse.csv")}, {"backup", "--to", filepath.Join(dir, "backups")},
	} {
		r := &recorder{path: own, sown: f.sown, now: now}
		err := r.during(func() error { _, err := b.run(b.resow, append(args, "--store", own)...); return err })
		if err != nil {
			return err
		}
		now = r.now
		slices.Sort(r.took)
		p99 := r.took[len(r.took)*99/100]
		l := line{work: "a step beside " + args[0] + besideWhat(args), against: "100 ms, none refused", mats: mats, runs: len(r.took),
			ours: "p99 " + ms(p99), theirs: fmt.Sprintf("%d refused", r.refused), ratio: p99 / 0.1}.atMost(1)
		l.met = l.met && r.refused == 0
		b.add(l)
	}
	return nil
}

func besideWhat(args []string) string {
	switch args[0] {
	case "trace":
		return " " + args[1]
	case "report":
		return " " + args[1]
	}
	return ""
}

// rowMoves puts a backup and an export back.
func (b *bench) rowMoves(mats int) error {
	path, _, err := b.ledger(mats)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp(b.dir, "moves")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	made, err := store.BackUp(path, store.Backups{Dir: dir}, store.Options{})
	if err != nil {
		return err
	}
	lines := filepath.Join(dir, "export.jsonl")
	if err := exportTo(path, lines); err != nil {
		return err
	}
	for _, do := range []struct {
		work string
		run  func(to string) error
	}{
		{"restore", func(to string) error {
			_, _, err := store.Restore(made.Path, to, false, "MK", store.Options{})
			return err
		}},
		{"import of an export", func(to string) error {
			in, err := os.Open(lines)
			if err != nil {
				return err
			}
			defer in.Close()
			_, _, err = store.FromLines(to, in, store.Options{})
			return err
		}},
	} {
		to := filepath.Join(dir, "again.resow")
		begun := time.Now()
		if err := do.run(to); err != nil {
			return err
		}
		took := time.Since(begun).Seconds()
		os.Remove(to)
		l := line{work: do.work, against: "60 s for 100,000 mats", mats: mats, runs: 1, ours: fmt.Sprintf("%.1f s", took),
			theirs: fmt.Sprintf("%.1f s", float64(mats)*60/100_000), ratio: took / (float64(mats) * 60 / 100_000)}
		if mats >= 100_000 {
			l = l.atMost(1)
		}
		b.add(l)
	}
	return nil
}

func exportTo(path, to string) error {
	s, err := store.Open(path, store.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	defer out.Close()
	_, err = s.Lines(out, nil)
	return err
}
