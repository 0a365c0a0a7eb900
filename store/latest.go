package store

import (
	"go.etcd.io/bbolt"

	"resow/medium"
)

// latestAtOnce is how many records one look at the end of the log reads.
const latestAtOnce = 256

// Latest gives the steps from the last recorded back, of mats and of the farm, until
// yield returns false. What is recorded meanwhile does not show.
func (s *Store) Latest(yield func(medium.Step) bool) error {
	l, _, err := s.ledgerNow()
	for next, more := l.Count, true; err == nil && more && next > 0; {
		var steps []medium.Step
		err = s.view(func(tx *bbolt.Tx) (err error) {
			steps, err = before(tx, next)
			return err
		})
		for _, step := range steps {
			if more = yield(step); !more {
				break
			}
		}
		next -= min(next, latestAtOnce)
	}
	return err
}

// before reads the records from a position back, the last first.
func before(tx *bbolt.Tx, position uint64) (steps []medium.Step, err error) {
	log := tx.Bucket(bucketLog).Cursor()
	for k, stored := log.Seek(logKey(position)); k != nil && len(steps) < latestAtOnce; k, stored = log.Prev() {
		at := positionIn(k)
		h, _, rest, err := headOf(at, stored)
		if err != nil {
			return nil, &RecordError{Code: printable(h.Mat), MatSeq: h.MatSeq, Err: err}
		}
		step, err := stepOf(at, h, rest)
		if err != nil {
			return nil, &RecordError{Code: printable(h.Mat), MatSeq: h.MatSeq, Err: err}
		}
		steps = append(steps, step)
	}
	return steps, nil
}
