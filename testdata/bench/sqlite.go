package main

import (
	"database/sql"
	"fmt"
	"iter"
	"os"
	"time"

	_ "github.com/mattn/go-sqlite3" // what a grower's own program would keep its rows in

	"resow/medium"
)

// schema is what a careful program of typed columns would have: one row per
// step, one per mat as it stands now, and the indexes that the same questions
// need. It keeps no hashes, no copy of the directions, no findings and no way to
// tell that a row was changed.
const schema = `
CREATE TABLE steps (
	seq INTEGER PRIMARY KEY, mat TEXT NOT NULL, mat_seq INTEGER NOT NULL, at INTEGER NOT NULL, recorded INTEGER NOT NULL,
	by TEXT NOT NULL, kind TEXT NOT NULL, token TEXT, accepted INTEGER NOT NULL, stage_from TEXT, stage_to TEXT,
	crop TEXT, seed_g REAL, lot TEXT, seed_lot TEXT, yield_g REAL, water_ml REAL, minutes REAL, debris TEXT,
	dried TEXT, duration_s INTEGER, sun_kly REAL, product TEXT, strength_ppm REAL, contact_s INTEGER, sides INTEGER, method TEXT,
	cause TEXT, note TEXT
);
CREATE TABLE mats (
	code TEXT PRIMARY KEY, material TEXT, form TEXT, length_mm REAL, width_mm REAL, cost REAL, stage TEXT NOT NULL, since INTEGER NOT NULL, turn INTEGER NOT NULL,
	added INTEGER NOT NULL, last INTEGER NOT NULL, retired INTEGER, cause TEXT, sanitized INTEGER, due_at INTEGER, due_step TEXT, due_text TEXT
) WITHOUT ROWID;
CREATE TABLE tokens (token TEXT PRIMARY KEY, seq INTEGER NOT NULL) WITHOUT ROWID;`

const indexes = `
CREATE UNIQUE INDEX steps_mat ON steps (mat, mat_seq);
CREATE INDEX steps_lot ON steps (lot) WHERE lot IS NOT NULL;
CREATE INDEX steps_seed_lot ON steps (seed_lot) WHERE seed_lot IS NOT NULL;
CREATE INDEX mats_due ON mats (due_at, code) WHERE due_at IS NOT NULL;`

const insertStep = `INSERT INTO steps VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`
const insertMat = `INSERT INTO mats VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`

// openSQLite opens a file with a journal, as durable as ours: synchronous=FULL.
func openSQLite(path, journal string) (*sql.DB, error) {
	db, err := sql.Open("sqlite3", fmt.Sprintf("file:%s?_journal_mode=%s&_synchronous=FULL&_txlock=immediate&_busy_timeout=5000", path, journal))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	var mode string
	var full int
	if err := db.QueryRow("PRAGMA journal_mode").Scan(&mode); err != nil {
		return nil, err
	}
	if err := db.QueryRow("PRAGMA synchronous").Scan(&full); err != nil {
		return nil, err
	}
	if mode != journal || full != 2 {
		return nil, fmt.Errorf("sqlite: journal %s and synchronous %d, wanted %s and 2", mode, full, journal)
	}
	return db, nil
}

// stepRow gives a step's typed columns.
func stepRow(s medium.Step) []any {
	row := make([]any, 29)
	row[0], row[1], row[2], row[3], row[4] = int64(s.Seq), string(s.Mat), int64(s.MatSeq), s.At.Unix(), s.Recorded.Unix()
	row[5], row[6], row[8], row[9], row[10] = s.By, string(s.Kind), s.Outcome.Accepted, string(s.Outcome.From), string(s.Outcome.To)
	if s.Token != "" {
		row[7] = s.Token
	}
	switch b := s.Body.(type) {
	case *medium.Sow:
		row[11], row[12], row[13], row[14] = medium.CropName(b.Crops), b.Crops[0].SeedG, b.Lot, b.SeedLot
	case *medium.Harvest:
		row[15] = b.YieldG
	case *medium.Mist:
		row[16] = b.WaterML
	case *medium.Rinse:
		row[17], row[18] = b.Minutes, string(b.Debris)
	case *medium.Dry:
		row[19], row[20], row[21] = b.Where, b.DurationS, b.KLy
	case *medium.Sanitize:
		row[22], row[23], row[24], row[25], row[26] = b.Product, b.StrengthPPM, b.ContactS, b.Sides, b.Method
	case *medium.Retire:
		row[27] = string(b.Cause)
	case *medium.Mold:
		row[28] = b.Where
	case *medium.Release:
		row[28] = b.Reason
	case *medium.Hold:
		row[28] = b.Reason
	}
	return row
}

func matRow(c medium.Condition, f medium.Farm) []any {
	row := []any{string(c.Code), c.Mat.Material, c.Mat.Form, c.Mat.LengthMM, c.Mat.WidthMM, c.Mat.Cost, string(c.Stage), c.Since.Unix(), c.Turn,
		c.Added.Unix(), c.Last.Unix(), nil, nil, nil, nil, nil, nil}
	if !c.RetiredAt.IsZero() {
		row[11], row[12] = c.RetiredAt.Unix(), string(c.Cause)
	}
	if c.Sanitized != nil {
		row[13] = c.Sanitized.At.Unix()
	}
	if w, ok := medium.WorkOn(c, f, time.UTC); ok {
		row[14], row[15], row[16] = w.At.Unix(), string(w.Step), w.Dues[0].Text
	}
	return row
}

// load inserts a farm's steps in one transaction with prepared statements, then
// the mats, then makes the indexes, which is the fastest order. It gives the
// time that all this took without the drawing of the steps.
func load(path string, steps iter.Seq2[medium.Step, error], f *farm) (time.Duration, error) {
	db, err := openSQLite(path, "wal")
	if err != nil {
		return 0, err
	}
	defer db.Close()
	begun := time.Now()
	var folding time.Duration
	if _, err := db.Exec(schema); err != nil {
		return 0, err
	}
	tx, err := db.Begin()
	if err != nil {
		return 0, err
	}
	defer tx.Rollback()
	insert, err := tx.Prepare(insertStep)
	if err != nil {
		return 0, err
	}
	conditions := map[medium.Code]medium.Condition{}
	lens := map[medium.Code]uint64{}
	seq := uint64(0)
	for s, err := range steps {
		if err != nil {
			return 0, err
		}
		at := time.Now()
		seq++
		lens[s.Mat]++
		s.Seq, s.MatSeq = seq, lens[s.Mat]
		if s.Mat != medium.FarmThread {
			conditions[s.Mat] = conditions[s.Mat].Apply(s)
		}
		folding += time.Since(at) // ours folds what it reads back; this side is given it
		if _, err := insert.Exec(stepRow(s)...); err != nil {
			return 0, err
		}
	}
	insertM, err := tx.Prepare(insertMat)
	if err != nil {
		return 0, err
	}
	for _, c := range conditions {
		if _, err := insertM.Exec(matRow(c, medium.Farm{})...); err != nil {
			return 0, err
		}
	}
	if err := tx.Commit(); err != nil {
		return 0, err
	}
	if _, err := db.Exec(indexes); err != nil {
		return 0, err
	}
	if _, err := db.Exec("PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		return 0, err
	}
	return time.Since(begun) - f.spent - folding, nil
}

func size(paths ...string) int64 {
	var n int64
	for _, p := range paths {
		if info, err := os.Stat(p); err == nil {
			n += info.Size()
		}
	}
	return n
}
