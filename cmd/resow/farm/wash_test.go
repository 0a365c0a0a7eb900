package farm

import (
	"crypto/rand"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/labels"
	"resow/medium"
	"resow/store"
)

// washDay is a session on a farm with three washed mats, a card for each action and
// a bottle.
type washDay struct {
	Wash
	t      *testing.T
	store  *store.Store
	now    time.Time
	mats   []medium.Code
	bottle medium.Code
	cards  map[medium.Action]medium.Code
	broken error // of the next record
}

func newWashDay(t *testing.T) *washDay {
	w := &washDay{t: t, now: time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC), cards: map[medium.Action]medium.Code{}}
	clock := func() time.Time { return w.now }
	settings := medium.FarmSettings{Name: "Reed End Greens", Zone: "UTC", Units: medium.Metric, Currency: "EUR",
		Paper: "a4"}
	var err error
	w.store, err = store.Create(filepath.Join(t.TempDir(), "farm.resow"), settings, "MK", store.Options{Now: clock})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, w.store.Close()) })
	fresh := func(kind byte) medium.Code {
		code, err := labels.NewCode(kind, rand.Reader)
		require.NoError(t, err)
		return medium.Code(code)
	}
	w.bottle = fresh(labels.Bottle)
	w.put(medium.FarmThread, &medium.Sanitizer{Name: "drum", Active: "quat", Directions: medium.DirectionsLabel,
		MinPPM: 50, MaxPPM: 200, ContactS: 120})
	w.put(medium.FarmThread, &medium.Solution{Code: w.bottle, Product: "drum", StrengthPPM: 120, StockML: 10,
		WaterML: 990})
	for _, action := range medium.Actions {
		kind := labels.Card
		if action == medium.ActOperator {
			kind = labels.Person
		}
		w.cards[action] = fresh(kind)
		w.put(medium.FarmThread, &medium.Card{Action: action, Code: w.cards[action], Reason: "at the wash", Cause: "wear",
			DurationS: 3600, Product: "drum", StrengthPPM: 100, ContactS: 120, Method: "spray", Initials: "JD"})
	}
	for range 3 {
		code := fresh(labels.Mat)
		w.mats = append(w.mats, code)
		w.put(code, &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Layers: 1}})
	}
	w.Wash = Wash{Now: clock,
		Look: func(do func(*Farm) error) error {
			state, err := w.store.Farm()
			require.NoError(t, err)
			return do(Of(w.store, state, clock, rand.Reader))
		},
		Record: func(step medium.Step) (medium.Step, error) {
			if err := w.broken; err != nil {
				w.broken = nil
				return step, err
			}
			done, err := w.store.Record("", []medium.Step{step})
			if err != nil {
				return step, err
			}
			return done[0], nil
		}}
	return w
}

func (w *washDay) put(mat medium.Code, body medium.Body) {
	w.t.Helper()
	_, err := w.store.Record("", []medium.Step{{Mat: mat, By: "MK", Body: body}})
	require.NoError(w.t, err)
}

// scan scans one after the other, 5 s apart, and gives the last answer.
func (w *washDay) scan(codes ...medium.Code) (answer WashAnswer) {
	for _, code := range codes {
		w.now = w.now.Add(5 * time.Second)
		answer = w.Take(string(code))
	}
	return answer
}

// said are the answers to scans, 5 s apart.
func (w *washDay) said(codes ...medium.Code) (said []WashSaid) {
	for _, code := range codes {
		said = append(said, w.scan(code).Said)
	}
	return said
}

func TestWashFromCardToCard(t *testing.T) {
	w := newWashDay(t)
	card := w.cards
	require.Equal(t, []WashSaid{WashVerdict, WashWho, WashOperator, WashBegun, WashRecorded, WashDoneBefore,
		WashEnded, WashEnded},
		w.said(w.mats[0], card[medium.ActRinseClean], card[medium.ActOperator], card[medium.ActRinseClean],
			w.mats[0], w.mats[0],
			card[medium.ActEnd], card[medium.ActEnd]))
	require.Equal(t, WashTally{Scans: 8, Recorded: 1, Looked: 1, Refused: 1, Doubles: 1}, w.Tally)
	require.Equal(t, "JD", w.By)
	require.Equal(t, medium.ToDry, w.scan(w.mats[0]).Verdict.Stage)
}

func TestWashAsksBeforeARetirement(t *testing.T) {
	w := newWashDay(t)
	w.By = "MK"
	yes := w.cards[medium.ActConfirm]
	require.Equal(t, []WashSaid{WashNothingAsked, WashBegun, WashAsk}, w.said(yes, w.cards[medium.ActRetire], w.mats[0]))
	require.True(t, w.scan(w.mats[1]).Dropped, "another mat leaves the first as it is")
	require.Equal(t, []WashSaid{WashRecorded, WashNothingAsked}, w.said(yes, yes))
	require.Equal(t, []WashSaid{WashEnded, WashVerdict}, w.said(w.cards[medium.ActEnd], w.mats[0]))
	require.Equal(t, medium.Retired, w.scan(w.mats[1]).Verdict.Stage)
	require.Equal(t, WashFailed, w.scan(w.cards[medium.ActRetire], w.mats[1]).Said,
		"what the rules refuse is not asked about")
}

func TestWashUndoesItsOwnStepsAlone(t *testing.T) {
	w := newWashDay(t)
	undo, yes := w.cards[medium.ActUndo], w.cards[medium.ActConfirm]
	require.Equal(t, WashWho, w.scan(undo).Said)
	w.By = "MK"
	require.Equal(t, WashNothingDone, w.scan(undo).Said)
	w.scan(w.cards[medium.ActRinseClean], w.mats[0])
	require.Equal(t, medium.KindRinse, w.scan(undo).Step.Kind)
	undone := w.scan(yes)
	require.Equal(t, WashUndone, undone.Said)
	require.Equal(t, medium.ToWash, undone.After)
	require.Zero(t, w.Action.Done())
	require.Equal(t, []WashSaid{WashNothingDone, WashRecorded}, w.said(undo, w.mats[0]), "it may be rinsed again")
}

func TestWashCountsADoubleReadingOnce(t *testing.T) {
	w := newWashDay(t)
	w.By = "MK"
	mat, release := string(w.mats[0]), w.cards[medium.ActRelease]
	w.scan(w.cards[medium.ActHold], w.mats[0], release)
	require.Equal(t, WashTwice, w.Take(string(release)).Said)
	require.Equal(t, WashAsk, w.scan(w.mats[0]).Said)
	twice := w.Take(mat)
	require.Equal(t, WashTwice, twice.Said)
	require.True(t, twice.Waits)
	require.False(t, twice.Dropped)
	w.now = w.now.Add(-time.Hour)
	require.NotEqual(t, WashTwice, w.Take(mat).Said, "a clock that was put back makes no double")
}

func TestWashFromABottle(t *testing.T) {
	w := newWashDay(t)
	w.By = "MK"
	measure := w.scan(w.bottle)
	require.Equal(t, WashMeasure, measure.Said)
	require.NotEmpty(t, measure.Missing)
	w.put(medium.FarmThread, &medium.Strip{Code: w.bottle, ReadPPM: 120, StepPPM: 20})
	require.Equal(t, WashBegun, w.scan(w.bottle).Said)
	require.Contains(t, w.Action.Text(), "bottle "+w.bottle.String())
	require.Equal(t, w.bottle, w.Action.body().(*medium.Sanitize).Solution)
	w.put(medium.FarmThread, &medium.Discard{Code: w.bottle})
	require.Equal(t, WashNoBottle, w.scan(w.bottle).Said)
}

func TestWashEndsWhatNobodyGoesOnWith(t *testing.T) {
	w := newWashDay(t)
	w.By = "MK"
	_, open := w.Idle()
	require.False(t, open)
	w.scan(w.cards[medium.ActRinseClean])
	ended, open := w.Idle()
	require.True(t, open)
	require.True(t, ended.Idle)
	require.NotNil(t, ended.Action)
	require.Equal(t, WashVerdict, w.scan(w.mats[0]).Said)
}

// What nobody knows to be recorded may be scanned again at once, and a text that
// names nothing is an answer too.
func TestWashGoesOnAfterAFailure(t *testing.T) {
	w := newWashDay(t)
	w.By = "MK"
	w.scan(w.cards[medium.ActRinseClean])
	w.broken = errors.New("the disk is full")
	failed := w.scan(w.mats[0])
	require.Equal(t, WashFailed, failed.Said)
	require.EqualError(t, failed.Err, "the disk is full")
	require.Equal(t, WashRecorded, w.Take(string(w.mats[0])).Said)
	require.Equal(t, []WashSaid{WashUnread, WashFailed, WashFailed}, w.said("stray!", "mark:none", "TK7R2N81"))
	w.Look = func(func(*Farm) error) error { return errors.New("the ledger is busy") }
	require.Equal(t, []WashSaid{WashFailed, WashFailed, WashUnread}, w.said(w.mats[1], w.cards[medium.ActEnd], "TK7R2"))
}

func TestWashOfACardThatWasWithdrawn(t *testing.T) {
	w := newWashDay(t)
	w.By = "MK"
	hold := w.cards[medium.ActHold]
	w.scan(hold)
	w.put(medium.FarmThread, &medium.Card{Action: medium.ActHold, Code: hold, Reason: "at the wash", Withdrawn: true})
	require.Equal(t, []WashSaid{WashWithdrawn, WashVerdict, WashUnknownCard}, w.said(w.mats[0], w.mats[0], hold))
}

// TestTheSameMatsAgain: what was washed is dried, sanitized and dried again by two scans
// each, and what somebody has to look at is not.
func TestTheSameMatsAgain(t *testing.T) {
	w := newWashDay(t)
	card := w.cards
	require.Equal(t, WashNoSame, w.scan(card[medium.ActOperator], card[medium.ActSame]).Said, "no action is open")
	require.Equal(t, WashNoSame, w.scan(card[medium.ActRinseClean], card[medium.ActSame]).Said, "each is looked at")
	w.scan(w.mats...)
	scans := w.Tally.Scans
	for i, action := range []medium.Action{medium.ActDryAir, medium.ActSanitize, medium.ActDryAir} {
		w.now = w.now.Add(2 * time.Hour)
		answer := w.scan(card[action])
		if action == medium.ActSanitize {
			answer = w.scan(w.bottle)
		}
		if action == medium.ActSanitize && answer.Said == WashMeasure {
			w.put(medium.FarmThread, &medium.Strip{Code: w.bottle, ReadPPM: 120, StepPPM: 10})
			answer = w.scan(w.bottle)
		}
		require.Equal(t, WashBegun, answer.Said, action)
		answer = w.scan(card[medium.ActSame])
		require.Equal(t, WashSame, answer.Said)
		require.Equal(t, 3, answer.Count, "%d %s: %v", i, action, answer.Refused)
		require.Empty(t, answer.Refused)
	}
	require.LessOrEqual(t, w.Tally.Scans-scans, 9, "for any number of mats")
	for _, mat := range w.mats {
		c, err := w.farm().Condition(mat)
		require.NoError(t, err)
		require.Equal(t, medium.Ready, c.Stage)
	}
	require.Equal(t, 0, w.scan(card[medium.ActSame]).Count, "done already")
}
