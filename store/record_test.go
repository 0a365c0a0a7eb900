package store

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"resow/medium"
)

// Requests recorded together come to the very bytes that they come to one
// after another: records, conditions, due list, indexes, heads and answers.
func TestEachIsAsOneAfterAnother(t *testing.T) {
	rapidChecks(t, 150) // -short takes a fifth of them
	if deep() {
		rapidChecks(t, 3000)
	}
	content := template(t)
	dir := folder(t)
	together, mixed, repeated := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		c := &clock{now: start.Add(time.Hour)}
		one, each := openCopy(t, filepath.Join(dir, "one.resow"), content, c), openCopy(t, filepath.Join(dir, "each.resow"), content, c)
		defer one.Close()
		defer each.Close()
		m := newModel()
		if err := one.Steps(func(s medium.Step) error { m.add("", []medium.Step{s}); return nil }); err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(3, 8).Draw(t, "commits") {
			var requests []Request
			var want []Answer
			for range rapid.IntRange(1, 8).Draw(t, "requests") {
				c.after(time.Duration(rapid.SampledFrom([]int{60, 30, 5, 400, 0, 0, -20}).Draw(t, "minutes")) * time.Minute)
				token, steps := drawRequest(t, m, c.now)
				steps = slices.Clone(steps)
				for i := range steps { // each person their own
					steps[i].By = rapid.SampledFrom([]string{steps[i].By, "cd"}).Draw(t, "by")
				}
				before, _ := one.Anchor()
				got, err := one.Record(token, steps)
				after, _ := one.Anchor()
				again := err == nil && after == before
				if err == nil && !again {
					m.add(token, got)
					if token != "" {
						m.requests = append(m.requests, request{token, steps})
					}
				}
				requests = append(requests, Request{Token: token, Steps: steps, Now: c.now})
				want = append(want, Answer{Steps: got, Repeated: again, Err: err})
			}
			got, err := each.RecordEach(requests)
			if err != nil {
				t.Fatal(err)
			}
			refused := 0
			for i := range want {
				if fmt.Sprintf("%T %v", got[i].Err, got[i].Err) != fmt.Sprintf("%T %v", want[i].Err, want[i].Err) {
					t.Fatalf("request %d: %v, alone %v", i, got[i].Err, want[i].Err)
				}
				if !reflect.DeepEqual(got[i].Steps, want[i].Steps) || got[i].Repeated != want[i].Repeated {
					t.Fatalf("request %d:\n%+v, alone\n%+v", i, got[i], want[i])
				}
				if want[i].Err != nil {
					refused++
				}
				if want[i].Repeated {
					repeated++
				}
			}
			together += len(requests)
			if refused > 0 && refused < len(want) {
				mixed++
			}
			same(t, each, one)
		}
	})
	t.Logf("%d requests together; %d commits held both refused and recorded ones; %d requests were repeats", together, mixed, repeated)
	if !testing.Short() { // thirty sequences may lack the one or the other
		require.NotZero(t, mixed)
		require.NotZero(t, repeated)
	}
}

// same compares all that two files hold.
func same(t *rapid.T, got, want *Store) {
	a, b := facts(contents(t, got)), facts(contents(t, want))
	for k, v := range b {
		if a[k] != v {
			t.Fatalf("%q: %x, one after another %x", k, a[k], v)
		}
	}
	for k := range a {
		if _, ok := b[k]; !ok {
			t.Fatalf("%q is there, and not one after another", k)
		}
	}
}

func openCopy(t *rapid.T, path string, content []byte, c *clock) *Store {
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Open(path, c.options())
	if err != nil {
		t.Fatal(err)
	}
	s.db.NoSync = true
	return s
}

// A request that is refused at its last step takes back all that its steps had
// written: records, names, lots, tokens, the farm's settings and policy.
func TestRefusedRequestLeavesNothing(t *testing.T) {
	s, c := smallLedger(t)
	c.after(48 * time.Hour)
	marked := mesh()
	marked.Mark = "star"
	zone := settings
	zone.Zone = "America/Chicago"
	refused := step(code(999), &medium.Hold{Reason: "no such mat"})
	bad := [][]medium.Step{
		{step(code(50), &medium.Add{Mat: marked}), step(code(50), &medium.Hold{Reason: "x"}), step(code(50), &medium.Relabel{Reason: "r", NewCode: code(51), Mark: "moon"}),
			step(code(50), &medium.Relabel{Reason: "r", Mark: "moon"}), refused},
		{step(code(1), &medium.Harvest{YieldG: 12}), step(code(1), &medium.Correct{MatSeq: 6, Reason: "another lot"}), refused},
		{step(code(3), &medium.Rinse{Debris: medium.DebrisNone}), step(code(12), &medium.Rinse{Debris: medium.DebrisNone}), refused},
		{step("", &zone), step("", &medium.PolicyChange{Setting: medium.Setting{Rule: "wet-hours", On: true, Limit: 3.5}, Reason: "r"}),
			step("", &medium.Crop{Name: "shiso", DaysMin: 8, DaysMax: 9}), refused},
	}
	before := dump(t, s)
	for i, steps := range bad {
		answers, err := s.RecordEach([]Request{{Token: fmt.Sprint("bad", i), Steps: steps}})
		require.NoError(t, err)
		var unknown *UnknownMatError
		require.ErrorAs(t, answers[0].Err, &unknown, "it came to the last step")
		require.Nil(t, answers[0].Steps)
		require.Equal(t, before, dump(t, s))
	}

	good := func(n int) Request {
		return Request{Token: fmt.Sprint("good", n), Steps: []medium.Step{step(code(60+n), &medium.Add{Mat: mesh()})}}
	}
	other, err := Create(filepath.Join(t.TempDir(), "other.resow"), settings, "ab", c.options())
	require.NoError(t, err)
	require.NoError(t, other.Close())
	copied, err := os.ReadFile(s.path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(other.path, copied, 0o600))
	other, err = Open(other.path, c.options())
	require.NoError(t, err)
	defer other.Close()
	requests := []Request{good(0)}
	for i, steps := range bad {
		requests = append(requests, Request{Token: fmt.Sprint("bad", i), Steps: steps}, good(i+1))
	}
	answers, err := s.RecordEach(requests)
	require.NoError(t, err)
	for i, a := range answers {
		require.Equal(t, i%2 == 1, a.Err != nil, "request %d: %v", i, a.Err)
		if a.Err == nil {
			_, err := other.Record(requests[i].Token, requests[i].Steps)
			require.NoError(t, err)
		}
	}
	derived := func(s *Store) map[string]string {
		all := dump(t, s)
		all["meta/sums"] = all["meta/sums"][checkLen+tieLen:] // before that stand the numbers of the commits
		return all
	}
	require.Equal(t, derived(other), derived(s), "as if the refused ones had not been")
}

// A sowing writes the key of a lot that is there already, without a value: its
// refusal must leave the key.
func TestRefusedSowingKeepsTheLot(t *testing.T) {
	s, c := newStore(t)
	record(t, s, append(adds(1, 1), sanitizer())...)
	c.after(time.Hour)
	turn := append(c.wash(code(1)), sow(code(1), "L1"))
	turn[4].At = c.now
	harvest := step(code(1), &medium.Harvest{YieldG: 5})
	harvest.At = c.now
	again := append([]medium.Step{harvest}, append(c.wash(code(1)), sow(code(1), "L1"), step(code(999), &medium.Hold{Reason: "x"}))...)
	answers, err := s.RecordEach([]Request{{Steps: turn}, {Steps: again}})
	require.NoError(t, err)
	require.NoError(t, answers[0].Err)
	var unknown *UnknownMatError
	require.ErrorAs(t, answers[1].Err, &unknown)
	mats, err := s.Lot("L1")
	require.NoError(t, err)
	require.Equal(t, []medium.Code{code(1)}, mats)
}

// Mold that is told after the next sowing counts for the crop on which it was
// seen, also where both are in one request, and stops the mat from now on.
func TestMoldOfAnEarlierTurn(t *testing.T) {
	s, c := newStore(t)
	record(t, s, append(adds(1, 1), sanitizer())...)
	var seen time.Time
	for range 2 {
		record(t, s, c.wash(code(1))...)
		record(t, s, sow(code(1), "L1"))
		c.after(time.Hour)
		seen = c.now
		c.after(time.Hour)
		record(t, s, step(code(1), &medium.Harvest{YieldG: 5}))
	}
	turn := append(c.wash(code(1)), sow(code(1), "L3"))
	turn[4].At = c.now
	late := step(code(1), &medium.Mold{Where: "crop"})
	late.At = seen
	c.after(time.Hour)
	got := record(t, s, append(turn, late)...)[5]
	require.Equal(t, 2, got.SeenTurn)
	require.Equal(t, seen.UTC(), got.Seen)
	require.Equal(t, c.now.UTC(), got.At)
	cond, err := s.Condition(code(1))
	require.NoError(t, err)
	require.Equal(t, []int{2}, cond.MoldTurns)
	require.Equal(t, medium.OnHold, cond.Stage)
	require.Equal(t, medium.Growing, cond.HeldIn)
}

// Requests that record nothing cost no write at all.
func TestNothingToRecordIsNotCommitted(t *testing.T) {
	s, _ := newStore(t)
	first := Request{Token: "tok", Steps: adds(1, 2)}
	answers, err := s.RecordEach([]Request{first, first})
	require.NoError(t, err)
	require.False(t, answers[0].Repeated)
	require.True(t, answers[1].Repeated)
	require.Equal(t, answers[0].Steps, answers[1].Steps)
	before := s.db.Stats()
	answers, err = s.RecordEach([]Request{first, {Steps: adds(1, 1)}, {}, {Token: "tok", Steps: adds(5, 1)}})
	require.NoError(t, err)
	require.True(t, answers[0].Repeated)
	for _, a := range answers[1:] {
		require.Error(t, a.Err)
	}
	after := s.db.Stats()
	diff := after.Sub(&before)
	require.Zero(t, diff.TxStats.GetWrite())
	answers, err = s.RecordEach(nil)
	require.NoError(t, err)
	require.Empty(t, answers)
}

// Each request keeps the time at which it was asked, its person and its token.
func TestEachKeepsItsOwnClock(t *testing.T) {
	s, c := newStore(t)
	asked := start.Add(20 * time.Minute)
	c.after(time.Hour)
	with := func(token, by string, now time.Time, n int) Request {
		st := adds(n, 1)
		st[0].By = by
		return Request{Token: token, Steps: st, Now: now}
	}
	answers, err := s.RecordEach([]Request{with("a", "mk", asked, 1), with("b", "jo", time.Time{}, 2)})
	require.NoError(t, err)
	require.True(t, answers[0].Steps[0].Recorded.Equal(asked))
	require.Equal(t, []string{"mk", "a"}, []string{answers[0].Steps[0].By, answers[0].Steps[0].Token})
	require.True(t, answers[1].Steps[0].Recorded.Equal(c.now), "the store's own clock where none is named")
	require.Equal(t, []string{"jo", "b"}, []string{answers[1].Steps[0].By, answers[1].Steps[0].Token})
}

// One commit for all: few more pages than one request takes (TestSyncsOfOneStep
// counts the calls that make it durable).
func TestEachIsOneCommit(t *testing.T) {
	s, _ := newStore(t)
	before := s.db.Stats()
	var requests []Request
	for i := range 64 {
		requests = append(requests, Request{Token: fmt.Sprint("t", i), Steps: adds(i, 1)})
	}
	_, err := s.RecordEach(requests)
	require.NoError(t, err)
	after := s.db.Stats()
	diff := after.Sub(&before)
	t.Logf("%d pages for 64 requests", diff.TxStats.GetPageCount())
	require.LessOrEqual(t, diff.TxStats.GetPageCount(), int64(40))
}
