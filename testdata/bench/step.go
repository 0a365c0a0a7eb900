package main

import (
	"bytes"
	"database/sql"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"resow/medium"
	"resow/store"
)

// blocks of some steps of each in turn, so that a slow moment of the disk meets
// all alike.
const (
	stepBlocks = 12
	perBlock   = 12
)

// rowStep records one step at a time, each durable before the next: by the one
// door, by a bare append with fdatasync, and by SQLite with either journal. Then
// 8 and 64 phones at once: their steps wait in one queue, as in the station, and
// all that wait go into one commit.
func (b *bench) rowStep(mats int) error {
	path, f, err := b.ledger(mats)
	if err != nil {
		return err
	}
	sqlite, err := b.sqlite(mats)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp(b.dir, "step") // of its own: SQLite leaves journals beside its files
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	own, wal, rollback := filepath.Join(dir, "step.resow"), filepath.Join(dir, "wal.sqlite"), filepath.Join(dir, "rollback.sqlite")
	for to, from := range map[string]string{own: path, wal: sqlite, rollback: sqlite} {
		if err := copyFile(from, to); err != nil {
			return err
		}
	}

	now := f.now.Add(time.Hour)
	clock := func() time.Time { return now }
	s, err := store.Open(own, store.Options{Now: clock})
	if err != nil {
		return err
	}
	defer func() { s.Close() }()
	raw, err := os.Create(filepath.Join(dir, "raw"))
	if err != nil {
		return err
	}
	defer raw.Close()
	record := bytes.Repeat([]byte{'r'}, 250)
	n := 0
	mist := func() medium.Step {
		n++
		now = now.Add(time.Second)
		return medium.Step{Mat: f.sown[n%len(f.sown)], By: "MK", Body: &medium.Mist{WaterML: 120}}
	}
	appendOne := func() error {
		if _, err := raw.Write(record); err != nil {
			return err
		}
		return syscall.Fdatasync(int(raw.Fd()))
	}
	inWAL, err := sqliteStep(wal, "wal", f)
	if err != nil {
		return err
	}
	inRollback, err := sqliteStep(rollback, "delete", f)
	if err != nil {
		return err
	}
	phones := func(k int) func(time.Duration) (int, error) {
		return func(d time.Duration) (int, error) { return manyPhones(s, k, d, mist) }
	}
	all := []*contender{
		{name: "append and fdatasync", do: repeat(appendOne)},
		{name: "one step", do: repeat(func() error { _, err := s.Record("", []medium.Step{mist()}); return err })},
		{name: "SQLite WAL", do: repeat(inWAL)},
		{name: "SQLite rollback", do: repeat(inRollback)},
		{name: "8 phones", do: phones(8)},
		{name: "64 phones", do: phones(64)},
	}
	for i := range stepBlocks + 1 {
		for _, c := range all {
			begun := time.Now()
			n, err := c.do(50 * time.Millisecond)
			if err != nil {
				return fmt.Errorf("%s: %w", c.name, err)
			}
			if i > 0 { // the first warms up
				c.rates = append(c.rates, float64(n)/time.Since(begun).Seconds())
			}
		}
	}
	add := func(ours, theirs int, aim float64) {
		o, t := median(all[ours].rates), median(all[theirs].rates)
		b.add(line{work: all[ours].name, against: all[theirs].name, mats: mats, runs: stepBlocks,
			ours: fmt.Sprintf("%.0f/s", o), theirs: fmt.Sprintf("%.0f/s", t), ratio: o / t}.atLeast(aim))
	}
	add(1, 0, 0.2)
	add(1, 3, 1.6)
	add(1, 2, 0.85)
	add(4, 0, 0.7)
	add(5, 0, 1)
	return nil
}

type contender struct {
	name  string
	do    func(time.Duration) (int, error)
	rates []float64
}

func repeat(one func() error) func(time.Duration) (int, error) {
	return func(time.Duration) (int, error) {
		for range perBlock {
			if err := one(); err != nil {
				return 0, err
			}
		}
		return perBlock, nil
	}
}

// manyPhones lets k phones record, each one step after the answer to the last,
// for a time. One worker takes all that waits and records it in one commit.
func manyPhones(s *store.Store, k int, d time.Duration, mist func() medium.Step) (int, error) {
	type ask struct {
		store.Request
		done chan error
	}
	queue := make(chan *ask, k)
	end := time.Now().Add(d)
	var phones sync.WaitGroup
	var mu sync.Mutex
	steps := 0
	for range k {
		phones.Go(func() {
			for time.Now().Before(end) {
				mu.Lock()
				steps++
				a := &ask{store.Request{Token: fmt.Sprint(end.UnixNano(), steps), Steps: []medium.Step{mist()}}, make(chan error, 1)}
				mu.Unlock()
				queue <- a
				<-a.done
			}
		})
	}
	go func() { phones.Wait(); close(queue) }()
	n := 0
	for first := range queue {
		waiting := []*ask{first}
		for more := true; more && len(waiting) < k; {
			select {
			case a, ok := <-queue:
				if more = ok; ok {
					waiting = append(waiting, a)
				}
			default:
				more = false
			}
		}
		requests := make([]store.Request, len(waiting))
		mu.Lock() // mist moves the clock
		for i, a := range waiting {
			requests[i] = a.Request
		}
		answers, err := s.RecordEach(requests)
		mu.Unlock()
		for i, a := range waiting {
			if err == nil {
				err = answers[i].Err
			}
			a.done <- err
		}
		if err != nil {
			go func() {
				for a := range queue {
					a.done <- err
				}
			}()
			phones.Wait()
			return n, err
		}
		n += len(waiting)
	}
	return n, nil
}

// sqliteStep records a step as a careful program would: it reads the mat's row,
// adds the step, and writes the row, in one transaction.
func sqliteStep(path, journal string, f *farm) (func() error, error) {
	db, err := openSQLite(path, journal)
	if err != nil {
		return nil, err
	}
	var seq int64
	if err := db.QueryRow("SELECT max(seq) FROM steps").Scan(&seq); err != nil {
		return nil, err
	}
	prepared := map[string]*sql.Stmt{}
	for _, q := range []string{
		"SELECT stage, turn, since FROM mats WHERE code = ?", "SELECT max(mat_seq) FROM steps WHERE mat = ?", insertStep,
		"UPDATE mats SET last = ?, due_at = ?, due_step = ?, due_text = ? WHERE code = ?",
	} {
		if prepared[q], err = db.Prepare(q); err != nil {
			return nil, err
		}
	}
	at := f.now
	return func() error {
		seq++
		at = at.Add(time.Second)
		mat := string(f.sown[int(seq)%len(f.sown)])
		tx, err := db.Begin()
		if err != nil {
			return err
		}
		defer tx.Rollback()
		var stage string
		var turn, since, matSeq int64
		if err := tx.Stmt(prepared["SELECT stage, turn, since FROM mats WHERE code = ?"]).QueryRow(mat).Scan(&stage, &turn, &since); err != nil {
			return err
		}
		if stage != string(medium.Growing) {
			return fmt.Errorf("%s is %s", mat, stage)
		}
		if err := tx.Stmt(prepared["SELECT max(mat_seq) FROM steps WHERE mat = ?"]).QueryRow(mat).Scan(&matSeq); err != nil {
			return err
		}
		row := stepRow(medium.Step{Seq: uint64(seq), Mat: medium.Code(mat), MatSeq: uint64(matSeq) + 1, At: at, Recorded: at, By: "MK", Kind: medium.KindMist,
			Outcome: medium.Outcome{Accepted: true, From: medium.Growing, To: medium.Growing}, Body: &medium.Mist{WaterML: 120}})
		if _, err := tx.Stmt(prepared[insertStep]).Exec(row...); err != nil {
			return err
		}
		if _, err := tx.Stmt(prepared["UPDATE mats SET last = ?, due_at = ?, due_step = ?, due_text = ? WHERE code = ?"]).Exec(at.Unix(), at.Unix()+86400*10, "harvest", "the crop is past its days", mat); err != nil {
			return err
		}
		return tx.Commit()
	}, nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	defer out.Close()
	if _, err := io.Copy(out, in); err != nil {
		return err
	}
	return out.Sync()
}
