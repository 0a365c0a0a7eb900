package medium

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func aCard(a Action) Card {
	c := Card{Code: "XKRBVJCS", Action: a}
	switch a {
	case ActOperator:
		c.Code, c.Initials = "PK7R2N81", "JD"
	case ActSanitize:
		c.Product, c.StrengthPPM, c.ContactS, c.Method = "drum", 100, 120, "spray"
	case ActDrySun:
		c.DurationS = 3 * 3600
	case ActMold, ActHold, ActRelease:
		c.Reason = "at the wash station"
	case ActRetire:
		c.Cause = CauseWear
	}
	return c
}

// Every card either steers the loop or stands for a step that the rules know.
func TestEveryCardIsOfUse(t *testing.T) {
	steers := map[Action]bool{ActSame: true, ActOperator: true, ActEnd: true, ActUndo: true, ActConfirm: true}
	for _, a := range Actions {
		c := aCard(a)
		require.NoError(t, c.Check(), a)
		assert.Equal(t, steers[a], c.Body() == nil, a)
		if c.Body() != nil {
			assert.NoError(t, checkBody(c.Body()), a)
		}
	}
	assert.Len(t, Actions, 19)
	assert.True(t, aCard(ActRelease).NeedsConfirm())
	assert.True(t, aCard(ActRetire).NeedsConfirm())
	assert.False(t, aCard(ActRinseClean).NeedsConfirm())
}

func TestCardsThatAreRefused(t *testing.T) {
	for name, c := range map[string]Card{
		"a mat's code":           {Code: "TK7R2N81", Action: ActEnd},
		"no code":                {Action: ActEnd},
		"a person's code":        {Code: "PK7R2N81", Action: ActEnd},
		"an operator with an X":  {Code: "XKRBVJCS", Action: ActOperator, Initials: "JD"},
		"an operator of no name": {Code: "PK7R2N81", Action: ActOperator},
		"no action":              {Code: "XKRBVJCS"},
		"sun without hours":      {Code: "XKRBVJCS", Action: ActDrySun},
		"a hold for nothing":     {Code: "XKRBVJCS", Action: ActHold},
		"no product":             {Code: "XKRBVJCS", Action: ActSanitize, StrengthPPM: 100, ContactS: 120, Method: "spray"},
		"no strength":            {Code: "XKRBVJCS", Action: ActSanitize, Product: "drum", ContactS: 120, Method: "spray"},
		"no cause":               {Code: "XKRBVJCS", Action: ActRetire},
		"a long reason":          {Code: "XKRBVJCS", Action: ActHold, Reason: strings.Repeat("x", maxText+1)},
	} {
		var input *InputError
		require.ErrorAs(t, c.Check(), &input, name)
	}
}

func TestFarmKeepsItsCardsAndPrinters(t *testing.T) {
	var f Farm
	card := aCard(ActHold)
	f = f.Apply(Step{Body: &card})
	got, ok := f.Card(card.Code)
	require.True(t, ok)
	assert.Equal(t, "at the wash station", got.Reason)
	_, ok = f.Card("XBGCETPB")
	assert.False(t, ok)
	gone := card
	gone.Withdrawn = true
	f = f.Apply(Step{Body: &gone})
	require.Len(t, f.Cards, 1)
	_, ok = f.Card(card.Code)
	assert.False(t, ok, "a withdrawn card does nothing")

	p, ok := f.Printer("office")
	assert.False(t, ok)
	assert.Equal(t, Printer{Name: "office", ScaleX: 100, ScaleY: 100}, p)
	require.NoError(t, p.Check())
	f = f.Apply(Step{Body: &Printer{Name: "Office", OffsetXMM: 1.5, ScaleX: 100.3, ScaleY: 100}})
	p, ok = f.Printer("office ")
	require.True(t, ok)
	assert.Equal(t, 1.5, p.OffsetXMM)
	for _, bad := range []Printer{{}, {Name: "x"}, {Name: "x", ScaleX: 100, ScaleY: 111}, {Name: "x", ScaleX: 100, ScaleY: 100, OffsetYMM: -21}} {
		assert.Error(t, bad.Check(), bad)
	}
}

// A piece that nobody can name is held from its first record. No release, and
// no correction of any record, takes it out of the hold.
func TestUnidentifiedPieceIsNeverReleased(t *testing.T) {
	at := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	farm := Farm{}
	mat := Mat{Form: FormMat, LengthMM: 510, WidthMM: 250, Layers: 1, Unidentified: "no tag, no mark"}
	var thread []Step
	record := func(b Body) error {
		s := Step{Mat: "TK7R2N81", MatSeq: uint64(len(thread) + 1), By: "MK", Body: b}
		var err error
		if _, ok := b.(*Correct); ok {
			s, err = AdmitCorrect(thread, s, at)
		} else {
			s, err = Admit(Replay(thread), farm, s, at)
		}
		if err == nil {
			thread = append(thread, s)
		}
		return err
	}
	require.NoError(t, record(&Add{Mat: mat}))
	require.Equal(t, OnHold, Replay(thread).Stage)
	require.Equal(t, at, Replay(thread).Since)
	for _, b := range []Body{&Rinse{Debris: DebrisNone}, &Dry{Where: DryAir}, &Release{Reason: "looks fine"}, &Release{Reason: "looks fine", AsWas: true}, &Correct{MatSeq: 1, Reason: "x"}} {
		require.Error(t, record(b), KindOf(b))
	}
	require.NoError(t, record(&Hold{Reason: "again"}))
	require.NoError(t, record(&Correct{MatSeq: 2, Reason: "once was enough"}))
	require.Equal(t, OnHold, Replay(thread).Stage)
	require.Contains(t, Replay(thread).HeldFor, "no tag, no mark")
	v := Judge(Replay(thread), Farm{}, at)
	require.Equal(t, DoNotSow, v.Word)
	require.NoError(t, record(&Retire{Cause: CauseOther}))
	require.Equal(t, Retired, Replay(thread).Stage)
}
