package main

import (
	"crypto/sha256"
	"fmt"
	"path/filepath"
	"runtime"
	"time"

	"go.etcd.io/bbolt"

	"resow/store"
)

// rowVerify holds the verify of a whole ledger against the bare SHA-256 of the
// same bytes in the same order: each record, and for each the 72 bytes that lead
// the ledger's head on. Processor time, so that reading and a second processor do
// not count.
func (b *bench) rowVerify(mats int) error {
	path, _, err := b.ledger(mats)
	if err != nil {
		return err
	}
	runs := 10
	if mats > 1000 {
		runs = 3
	}
	var raw, chain, full, one, two []float64
	for range runs {
		r, err := rawHashes(path)
		if err != nil {
			return err
		}
		raw = append(raw, r)
		for _, do := range []struct {
			procs     int
			chainOnly bool
			cpu, wall *[]float64
		}{{1, true, &chain, nil}, {1, false, &full, &one}, {2, false, nil, &two}} {
			before := runtime.GOMAXPROCS(do.procs)
			took, spent, err := verify(path, do.chainOnly, mats*perMat)
			runtime.GOMAXPROCS(before)
			if err != nil {
				return err
			}
			if do.cpu != nil {
				*do.cpu = append(*do.cpu, spent)
			}
			if do.wall != nil {
				*do.wall = append(*do.wall, took)
			}
		}
	}
	r, c, f := median(raw), median(chain), median(full)
	rate := func(s float64) string { return fmt.Sprintf("%.2f M/s", float64(mats*perMat)/s/1e6) }
	b.add(line{work: "verify, chain alone", against: "bare SHA-256", mats: mats, runs: runs, ours: rate(c), theirs: rate(r), ratio: r / c}.atLeast(0.8))
	b.add(line{work: "verify, decoded and replayed", against: "bare SHA-256", mats: mats, runs: runs, ours: rate(f), theirs: rate(r), ratio: r / f}.atLeast(0.17))
	b.add(line{work: "verify on two processors", against: "on one", mats: mats, runs: runs, ours: rate(median(two)), theirs: rate(median(one)), ratio: median(one) / median(two)}.atLeast(1.7))
	return nil
}

func verify(path string, chainOnly bool, steps int) (wall, spent float64, err error) {
	s, err := store.Open(path, store.Options{ReadOnly: true})
	if err != nil {
		return 0, 0, err
	}
	defer s.Close()
	do := s.Verify
	if chainOnly {
		do = s.VerifyChain
	}
	begun, before := time.Now(), cpu()
	r, err := do(nil, nil)
	if err != nil {
		return 0, 0, err
	}
	if !r.OK || r.Steps < steps {
		return 0, 0, fmt.Errorf("%s: %d steps, %v", filepath.Base(path), r.Steps, r.Problems)
	}
	return time.Since(begun).Seconds(), (cpu() - before).Seconds(), nil
}

// rawHashes gives the processor time of the hashes alone: the records are copied
// out of the file a part at a time, which does not count.
func rawHashes(path string) (float64, error) {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true})
	if err != nil {
		return 0, err
	}
	defer db.Close()
	var spent time.Duration
	var head [32]byte
	room := make([]byte, 0, 1<<17)
	sum := func(records [][]byte) {
		before := cpu()
		for _, r := range records {
			head = sha256.Sum256(append(append(room[:0], head[:]...), r...))
		}
		spent += cpu() - before
	}
	err = db.View(func(tx *bbolt.Tx) error {
		buffer := make([]byte, 0, 32<<20)
		var records [][]byte
		c := tx.Bucket([]byte("log")).Cursor()
		for k, v := c.First(); k != nil; k, v = c.Next() {
			if len(buffer)+len(v) > cap(buffer) {
				sum(records)
				buffer, records = buffer[:0], records[:0]
			}
			from := len(buffer)
			buffer = append(buffer, v...)
			records = append(records, buffer[from:])
		}
		sum(records)
		return nil
	})
	return spent.Seconds(), err
}
