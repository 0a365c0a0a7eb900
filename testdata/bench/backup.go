package main

import (
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"resow/medium"
	"resow/store"
)

// rowBackup makes backups while another goroutine records, as the station does:
// it opens the file for each commit and closes it.
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
	now := f.now.Add(time.Hour)
	o := store.Options{Now: func() time.Time { return now }}
	var n atomic.Int64
	one := func() error {
		now = now.Add(time.Second)
		s, err := store.Open(own, o)
		if err != nil {
			return err
		}
		if _, err := s.Record("", []medium.Step{{Mat: f.sown[int(n.Add(1))%len(f.sown)], By: "MK", Body: &medium.Mist{WaterML: 120}}}); err != nil {
			s.Close()
			return err
		}
		return s.Close()
	}
	runs := 10
	if mats > 10000 {
		runs = 3
	}
	var idle, busy, took, copied []float64
	for i := range runs {
		begun := time.Now()
		before := n.Load()
		for time.Since(begun) < time.Second {
			if err := one(); err != nil {
				return err
			}
		}
		idle = append(idle, float64(n.Load()-before)/time.Since(begun).Seconds())

		dir := filepath.Join(b.dir, fmt.Sprint("backups-", i))
		done := make(chan error, 1)
		begun, before = time.Now(), n.Load()
		go func() {
			_, err := store.BackUp(own, store.Backups{Dir: dir}, store.Options{})
			done <- err
		}()
		for running := true; running; {
			select {
			case err := <-done:
				if err != nil {
					return err
				}
				running = false
			default:
				if err := one(); err != nil {
					return err
				}
			}
		}
		busy = append(busy, float64(n.Load()-before)/time.Since(begun).Seconds())
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
