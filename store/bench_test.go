//go:build bench

// The benchmarks beside SQLite stand behind a tag, since its driver compiles a
// large C program the first time:
//
//	go test -tags bench -run '^$' -bench . ./store
//
// The whole table is made by testdata/bench.
package store

import (
	"database/sql"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	_ "github.com/mattn/go-sqlite3"
	"github.com/stretchr/testify/require"

	"resow/medium"
)

// BenchmarkDurableStep is one step at a time, each on disk before the next, by
// the one door, by a bare append, and by SQLite with either journal.
func BenchmarkDurableStep(b *testing.B) {
	b.Run("append", func(b *testing.B) {
		f, err := os.Create(filepath.Join(b.TempDir(), "raw"))
		require.NoError(b, err)
		defer f.Close()
		record := make([]byte, 250)
		for b.Loop() {
			_, err := f.Write(record)
			require.NoError(b, err)
			require.NoError(b, syscall.Fdatasync(int(f.Fd())))
		}
	})
	b.Run("resow", func(b *testing.B) {
		s, c := manyMats(b, 10000)
		i := 0
		for b.Loop() {
			c.after(time.Second)
			record(b, s, step(code(i*37%10000), &medium.Hold{Reason: "doubt"}))
			i++
		}
	})
	for _, journal := range []string{"wal", "delete"} {
		b.Run("sqlite "+journal, func(b *testing.B) {
			db, err := sql.Open("sqlite3", "file:"+filepath.Join(b.TempDir(), "farm.sqlite")+"?_journal_mode="+journal+"&_synchronous=FULL&_txlock=immediate")
			require.NoError(b, err)
			defer db.Close()
			db.SetMaxOpenConns(1)
			_, err = db.Exec("CREATE TABLE steps (seq INTEGER PRIMARY KEY, mat TEXT, mat_seq INTEGER, at INTEGER, by TEXT, kind TEXT, note TEXT); CREATE UNIQUE INDEX steps_mat ON steps (mat, mat_seq); CREATE TABLE mats (code TEXT PRIMARY KEY, stage TEXT, last INTEGER) WITHOUT ROWID")
			require.NoError(b, err)
			tx, err := db.Begin()
			require.NoError(b, err)
			for i := range 10000 {
				_, err := tx.Exec("INSERT INTO mats VALUES (?, 'to wash', 0)", string(code(i)))
				require.NoError(b, err)
			}
			require.NoError(b, tx.Commit())
			i := 0
			for b.Loop() {
				tx, err := db.Begin()
				require.NoError(b, err)
				mat := string(code(i * 37 % 10000))
				_, err = tx.Exec("INSERT INTO steps VALUES (?, ?, ?, ?, 'MK', 'hold', 'doubt')", i, mat, i, start.Unix()+int64(i))
				require.NoError(b, err)
				_, err = tx.Exec("UPDATE mats SET stage = 'on hold', last = ? WHERE code = ?", start.Unix()+int64(i), mat)
				require.NoError(b, err)
				require.NoError(b, tx.Commit())
				i++
			}
		})
	}
}
