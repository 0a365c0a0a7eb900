package store

import (
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

func TestLatestGoesBackThroughTheWholeLedger(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(1, 2*latestAtOnce+7)...)
	c.after(1)
	var got []uint64
	require.NoError(t, s.Latest(func(s medium.Step) bool { got = append(got, s.Seq); return true }))
	anchor, err := s.Anchor()
	require.NoError(t, err)
	require.Len(t, got, int(anchor.Count))
	for i, seq := range got {
		require.Equal(t, anchor.Count-uint64(i), seq)
	}
	got = nil
	require.NoError(t, s.Latest(func(s medium.Step) bool { got = append(got, s.Seq); return len(got) < 3 }))
	require.Len(t, got, 3)
}
