package store

import (
	"encoding/binary"
	"sort"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// rebuild makes all that is derived anew from the records, in one transaction.
// It fails, and changes nothing, where a record can't be read.
func (s *Store) rebuild() error {
	s.write.Lock()
	defer s.write.Unlock()
	err := s.guard(func() error { return s.db.Update(rebuildViews) })
	if err != nil {
		return writeError(s.path, err)
	}
	return nil
}

func rebuildViews(tx *bbolt.Tx) error {
	for _, name := range [][]byte{bucketMats, bucketFarm, bucketDue, bucketLots, bucketTags, bucketTokens} {
		if err := tx.DeleteBucket(name); err != nil {
			return err
		}
		if _, err := tx.CreateBucket(name); err != nil {
			return err
		}
	}
	farm, err := readThread(tx, medium.FarmThread)
	if err != nil {
		return err
	}
	f := foldFarm(farm.steps)
	if err := put(tx.Bucket(bucketFarm), keyFarm, &farmEntry{Head: farm.head[:], Len: uint64(len(farm.steps)), Farm: f}); err != nil {
		return err
	}
	tokens := map[string][][]byte{}
	err = readThreads(tx, func(mat medium.Code, t thread) error {
		for _, s := range t.steps {
			if s.Token != "" {
				tokens[s.Token] = append(tokens[s.Token], appendRef(nil, s))
			}
		}
		if mat == medium.FarmThread {
			return nil
		}
		d, err := derive(t, f)
		if err != nil {
			return err
		}
		return d.put(tx, mat)
	})
	if err != nil {
		return err
	}
	for token, refs := range tokens {
		sort.Slice(refs, func(i, j int) bool { return binary.BigEndian.Uint64(refs[i]) < binary.BigEndian.Uint64(refs[j]) })
		var joined []byte
		for _, r := range refs {
			joined = append(joined, r...)
		}
		if err := tx.Bucket(bucketTokens).Put([]byte(token), joined); err != nil {
			return err
		}
	}
	return tx.Bucket(bucketMeta).Put(keyViews, viewsVersion())
}

func (d derived) put(tx *bbolt.Tx, mat medium.Code) error {
	if err := put(tx.Bucket(bucketMats), []byte(mat), &d.entry); err != nil {
		return err
	}
	if d.work != nil {
		if err := tx.Bucket(bucketDue).Put(dueKey(d.entry.Due, mat), d.work); err != nil {
			return err
		}
	}
	for k := range d.lots {
		if err := tx.Bucket(bucketLots).Put([]byte(k), nil); err != nil {
			return err
		}
	}
	for k := range d.tags {
		if err := tx.Bucket(bucketTags).Put([]byte(k), []byte(mat)); err != nil {
			return err
		}
	}
	return nil
}
