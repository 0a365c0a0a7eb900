package station

import (
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// together lets jobs come in while somebody else has the ledger, so that the
// door finds all of them waiting, and gives what each caller was told.
func (r *running) together(t *testing.T, jobs ...func() error) []error {
	held, err := store.Open(r.path, store.Options{Now: r.clock.Now})
	require.NoError(t, err)
	told := make([]error, len(jobs))
	var wait sync.WaitGroup
	for i, do := range jobs {
		began := r.door.length()
		wait.Go(func() { told[i] = do() })
		if i > 0 { // the first is taken by the door and waits for the lock there
			require.Eventually(t, func() bool { return r.door.length() > began }, time.Second, time.Millisecond)
			continue
		}
		time.Sleep(50 * time.Millisecond)
	}
	require.NoError(t, held.Close())
	wait.Wait()
	return told
}

func mist(r *running, mat medium.Code, ml float64) func() error {
	return func() error {
		_, err := r.door.record(r.newToken(), func(*farm.Farm) ([]medium.Step, error) {
			return []medium.Step{{Mat: mat, By: "MK", Body: &medium.Mist{WaterML: ml}}}, nil
		})
		return err
	}
}

// One refused request must not spoil the others of its commit, nor one that
// meets a mistake of the program.
func TestManyRequestsShareACommit(t *testing.T) {
	s, _ := start(t, nil)
	growing := s.inStage(t, medium.Growing)
	planned := errors.New("no plan")
	before, commits := s.anchor(t), s.door.commits.Load()
	untouched := s.thread(t, growing[3])
	token := s.newToken()
	twice := func() error {
		_, err := s.door.record(token, func(*farm.Farm) ([]medium.Step, error) {
			return []medium.Step{{Mat: growing[2], By: "MK", Body: &medium.Mist{WaterML: 70}}}, nil
		})
		return err
	}
	told := s.together(t,
		mist(s, growing[0], 10),
		mist(s, growing[0], 20),
		mist(s, "T0000000", 30),
		mist(s, growing[1], -1),
		func() error {
			_, err := s.door.record(s.newToken(), func(*farm.Farm) ([]medium.Step, error) { return nil, planned })
			return err
		},
		func() error {
			_, err := s.door.record(s.newToken(), func(*farm.Farm) ([]medium.Step, error) { panic("in the plan") })
			return err
		},
		func() error {
			_, err := s.door.record(s.newToken(), func(*farm.Farm) ([]medium.Step, error) { // half of it would do
				return []medium.Step{{Mat: growing[3], By: "MK", Body: &medium.Mist{}}, {Mat: growing[3], By: "MK", Body: &medium.Rinse{Debris: "none"}}}, nil
			})
			return err
		},
		twice, twice,
		mist(s, growing[1], 40),
	)
	require.NoError(t, told[0])
	require.NoError(t, told[1])
	require.ErrorContains(t, told[2], "T0000000")
	require.True(t, as[*medium.InputError](told[3]), "%v", told[3])
	require.ErrorIs(t, told[4], planned)
	_, mistake := isPanic(told[5])
	require.True(t, mistake)
	require.True(t, as[*medium.StageError](told[6]), "%v", told[6])
	require.NoError(t, told[7])
	require.NoError(t, told[8])
	require.NoError(t, told[9])
	require.Equal(t, before+4, s.anchor(t), "two mists, the repeated one once, one more")
	require.LessOrEqual(t, s.door.commits.Load()-commits, int64(2), "the first may be alone")
	require.Equal(t, int64(1), s.door.repeats.Load())
	require.InDelta(t, 20, last(s.thread(t, growing[0])).Body.(*medium.Mist).WaterML, 0, "in the order in which they came")
	require.Equal(t, untouched, s.thread(t, growing[3]), "all or nothing within a request")
}

func last(thread []medium.Step) medium.Step { return thread[len(thread)-1] }

func TestMistakeInOneRequestOfACommit(t *testing.T) {
	s, _ := start(t, nil)
	growing := s.inStage(t, medium.Growing)
	var none *medium.Mist // a rule that looks into it fails inside the commit
	told := s.together(t, mist(s, growing[0], 1), mist(s, growing[0], 2), func() error {
		_, err := s.door.record(s.newToken(), func(*farm.Farm) ([]medium.Step, error) {
			return []medium.Step{{Mat: growing[1], By: "MK", Body: none}}, nil
		})
		return err
	}, mist(s, growing[2], 3))
	for i, err := range told {
		if _, mistake := isPanic(err); i == 2 {
			require.True(t, mistake, "%v", err)
			continue
		}
		require.NoError(t, err)
	}
	require.InDelta(t, 3, last(s.thread(t, growing[2])).Body.(*medium.Mist).WaterML, 0)
	s.read(t, func(st *store.Store) {
		found, err := st.Verify(nil, nil)
		require.NoError(t, err)
		require.True(t, found.OK)
	})
}

// A plan sees the farm as the requests before it left it.
func TestPlansFollowTheFarm(t *testing.T) {
	s, _ := start(t, nil)
	growing := s.inStage(t, medium.Growing)
	var saw float64
	change := func(limit float64) func() error {
		return func() error {
			_, err := s.door.record(s.newToken(), func(v *farm.Farm) ([]medium.Step, error) {
				set := v.Policy.Setting("max-turns")
				saw, set.Limit = set.Limit, limit
				return []medium.Step{{Mat: medium.FarmThread, By: "SV", Body: &medium.PolicyChange{Setting: set, Reason: "trial"}}}, nil
			})
			return err
		}
	}
	at := s.clock.Now()
	aged := func() error {
		_, err := s.door.record(s.newToken(), func(v *farm.Farm) ([]medium.Step, error) {
			c, err := v.Condition(growing[0])
			return []medium.Step{{Mat: growing[0], By: "MK", At: c.Last, Body: &medium.Mist{WaterML: 7}}}, err
		})
		return err
	}
	for _, err := range s.together(t, mist(s, growing[1], 1), mist(s, growing[0], 1), change(31), change(32), mist(s, growing[0], 2), aged) {
		require.NoError(t, err)
	}
	require.Equal(t, 31.0, saw)
	require.Equal(t, at.UTC(), last(s.thread(t, growing[0])).At.UTC(), "the time of the mat's step that was waiting in the same batch")
}

// A long reading keeps nobody from recording, neither here nor on the command
// line, and sees the ledger as it was when it began.
func TestLongReadingKeepsNobodyWaiting(t *testing.T) {
	s, _ := start(t, nil)
	mat := s.inStage(t, medium.Growing)[0]
	began, goOn := make(chan struct{}), make(chan struct{})
	var was, is uint64
	ended := make(chan error)
	go func() {
		ended <- s.door.long(func(v *farm.Farm) error {
			a, err := v.Anchor()
			was = a.Count
			close(began)
			<-goOn
			b, err2 := v.Anchor()
			is = b.Count
			return errors.Join(err, err2)
		})
	}()
	<-began
	require.NoError(t, mist(s, mat, 10)())
	st, err := store.Open(s.path, store.Options{Now: s.clock.Now, Wait: 100 * time.Millisecond})
	require.NoError(t, err)
	_, err = st.Record("", []medium.Step{{Mat: mat, By: "CLI", Body: &medium.Mist{WaterML: 5}}})
	require.NoError(t, err)
	require.NoError(t, st.Close())
	close(goOn)
	require.NoError(t, <-ended)
	require.Equal(t, was, is)
	require.Equal(t, was+2, s.anchor(t))
	left, err := filepath.Glob(filepath.Join(s.door.folder, copyNames))
	require.NoError(t, err)
	require.Empty(t, left, "the copy is gone")

	require.NoError(t, os.WriteFile(filepath.Join(s.door.folder, ".copy-1"), nil, 0o600))
	dropCopies(s.door.folder)
	require.NoFileExists(t, filepath.Join(s.door.folder, ".copy-1"))
	_, mistake := isPanic(s.door.long(func(*farm.Farm) error { panic("in a report") }))
	require.True(t, mistake)
	s.stop()
	require.True(t, as[*ClosedError](s.door.long(func(*farm.Farm) error { return nil })))
}
