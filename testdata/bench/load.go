package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"time"

	"resow/medium"
	"resow/store"
)

// ledger gives the path of the generated farm, made once per run.
func (b *bench) ledger(mats int) (string, *farm, error) {
	path := filepath.Join(b.dir, fmt.Sprintf("farm-%d.resow", mats))
	if f, ok := b.farms[mats]; ok {
		return path, f, nil
	}
	f := &farm{mats: mats}
	begun := time.Now()
	_, err := store.Load(path, f.steps(), store.Options{Random: rand.NewChaCha8([32]byte{2})})
	if err != nil {
		return "", nil, err
	}
	b.farms[mats] = f
	b.loaded[mats] = time.Since(begun) - f.spent
	fmt.Fprintf(os.Stderr, "  a farm of %d mats: drawn in %.1f s, loaded in %.1f s, %d MB\n", mats, f.spent.Seconds(), b.loaded[mats].Seconds(), size(path)>>20)
	return path, f, nil
}

// sqlite gives the path of the same farm in SQLite, made once per run.
func (b *bench) sqlite(mats int) (string, error) {
	path := filepath.Join(b.dir, fmt.Sprintf("farm-%d.sqlite", mats))
	if _, ok := b.inserted[mats]; ok {
		return path, nil
	}
	f := &farm{mats: mats}
	took, err := load(path, f.steps(), f)
	if err != nil {
		return "", err
	}
	b.inserted[mats] = took
	fmt.Fprintf(os.Stderr, "  the same in SQLite: inserted in %.1f s, %d MB\n", took.Seconds(), size(path)>>20)
	return path, nil
}

// rowImport loads a farm's admitted steps into a new ledger (records, threads,
// head, conditions, due list, indexes, all of it verified) and into SQLite.
func (b *bench) rowImport(mats int) error {
	path, _, err := b.ledger(mats)
	if err != nil {
		return err
	}
	other, err := b.sqlite(mats)
	if err != nil {
		return err
	}
	ours, theirs := []float64{b.loaded[mats].Seconds()}, []float64{b.inserted[mats].Seconds()}
	if mats <= 10000 { // beside drawing our writer would go on, unseen: the steps are drawn first
		if ours, theirs, err = b.importDrawn(mats); err != nil {
			return err
		}
	}
	o, t := median(ours), median(theirs)
	b.add(line{work: "import of sorted steps", against: "SQLite bulk insert", mats: mats, runs: len(ours),
		ours: fmt.Sprintf("%.2f s", o), theirs: fmt.Sprintf("%.2f s", t), ratio: t / o}.atLeast(2))
	b.add(line{work: "size of the file", against: "SQLite file", mats: mats, runs: 1,
		ours: mb(size(path)), theirs: mb(size(other)), ratio: float64(size(path)) / float64(size(other))}.atMost(1.8))
	return nil
}

func (b *bench) importDrawn(mats int) (ours, theirs []float64, err error) {
	f := &farm{mats: mats}
	var drawn []medium.Step
	for s, err := range f.steps() {
		if err != nil {
			return nil, nil, err
		}
		drawn = append(drawn, s)
	}
	f.spent = 0
	again := func(yield func(medium.Step, error) bool) {
		for _, s := range drawn {
			if !yield(s, nil) {
				return
			}
		}
	}
	runs := 10
	if mats > 1000 {
		runs = 5
	}
	own, other := filepath.Join(b.dir, "again.resow"), filepath.Join(b.dir, "again.sqlite")
	for range runs {
		begun := time.Now()
		if _, err := store.Load(own, again, store.Options{Random: rand.NewChaCha8([32]byte{2})}); err != nil {
			return nil, nil, err
		}
		ours = append(ours, time.Since(begun).Seconds())
		took, err := load(other, again, f)
		if err != nil {
			return nil, nil, err
		}
		theirs = append(theirs, took.Seconds())
		os.Remove(own)
		os.Remove(other)
	}
	return ours, theirs, nil
}

// act is how many steps are recorded together.
const act = 24

// rowRecorded records the farm as it lived: its steps in the order of time, in acts of
// 24 mats, through the door that users use. Loading them sorted flatters the file.
func (b *bench) rowRecorded(mats int) error {
	other, err := b.sqlite(mats)
	if err != nil {
		return err
	}
	f := &farm{mats: mats}
	var own, steps []medium.Step
	for s, err := range f.steps() {
		switch {
		case err != nil:
			return err
		case s.Mat == medium.FarmThread:
			own = append(own, s)
		default:
			steps = append(steps, s)
		}
	}
	slices.SortStableFunc(steps, func(a, b medium.Step) int { return a.At.Compare(b.At) })
	path := filepath.Join(b.dir, fmt.Sprintf("recorded-%d.resow", mats))
	now := farmStart
	s, err := store.Create(path, farmSettings, "MK", store.Options{Now: func() time.Time { return now }, NoSync: true, Random: rand.NewChaCha8([32]byte{2})})
	if err != nil {
		return err
	}
	defer s.Close()
	record := func(all []medium.Step) error {
		asked := make([]medium.Step, len(all))
		for i, s := range all {
			asked[i] = medium.Step{Mat: s.Mat, By: s.By, At: s.At, Body: s.Body}
			if s.At.After(now) {
				now = s.At
			}
		}
		_, err := s.Record("", asked)
		return err
	}
	if err := record(own[1:]); err != nil {
		return err
	}
	for group := range slices.Chunk(steps, act) {
		if err := record(group); err != nil {
			return err
		}
	}
	if err := s.Close(); err != nil {
		return err
	}
	b.add(line{work: "size, recorded in time order", against: "SQLite file", mats: mats, runs: 1,
		ours: mb(size(path)), theirs: mb(size(other)), ratio: float64(size(path)) / float64(size(other))}.atMost(1.8))
	return nil
}

func mb(n int64) string { return fmt.Sprintf("%.1f MB", float64(n)/1e6) }
