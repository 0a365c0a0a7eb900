package store

import (
	"errors"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// Steps loaded mat by mat come to the same conditions, due list and indexes as
// recorded one after another; only their numbers in the ledger differ.
func TestLoad(t *testing.T) {
	s, c := smallLedger(t)
	var steps []medium.Step
	require.NoError(t, s.Steps(func(step medium.Step) error { steps = append(steps, step); return nil }))
	path := filepath.Join(folder(t), "loaded.resow")
	each := func(yield func(medium.Step, error) bool) {
		for _, step := range steps {
			if !yield(step, nil) {
				return
			}
		}
	}
	a, err := Load(path, each, c.options())
	require.NoError(t, err)
	require.Equal(t, uint64(len(steps)), a.Count)
	withStore(t, path, c, func(loaded *Store) {
		verifyClean(t, loaded)
		was, is := facts(dump(t, s)), facts(dump(t, loaded))
		for k, v := range was {
			switch bucket, _ := split(k); bucket {
			case "due":
				require.Equal(t, v, is[k], "%q", k)
			case "lots", "tags":
				require.Equal(t, v[sealLen:], is[k][sealLen:], "%q", k)
			case "mats":
				before, err := readEntry(sealed{payload: []byte(v[sealLen:])})
				require.NoError(t, err)
				after, err := readEntry(sealed{payload: []byte(is[k][sealLen:])})
				require.NoError(t, err)
				require.Equal(t, before.Condition, after.Condition)
			}
		}
		require.Len(t, is, len(was))
		var again []medium.Step
		require.NoError(t, loaded.Steps(func(step medium.Step) error { again = append(again, step); return nil }))
		for i := range again {
			require.Equal(t, uint64(i+1), again[i].Seq)
			again[i].Seq = steps[i].Seq
		}
		require.Equal(t, steps, again)
	})

	var exists *ExistsError
	_, err = Load(path, each, c.options())
	require.ErrorAs(t, err, &exists)
	refused := errors.New("the source ended")
	other := filepath.Join(folder(t), "other.resow")
	for _, bad := range [][]medium.Step{{{Mat: "nonsense", Body: &medium.Hold{}}}, nil} {
		_, err = Load(other, func(yield func(medium.Step, error) bool) {
			for _, step := range slices.Concat(steps[:1], bad) {
				if !yield(step, nil) {
					return
				}
			}
			yield(medium.Step{}, refused)
		}, c.options())
		require.Error(t, err)
	}
	require.ErrorIs(t, err, refused)
	left, err := filepath.Glob(filepath.Join(filepath.Dir(other), "*"))
	require.NoError(t, err)
	hidden, err := filepath.Glob(filepath.Join(filepath.Dir(other), ".*.new"))
	require.NoError(t, err)
	require.Empty(t, append(left, hidden...), "nothing is left behind")
}
