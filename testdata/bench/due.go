package main

import (
	"fmt"
	"time"

	"resow/medium"
	"resow/store"
)

// rowDue asks for the first 50 lines of the due list: of the ledger, of SQLite
// by its index, and of a program that works it out from every condition.
func (b *bench) rowDue(mats int) error {
	path, f, err := b.ledger(mats)
	if err != nil {
		return err
	}
	sqlite, err := b.sqlite(mats)
	if err != nil {
		return err
	}
	s, err := store.Open(path, store.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	db, err := openSQLite(sqlite, "wal")
	if err != nil {
		return err
	}
	defer db.Close()
	query, err := db.Prepare("SELECT code, stage, turn, due_step, due_at, due_text FROM mats WHERE due_at <= ? ORDER BY due_at, code LIMIT 50")
	if err != nil {
		return err
	}
	until := f.now.AddDate(1, 0, 0)
	var ours, theirs, every []float64
	for range 200 {
		begun := time.Now()
		work, err := s.Due(until, 50)
		if err != nil {
			return err
		}
		ours = append(ours, time.Since(begun).Seconds())
		begun = time.Now()
		rows, err := query.Query(until.Unix())
		if err != nil {
			return err
		}
		n := 0
		for rows.Next() {
			var code, stage, step, text string
			var turn, at int64
			if err := rows.Scan(&code, &stage, &turn, &step, &at, &text); err != nil {
				return err
			}
			if code != string(work[n].Code) || at != work[n].At.Unix() {
				return fmt.Errorf("line %d: %s, SQLite says %s", n, work[n].Code, code)
			}
			n++
		}
		if err := rows.Err(); err != nil || n != len(work) {
			return fmt.Errorf("%d lines, SQLite gives %d: %v", len(work), n, err)
		}
		theirs = append(theirs, time.Since(begun).Seconds())
	}
	farm, err := s.Farm()
	if err != nil {
		return err
	}
	for range 10 {
		begun := time.Now()
		var all []medium.Work
		if err := s.Conditions(func(c medium.Condition) error {
			if w, ok := medium.WorkOn(c, farm, farm.Location()); ok {
				all = append(all, w)
			}
			return nil
		}); err != nil {
			return err
		}
		medium.Worklist(all)
		every = append(every, time.Since(begun).Seconds())
	}
	o := median(ours)
	us := func(s float64) string { return fmt.Sprintf("%.0f µs", s*1e6) }
	b.add(line{work: "due list, first 50", against: "SQLite, ordered by index", mats: mats, runs: 200, ours: us(o), theirs: us(median(theirs)), ratio: median(theirs) / o}.atLeast(3))
	l := line{work: "due list, first 50", against: "every condition decoded", mats: mats, runs: 10, ours: us(o), theirs: us(median(every)), ratio: median(every) / o}
	if mats >= 100000 {
		l = l.atLeast(5000)
	}
	b.add(l)
	return nil
}
