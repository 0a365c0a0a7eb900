package store

// Repair makes all that is derived anew: conditions, the due list, the lists of
// lots, other codes, marks and request tokens, the farm's settings. It never
// touches a record, nor the count and head of the ledger, which are the witness
// against a changed record. It gives what Verify found before and finds after.
//
// A container with broken pages is a DamagedError: nothing is written then. So
// is nothing where a record can't be read or does not chain; all need a backup.
func (s *Store) Repair(want *Anchor) (before, after Report, err error) {
	if s.o.ReadOnly {
		return before, after, &ReadOnlyError{Path: s.path}
	}
	if before, err = s.Verify(nil, want); err != nil || before.OK {
		return before, before, err
	}
	if err = s.sound(&verifier{want: want}); err == nil { // from a log that lacks its end, a mat would seem ready
		err = s.rebuild()
	}
	if err != nil {
		return before, before, err
	}
	s.viewsErr = nil
	after, err = s.Verify(nil, want)
	return before, after, err
}
