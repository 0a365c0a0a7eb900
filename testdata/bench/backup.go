package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"resow/store"
)

// rowBackup makes backups while somebody records, and with nobody.
func (b *bench) rowBackup(mats int) error {
	path, f, err := b.ledger(mats)
	if err != nil {
		return err
	}
	own := filepath.Join(b.dir, "busy.resow")
	if err := copyFile(path, own); err != nil {
		return err
	}
	defer os.Remove(own)
	r := &recorder{path: own, sown: f.sown, now: f.now.Add(time.Hour)}
	runs := 10
	if mats > 10000 {
		runs = 3
	}
	var idle, busy, took, copied []float64
	for i := range runs {
		begun := time.Now()
		before := r.n
		for time.Since(begun) < time.Second {
			if err := r.one(); err != nil {
				return err
			}
		}
		idle = append(idle, float64(r.n-before)/time.Since(begun).Seconds())

		dir := filepath.Join(b.dir, fmt.Sprint("backups-", i))
		begun, before = time.Now(), r.n
		err := r.during(func() error { _, err := store.BackUp(own, store.Backups{Dir: dir}, store.Options{}); return err })
		if err != nil {
			return err
		}
		busy = append(busy, float64(r.n-before)/time.Since(begun).Seconds())
		os.RemoveAll(dir)

		begun = time.Now()
		if _, err := store.BackUp(own, store.Backups{Dir: dir}, store.Options{}); err != nil {
			return err
		}
		took = append(took, time.Since(begun).Seconds())
		os.RemoveAll(dir)
		begun = time.Now()
		to := filepath.Join(b.dir, "copied")
		if err := copyFile(own, to); err != nil {
			return err
		}
		copied = append(copied, time.Since(begun).Seconds())
		os.Remove(to)
	}
	i, w := median(idle), median(busy)
	b.add(line{work: "steps while a backup is made", against: "idle", mats: mats, runs: runs, ours: fmt.Sprintf("%.0f/s", w), theirs: fmt.Sprintf("%.0f/s", i), ratio: w / i}.atLeast(0.6))
	t, c := median(took), median(copied)
	b.add(line{work: "backup, verified", against: "plain copy and fsync", mats: mats, runs: runs, ours: fmt.Sprintf("%.2f s", t), theirs: fmt.Sprintf("%.2f s", c), ratio: t / c}.atMost(2))
	return nil
}
