package main

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
	"resow/store"
)

func (w *wash) loop(by string) (*washLoop, *bytes.Buffer) {
	var out bytes.Buffer
	a := &app{world: world{out: &out, err: &out, env: func(string) string { return "" }, now: w.clock.now, random: &seeded{seed: "loop"}}, path: w.path, Terminal: ui.Terminal{Out: &out, Err: &out, Color: "never"}}
	return a.newLoop(by), &out
}

// take answers a scan in words.
func (w *washLoop) take(scan string) loud { return loudly(w.Take(scan)) }

// say scans one after the other, 5 s apart, and gives the large words.
func (w *wash) say(l *washLoop, scans ...string) []string {
	var words []string
	for _, scan := range scans {
		w.clock.move(5 * time.Second)
		words = append(words, l.take(scan).Word)
	}
	return words
}

func TestLoopSanitizesFromABottle(t *testing.T) {
	w := newWash(t, 3)
	random := &seeded{seed: "bottle"}
	bottle, err := labels.NewCode(labels.Bottle, random)
	require.NoError(t, err)
	strange, err := labels.NewCode(labels.Bottle, random)
	require.NoError(t, err)
	w.store(t, false, func(s *store.Store) {
		_, err := s.Record("", []medium.Step{{By: "MK", Mat: medium.FarmThread, Body: &medium.Solution{Code: medium.Code(bottle), Product: "drum", StrengthPPM: 120, StockML: 10, WaterML: 990}},
			{By: "MK", Mat: medium.FarmThread, Body: &medium.Sanitizer{Name: "warm", Active: "hypochlorite", Directions: medium.DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 120, MinTempC: 24}}})
		require.NoError(t, err)
	})
	l, _ := w.loop("JD")
	ready := string(w.mats[2])
	require.Equal(t, []string{"UNKNOWN BOTTLE", "MEASURE"}, w.say(l, strange, bottle), "no strip was read in it")
	w.store(t, false, func(s *store.Store) {
		_, err := s.Record("", []medium.Step{{By: "MK", Mat: medium.FarmThread, Body: &medium.Strip{Code: medium.Code(bottle), ReadPPM: 120, StepPPM: 20}}})
		require.NoError(t, err)
	})
	w.clock.move(2 * time.Minute) // the contact time
	require.Equal(t, []string{"SANITIZE", "SANITIZED", "END"}, w.say(l, bottle, ready, string(w.cards[medium.ActEnd])))
	w.store(t, true, func(s *store.Store) {
		thread, err := s.Thread(w.mats[2])
		require.NoError(t, err)
		b, ok := thread[len(thread)-1].Body.(*medium.Sanitize)
		require.True(t, ok)
		require.Equal(t, medium.Code(bottle), b.Solution)
		require.Equal(t, 120.0, b.StrengthPPM)
		require.Equal(t, "drum", b.Product)
		require.Equal(t, 120, b.ContactS)
		require.Equal(t, "JD", thread[len(thread)-1].By)
	})
}

func TestLoopSaysWhenACodeComesTwiceInOneAction(t *testing.T) {
	w := newWash(t, 3)
	l, _ := w.loop("JD")
	a, b := string(w.mats[0]), string(w.mats[2])
	rinse := string(w.cards[medium.ActRinseClean])
	require.Equal(t, []string{"RINSED CLEAN", "RINSED", "RINSED", "DONE BEFORE"}, w.say(l, rinse, a, b, a))
	w.clock.move(5 * time.Second)
	require.Contains(t, strings.Join(l.take(a).Text, " "), "resow tags conflict "+a)
	require.Equal(t, []string{"RINSED CLEAN", "RINSED"}, w.say(l, rinse, a), "the card again begins anew")
}

func TestLoopWithACardWithdrawnMeanwhile(t *testing.T) {
	w := newWash(t, 3)
	l, _ := w.loop("JD")
	hold := w.cards[medium.ActHold]
	require.Equal(t, []string{"HOLD", "ON HOLD"}, w.say(l, string(hold), string(w.mats[0])))
	w.store(t, false, func(s *store.Store) {
		f, err := s.Farm()
		require.NoError(t, err)
		card, ok := f.Card(hold)
		require.True(t, ok)
		card.Withdrawn = true
		_, err = s.Record("", []medium.Step{{By: "MK", Mat: medium.FarmThread, Body: &card}})
		require.NoError(t, err)
	})
	require.Equal(t, []string{"UNKNOWN CARD", "DO NOT SOW", "UNKNOWN CARD"}, w.say(l, string(w.mats[1]), string(w.mats[1]), string(hold)))
	require.Equal(t, 1, l.Tally.Recorded)
}

// What waits for CONFIRM is done by CONFIRM alone, and only at once.
func TestLoopAsksBeforeWhatCannotBeTakenLightly(t *testing.T) {
	w := newWash(t, 3)
	l, _ := w.loop("JD")
	card := func(a medium.Action) string { return string(w.cards[a]) }
	mat := string(w.mats[0])
	require.Equal(t, []string{"RETIRE", "RETIRE?", "RETIRED"}, w.say(l, card(medium.ActRetire), mat, card(medium.ActConfirm)))
	require.Equal(t, []string{"UNDO?", "END", "CONFIRM WHAT?"}, w.say(l, card(medium.ActUndo), card(medium.ActEnd), card(medium.ActConfirm)))
	require.Equal(t, []string{"UNDO?", "UNDONE", "NOTHING", "DO NOT SOW"}, w.say(l, card(medium.ActUndo), card(medium.ActConfirm), card(medium.ActUndo), mat))
	require.Equal(t, []string{"WHO?", "WHO?"}, func() []string { l.By = ""; return w.say(l, card(medium.ActHold), card(medium.ActUndo)) }())
	require.Equal(t, farm.WashTally{Scans: 12, Recorded: 1, Undone: 1, Looked: 1, Refused: 4}, l.Tally)
}

// Anything but CONFIRM leaves it as it is, as the screen promises: a later
// CONFIRM confirms nothing.
func TestLoopAnythingElseDropsTheQuestion(t *testing.T) {
	stray, err := labels.NewCode(labels.Card, &seeded{seed: "stray"})
	require.NoError(t, err)
	bottle, err := labels.NewCode(labels.Bottle, &seeded{seed: "stray"})
	require.NoError(t, err)
	for name, other := range map[string]string{"garbage": "stray!", "a half read": "TK7R2", "an unknown card": stray, "an unknown bottle": bottle,
		"an unknown mat": "TK7R2N81", "an unknown mark": "mark:none"} {
		t.Run(name, func(t *testing.T) {
			w := newWash(t, 3)
			l, _ := w.loop("JD")
			card := func(a medium.Action) string { return string(w.cards[a]) }
			mat := string(w.mats[0])
			w.say(l, card(medium.ActHold), mat, card(medium.ActEnd))
			for _, ask := range [][]string{{card(medium.ActUndo)}, {card(medium.ActRelease), mat}} {
				words := w.say(l, append(ask, other)...)
				require.Contains(t, words[len(ask)-1], "?", words)
				w.clock.move(5 * time.Second)
				answer := l.take(card(medium.ActConfirm))
				require.Equal(t, "CONFIRM WHAT?", answer.Word)
			}
			w.store(t, true, func(s *store.Store) {
				c, err := s.Condition(w.mats[0])
				require.NoError(t, err)
				require.Equal(t, medium.OnHold, c.Stage)
			})
		})
	}
}

// A second reading of the scan that asked is that scan; one of another code is
// something else.
func TestLoopDoubleReadingOfWhatAsked(t *testing.T) {
	w := newWash(t, 3)
	l, _ := w.loop("JD")
	card := func(a medium.Action) string { return string(w.cards[a]) }
	one, two, yes := string(w.mats[0]), string(w.mats[1]), card(medium.ActConfirm)
	w.say(l, card(medium.ActHold), one, two)
	require.Equal(t, []string{"RELEASE", "RELEASE?"}, w.say(l, card(medium.ActRelease), one))
	require.Equal(t, "TWICE", l.take(one).Word)
	require.Equal(t, []string{"RELEASED", "RELEASE?"}, w.say(l, yes, two))
	require.Equal(t, "RELEASE", l.take(card(medium.ActRelease)).Word)
	require.Equal(t, []string{"CONFIRM WHAT?", "RELEASE?"}, w.say(l, yes, two))
	w.clock.move(5 * time.Second)
	l.take(one)
	require.Equal(t, "RELEASE?", l.take(two).Word)
	twice := l.take(one)
	require.Equal(t, "TWICE", twice.Word)
	require.Contains(t, twice.Text, "What waited for CONFIRM was not done.")
	require.Equal(t, []string{"CONFIRM WHAT?"}, w.say(l, yes))
}

func TestTypedLinesEndInEveryWay(t *testing.T) {
	now := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	const code = "TK7R2N81"
	for keys, want := range map[string][]string{
		code + "\r": {code}, code + "\n": {code}, code + "\r\n": {code}, code + "\t": {code}, "\t" + code + "\t\r": {code},
		code + "\rTB3DF6H2\r": {code, "TB3DF6H2"}, "TK7R2N8\x7f81\r": {"TK7R2N81"}, "\x7f\b" + code + "\r": {code}, "\r\n\t \r": nil, "é\x7f\r": nil,
	} {
		var in typed
		lines, stop := in.feed([]byte(keys), now)
		require.Equal(t, want, lines, "%q", keys)
		require.False(t, stop)
		require.Empty(t, in.buffer, "%q", keys)
	}
	var in typed
	lines, stop := in.feed([]byte(code+"\r\x03"+code), now)
	require.Equal(t, []string{code}, lines)
	require.True(t, stop)

	// a stream without an end is cut
	in = typed{}
	lines, _ = in.feed(bytes.Repeat([]byte("x"), 3*maxTyped+5), now)
	require.Len(t, lines, 3)
}

// A scan without Enter or Tab ends with a short pause; a person's typing does
// not, unless it is a whole code.
func TestTypedPauses(t *testing.T) {
	now := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	type key struct {
		keys  string
		after time.Duration
	}
	for _, c := range []struct {
		name string
		keys []key
		want time.Duration
	}{
		{"nothing", nil, 0},
		{"a whole code at once", []key{{"TK7R2N81", 0}}, scanPause},
		{"half a code at once", []key{{"TK7R2", 0}}, scanPause},
		{"one key by hand", []key{{"T", 0}}, handPause},
		{"half a code by hand", []key{{"T", 0}, {"K", 200 * time.Millisecond}, {"7", 300 * time.Millisecond}, {"R", 200 * time.Millisecond}}, handPause},
		{"a whole code by hand", []key{{"TK7R", 0}, {"2N81", time.Second}}, scanPause},
		{"a slow scanner", []key{{"TK7R", 0}, {"2N", 40 * time.Millisecond}}, scanPause},
	} {
		var in typed
		at := now
		for _, k := range c.keys {
			at = at.Add(k.after)
			in.feed([]byte(k.keys), at)
		}
		require.Equal(t, c.want, in.pause(), c.name)
	}
}

func FuzzTypedNeverLosesOrInvents(f *testing.F) {
	f.Add([]byte("TK7R2N81\r\n\tx"))
	f.Fuzz(func(t *testing.T, keys []byte) {
		var in typed
		lines, _ := in.feed(keys, time.Time{})
		lines = append(lines, in.rest()...)
		for _, line := range lines {
			require.NotEmpty(t, strings.TrimSpace(line))
			require.LessOrEqual(t, len(line), maxTyped)
			require.NotContains(t, line, "\r")
		}
	})
}

// Every answer and every action can be drawn in large letters, within 80
// columns and 24 lines, and at least seven lines high.
func TestScreenIsLargeAndFits(t *testing.T) {
	w := newWash(t, 3)
	l, _ := w.loop("JD")
	words := []string{"SOW", "SOW WITH CARE", "DO NOT SOW", "RETIRE", "READY", "TWICE", "DONE BEFORE", "NOT READ", "NOT RECORDED", "NOT ACCEPTED", "NO", "UNKNOWN",
		"UNKNOWN CARD", "WHO?", "UNDO?", "UNDONE", "NOTHING", "CONFIRM WHAT?", "NO ACTION", "MEASURE", "RELEASE?", "RETIRE?"}
	for _, action := range medium.Actions {
		face := farm.FaceOf(action)
		words = append(words, face.Word, face.Done)
	}
	long := strings.Repeat("the mat was wet for too long and somebody has to look at it ", 5)
	s := l.a.newScreen()
	for _, size := range [][2]int{{80, 24}, {132, 50}, {40, 12}, {20, 8}} {
		for _, word := range words {
			if word == "" {
				continue
			}
			answer := loud{Word: word, Code: w.mats[0], Text: []string{long, long}}
			for _, action := range []*farm.WashAction{nil, {Card: medium.Card{Action: medium.ActRinseClean}}} {
				l.Action = action
				lines := s.lines(l, answer, size[0], size[1])
				require.LessOrEqual(t, len(lines), size[1]-1, "%s on %v", word, size)
				for _, line := range lines {
					require.LessOrEqual(t, utf8.RuneCountInString(line), size[0], "%s on %v: %s", word, size, line)
				}
			}
			if size[0] < 80 || strings.HasPrefix(word, "UNKNOWN BOTTLE") {
				continue
			}
			require.Len(t, ui.BigText(word, size[0]), 7, "%q is not drawn", word)
		}
	}
}

// A stray scan can't steer the terminal that shows it.
func TestStrayTextIsShownAsText(t *testing.T) {
	w := newWash(t, 3)
	l, out := w.loop("JD")
	s := l.a.newScreen()
	s.show(l, l.take("\x1b]0;title\x07\x1b[2J\u009b31m"))
	require.Contains(t, out.String(), "NOT READ")
	for _, r := range out.String() {
		require.True(t, r == '\n' || r >= ' ' && (r < 0x7f || r >= 0xa0), "%q in %q", r, out.String())
	}
}

// A clock that is plainly wrong keeps no danger out, and everything else.
func TestLoopOnAWrongClock(t *testing.T) {
	w := newWash(t, 3)
	l, _ := w.loop("JD")
	w.clock.at = time.Date(1970, 1, 1, 0, 3, 0, 0, time.UTC)
	card := func(a medium.Action) string { return string(w.cards[a]) }
	require.Equal(t, []string{"RINSED CLEAN", "NOT RECORDED"}, w.say(l, card(medium.ActRinseClean), string(w.mats[0])))
	answers := w.say(l, card(medium.ActHold), string(w.mats[0]), card(medium.ActMold), string(w.mats[1]))
	require.Equal(t, []string{"HOLD", "ON HOLD"}, answers[:2])
	require.Equal(t, "ON HOLD", answers[3])
	w.store(t, true, func(s *store.Store) {
		thread, err := s.Thread(w.mats[1])
		require.NoError(t, err)
		last := thread[len(thread)-1]
		require.Equal(t, medium.KindMold, last.Kind)
		require.Equal(t, 1970, last.Seen.Year())
		require.Equal(t, 2026, last.At.Year(), "its stop stands at the end of the thread")
		require.Equal(t, 1, last.SeenTurn)
	})
}
