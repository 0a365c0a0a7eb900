package main

import (
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/labels"
	"resow/medium"
	"resow/store"
)

// deskClock is a clock that only the test moves.
type deskClock struct {
	sync.Mutex
	at time.Time
}

func (c *deskClock) now() time.Time {
	c.Lock()
	defer c.Unlock()
	return c.at
}

func (c *deskClock) move(d time.Duration) {
	c.Lock()
	defer c.Unlock()
	c.at = c.at.Add(d)
}

// wash is a farm with mats and cards for a session.
type wash struct {
	path  string
	clock *deskClock
	mats  []medium.Code
	cards map[medium.Action]medium.Code
	other medium.Code // a second person
}

func (w *wash) store(t testing.TB, readOnly bool, do func(*store.Store)) {
	t.Helper()
	s, err := store.Open(w.path, store.Options{ReadOnly: readOnly, Now: w.clock.now})
	require.NoError(t, err)
	do(s)
	require.NoError(t, s.Close())
}

func newWash(t testing.TB, mats int) *wash {
	t.Helper()
	random := &seeded{seed: "wash"}
	w := &wash{path: filepath.Join(t.TempDir(), "farm.resow"), cards: map[medium.Action]medium.Code{},
		clock: &deskClock{at: time.Date(2026, 11, 2, 4, 0, 0, 0, time.UTC)}}
	s, err := store.Create(w.path, medium.FarmSettings{Name: "Reed End Greens", Zone: "UTC", Units: medium.Metric, Currency: "EUR", Paper: "a4"}, "MK", store.Options{Now: w.clock.now, Random: random})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	fresh := func(kind byte) medium.Code {
		code, err := labels.NewCode(kind, random)
		require.NoError(t, err)
		return medium.Code(code)
	}
	steps := []medium.Step{{Mat: medium.FarmThread, Body: &medium.Sanitizer{Name: "drum", Active: "quat", Directions: medium.DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 120}}}
	for _, action := range medium.Actions {
		card := medium.Card{Action: action, Code: fresh(labels.Card), Reason: "at the wash", Cause: "wear", DurationS: 3600, Product: "drum", StrengthPPM: 100, ContactS: 120, Method: "spray", Initials: "JD"}
		if action == medium.ActOperator {
			card.Code = fresh(labels.Person)
			second := card
			second.Code, second.Initials = fresh(labels.Person), "ME"
			w.other = second.Code
			steps = append(steps, medium.Step{Mat: medium.FarmThread, Body: &second})
		}
		w.cards[action] = card.Code
		steps = append(steps, medium.Step{Mat: medium.FarmThread, Body: &card})
	}
	for range mats {
		code := fresh(labels.Mat)
		w.mats = append(w.mats, code)
		steps = append(steps, medium.Step{Mat: code, Body: &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Layers: 1}}})
	}
	record := func() {
		for i := range steps {
			steps[i].By = "MK"
		}
		w.store(t, false, func(s *store.Store) {
			_, err := s.Record("", steps)
			require.NoError(t, err)
		})
		steps = nil
	}
	record()
	// every third mat is growing, every third ready; until eight they are washed
	for hour, b := range []medium.Body{&medium.Rinse{Debris: medium.DebrisNone}, &medium.Dry{Where: medium.DryAir},
		&medium.Sanitize{Product: "drum", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "spray"}, &medium.Dry{Where: medium.DryAir},
		&medium.Sow{Crops: []medium.Sown{{Crop: "radish"}}}} {
		w.clock.at = time.Date(2026, 11, 2, 4+hour, 0, 0, 0, time.UTC)
		for i, code := range w.mats {
			if i%3 == 1 || i%3 == 2 && hour < 4 {
				steps = append(steps, medium.Step{Mat: code, Body: b})
			}
		}
		if len(steps) > 0 {
			record()
		}
	}
	return w
}
