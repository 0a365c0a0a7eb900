package store

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// Values that lie on a limit.
func TestEdges(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(1, 1)...)
	longest := strings.Repeat("t", maxToken)
	_, err := s.Record(longest, []medium.Step{step(code(1), &medium.Hold{Reason: "a"})})
	require.NoError(t, err)
	_, err = s.Record(longest+"t", []medium.Step{step(code(1), &medium.Hold{Reason: "a"})})
	var input *medium.InputError
	require.ErrorAs(t, err, &input)

	require.Equal(t, "az az 09[`{", fold("  AZ az\t09[`{ "))

	record(t, s, step(code(1), &medium.Release{Reason: "b"}))
	all, err := s.Due(c.now.AddDate(1, 0, 0), 0)
	require.NoError(t, err)
	require.Len(t, all, 1)
	at := all[0].At.Truncate(time.Second)
	then, err := s.Due(at, 0)
	require.NoError(t, err)
	require.Len(t, then, 1, "it is due at that second")
	before, err := s.Due(at.Add(-time.Second), 0)
	require.NoError(t, err)
	require.Empty(t, before)
}

func TestFormatBeforeTheFirst(t *testing.T) {
	path, c := closedLedger(t, 1)
	withStore(t, path, c, func(s *Store) {
		none, err := encode(&identity{MadeBy: "resow test", ID: s.ID()})
		require.NoError(t, err)
		tamper(t, s, func(put func(bucket, key string, value []byte)) { put("meta", "identity", none) })
	})
	_, err := Open(path, c.options())
	var newer *NewerError
	require.ErrorAs(t, err, &newer)
}
