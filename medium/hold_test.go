package medium

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The ways around the wash that a careless or hurried record could open: none
// may lead to a sowing.

func ready(t *testing.T) *walk {
	t.Helper()
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()}, ToWash)
	w.wash()
	require.Equal(t, SowIt, w.verdict().Word)
	return w
}

func refuse(t *testing.T, w *walk, b Body) error {
	t.Helper()
	_, err := Admit(w.c, w.f, testStep(b), w.at.Add(time.Hour))
	require.Error(t, err)
	return err
}

func TestReleaseAsItWas(t *testing.T) {
	for _, stage := range []Stage{ToWash, ToDry, ToSanitize, Airing, Ready, Growing} {
		c := testCondition(stage)
		held := c.Apply(Step{At: c.Last.Add(time.Hour), Kind: KindHold, Body: &Hold{Reason: "dropped"}})
		assert.Equal(t, OnHold, held.Stage)
		back := held.Apply(Step{At: c.Last.Add(48 * time.Hour), Kind: KindRelease, Body: &Release{Reason: "clean floor", AsWas: true}})
		assert.Equal(t, stage, back.Stage)
		assert.Equal(t, c.Cleared, back.Cleared)
		assert.Equal(t, c.WetSince, back.WetSince, "a hold does not dry a mat, nor does it start its hours anew")
		assert.Equal(t, c.Since, back.Since, "nor is what was due put off")
		assert.Empty(t, back.HeldFor)

		washed := held.Apply(Step{At: c.Last.Add(48 * time.Hour), Kind: KindRelease, Body: &Release{Reason: "not sure"}})
		assert.Equal(t, ToWash, washed.Stage)
		assert.False(t, washed.Cleared)
		assert.Equal(t, c.WetSince, washed.WetSince, "nor does a release")
		assert.Equal(t, stage == ToWash, washed.Since.Equal(c.Since), "what was to be washed still is")
	}
}

func TestWetMatHeldTooLongIsFlaggedWhenItDries(t *testing.T) {
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()})
	w.do(&Rinse{Debris: DebrisNone}, ToDry)
	w.do(&Hold{Reason: "doubt"}, OnHold)
	w.at = w.at.Add(40 * time.Hour)
	w.do(&Release{Reason: "fine", AsWas: true}, ToDry)
	s := w.do(&Dry{Where: DryAir}, ToSanitize)
	require.Len(t, s.Outcome.Findings, 1)
	assert.True(t, s.Outcome.Accepted)
	assert.Equal(t, "it was wet for 43 h, the policy allows 24 h: look for mold before it is used", s.Outcome.Findings[0].Text)
}

func TestNoWayBackFromMoldSwabSmellOrTrim(t *testing.T) {
	for name, b := range map[string]Body{
		"mold": &Mold{Where: "edge"}, "swab": &Swab{Test: "Listeria spp."}, "mold seen": &Inspect{Mold: true},
		"smell": &Inspect{Smell: true}, "trim": &Trim{LengthMM: 250, WidthMM: 250},
	} {
		t.Run(name, func(t *testing.T) {
			w := ready(t)
			w.do(&Hold{Reason: "doubt"}, OnHold)
			w.do(b, OnHold)
			w.do(&Hold{Reason: "still in doubt"}, OnHold) // a second hold does not wash it
			err := refuse(t, w, &Release{Reason: "looks fine", AsWas: true})
			assert.Contains(t, err.Error(), "a release to the wash, not to the stage before")
			w.do(&Release{Reason: "to the wash"}, ToWash)
			assert.False(t, w.c.Cleared)
			w.wash()
			assert.True(t, sowable(w.verdict()))
		})
	}
}

func TestEveryReasonOfAHoldStaysInSight(t *testing.T) {
	w := ready(t)
	w.do(&Mold{Where: "edge"})
	w.do(&Hold{Reason: "dropped"})
	w.do(&Hold{Reason: "dropped again"})
	f, _ := find(w.verdict(), "held")
	assert.Equal(t, "on hold since 1 Nov: mold: edge; dropped; dropped again", f.Text)
	for range 100 {
		w.do(&Hold{Reason: "and again, and again, and again"})
	}
	w.do(&Hold{Reason: "dropped"})
	assert.Equal(t, "mold: edge; dropped; dropped again; and again, and again, and again", w.c.HeldFor, "each once")

	long := func(i int) string { return fmt.Sprint(i) + strings.Repeat("x", maxText-10) }
	for i := range 20 {
		w.do(&Hold{Reason: long(i)})
		assert.Equal(t, w.c.IsHeldFor(long(i)), !strings.HasSuffix(w.c.HeldFor, heldForMore))
	}
	assert.Contains(t, w.c.HeldFor, long(5), "longer than one reason may be")
	assert.True(t, strings.HasSuffix(w.c.HeldFor, "; "+heldForMore), "what is left out is said")
	assert.Equal(t, 1, strings.Count(w.c.HeldFor, heldForMore))
	assert.LessOrEqual(t, len(w.c.HeldFor), maxHeldFor+len("; "+heldForMore))
	assert.False(t, w.c.IsHeldFor("drop"), "a part of a reason is another one")
}

func TestMoldBeforeTheFirstTurn(t *testing.T) {
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()})
	w.do(&Mold{Where: "the new roll"}, OnHold)
	w.do(&Release{Reason: "washing it"}, ToWash)
	w.wash()
	v := w.verdict()
	assert.Equal(t, SowWithCare, v.Word)
	f, _ := find(v, "mold-last-turn")
	assert.Equal(t, "mold before its first turn; look at it against the light before you sow", f.Text)
	w.do(&Sow{Crops: []Sown{{Crop: "kale"}}}, Growing)
	w.do(&Mold{Where: "crop", Seen: "growing"}, OnHold)
	f, ok := find(w.verdict(), "mold-repeat")
	require.True(t, ok, "once before its first turn and once in it")
	assert.Equal(t, "mold 2 times in the last 5 turns, the limit is 2", f.Text)
}

// TestMoldTwiceInATurn: two reports of the same mold count once; what comes back
// after a wash counts again, though nothing was sown between.
func TestMoldTwiceInATurn(t *testing.T) {
	w := ready(t)
	w.do(&Mold{Where: "edge"})
	w.do(&Mold{Where: "middle"})
	assert.Equal(t, []int{0}, w.c.MoldTurns)
	w.do(&Release{Reason: "to the wash"}, ToWash)
	w.do(&Rinse{Debris: DebrisTraces}, ToWash)
	w.do(&Inspect{Mold: true}, OnHold)
	assert.Equal(t, []int{0}, w.c.MoldTurns, "traces were left: that was no wash")
	w.do(&Release{Reason: "to the wash"}, ToWash)
	w.wash()
	require.True(t, sowable(w.verdict()))
	w.do(&Mold{Where: "edge", Seen: "store"})
	assert.Equal(t, []int{0, 0}, w.c.MoldTurns)
	assert.Equal(t, RetireMat, w.verdict().Word)
}

func TestMoldOnAGrowingCropEndsTheTurn(t *testing.T) {
	w := ready(t)
	w.do(&Sow{Crops: []Sown{{Crop: "kale"}}}, Growing)
	w.do(&Mold{Where: "crop"}, OnHold)
	refuse(t, w, &Harvest{YieldG: 100})
	refuse(t, w, &Release{Reason: "only root hairs", AsWas: true})
	w.do(&Release{Reason: "crop discarded"}, ToWash)
	refuse(t, w, &Sow{Crops: []Sown{{Crop: "kale"}}})
}

func TestUnacceptedSanitizingOfAReadyMat(t *testing.T) {
	for name, change := range map[string]func(*Sanitize){
		"unknown stuff": func(b *Sanitize) { b.Product = "Pink Stuff" },
		"far too much":  func(b *Sanitize) { b.StrengthPPM = 5000 },
		"too weak":      func(b *Sanitize) { b.StrengthPPM = 10 },
	} {
		t.Run(name, func(t *testing.T) {
			w := ready(t)
			b := goodSanitize()
			change(b)
			w.do(b, Ready) // the design: it does not move the mat
			v := w.verdict()
			assert.Equal(t, DoNotSow, v.Word, "what is on it is not known")
			next := KindSanitize
			if name != "too weak" { // it takes nothing off
				next = KindRinse
			}
			assert.Equal(t, next, v.NextStep)
			f, _ := find(v, "not-sanitized")
			assert.Equal(t, "the last sanitize step, on 1 Nov, was not accepted; what it left on the mat is not known, sanitize and dry it again", f.Text)
			var verdict *VerdictError
			assert.ErrorAs(t, refuse(t, w, &Sow{Crops: []Sown{{Crop: "kale"}}}), &verdict)
			if name == "unknown stuff" { // another product never goes on top of it
				w.do(goodSanitize(), Ready)
				w.do(&Rinse{Debris: DebrisNone}, ToDry)
				w.do(&Dry{Where: DryAir}, ToSanitize)
			}
			w.do(goodSanitize(), Airing)
			w.do(&Dry{Where: DryAir}, Ready)
			want := SowIt
			if name == "far too much" {
				want = DoNotSow
			}
			assert.Equal(t, want, w.verdict().Word)
		})
	}
	w := newWalk(t, testFarm()) // the same while it airs
	w.do(&Add{Mat: testMat()})
	w.do(&Rinse{Debris: DebrisNone})
	w.do(&Dry{Where: DryAir})
	w.do(goodSanitize(), Airing)
	w.do(&Sanitize{Active: "other", StrengthPPM: 3, ContactS: 1, Sides: 2, Method: "wipe"}, Airing)
	w.do(&Dry{Where: DryAir}, Ready)
	assert.Equal(t, DoNotSow, w.verdict().Word)
}

// TestDryingEarnsNoSanitizing: sun and air, however long, clear nothing.
func TestDryingEarnsNoSanitizing(t *testing.T) {
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()})
	w.do(&Rinse{Debris: DebrisNone}, ToDry)
	for range 5 {
		w.do(&Dry{Where: DrySun, DurationS: 8 * 3600}, ToSanitize)
	}
	assert.Equal(t, DoNotSow, w.verdict().Word)
	// 5 x 8 h at 0.7 kW/m2, 1 kLy = 41.84 MJ/m2 (1000 cal/cm2): 2.41 kLy
	assert.InDelta(t, 2.41, w.c.SunKLy, 0.005)
	s := w.do(&Dry{Where: DrySun, DurationS: 3 * 3600}) // 3 h at 0.7 kW/m2 are 0.18 kLy
	assert.InDelta(t, 0.18, s.Body.(*Dry).KLy, 0.001)
	s = w.do(&Dry{Where: DrySun, DurationS: 3 * 3600, KLy: 0.3})
	assert.Equal(t, 0.3, s.Body.(*Dry).KLy, "a measured dose goes first")
	s = w.do(&Dry{Where: DryAir, DurationS: 3 * 3600})
	assert.Zero(t, s.Body.(*Dry).KLy)
}

func TestHarvestOfManyCuts(t *testing.T) {
	w := ready(t)
	for turn, cuts := range [][]float64{{200, 150, 50}, {400}} {
		w.do(&Sow{Crops: []Sown{{Crop: "pea", SeedG: 100}}}, Growing)
		for i, g := range cuts {
			more := i < len(cuts)-1
			w.do(&Harvest{YieldG: g, MoreCutsToCome: more})
			if more {
				assert.Equal(t, Growing, w.c.Stage)
				refuse(t, w, &Rinse{Debris: DebrisNone})
			}
		}
		assert.Equal(t, ToWash, w.c.Stage)
		assert.Equal(t, turn+1, w.c.Yields[0].N, "one figure a turn, not one a cut")
		w.wash()
	}
	rate := YieldRate{PerSeed: 4, PerM2: 400 / testMat().AreaM2()}
	assert.Equal(t, []YieldRate{rate, rate}, w.c.Yields[0].Last, "the cuts of a turn are summed")
	assert.Equal(t, 800.0, w.c.YieldG)
	assert.Equal(t, 4, w.c.Harvests)
}

func TestVoidedSowThenHarvest(t *testing.T) {
	w := ready(t)
	sow := w.do(&Sow{Crops: []Sown{{Crop: "kale"}}}, Growing)
	w.do(&Harvest{YieldG: 200}, ToWash)
	w.void(sow.MatSeq)
	assert.Equal(t, ToWash, w.c.Stage, "something was cut off it")
	assert.Zero(t, w.c.Turn)
	assert.Empty(t, w.c.Yields, "a crop that was never sown has no yield")
	assert.False(t, sowable(w.verdict()))

	w = ready(t)
	sow = w.do(&Sow{Crops: []Sown{{Crop: "kale"}}}, Growing)
	w.void(sow.MatSeq)
	assert.Equal(t, SowWithCare, w.verdict().Word, "by the records it was never sown on, which somebody is to make sure of")

	w = ready(t)
	sow = w.do(&Sow{Crops: []Sown{{Crop: "kale"}}}, Growing)
	w.do(&Mist{WaterML: 100})
	w.void(sow.MatSeq)
	assert.Equal(t, ToWash, w.c.Stage, "never sown, but misted")
}

func TestVoidedDryTakesTheSanitizingWithIt(t *testing.T) {
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()})
	w.do(&Rinse{Debris: DebrisNone})
	dry := w.do(&Dry{Where: DryAir})
	w.do(goodSanitize(), Airing)
	w.do(&Dry{Where: DryAir}, Ready)
	w.void(dry.MatSeq)
	assert.Equal(t, ToSanitize, w.c.Stage, "it was sanitized wet, which the policy does not allow")
	assert.False(t, w.c.Sanitized.Accepted)
}

func TestVoidedRinseTakesTheTurnWithIt(t *testing.T) {
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()})
	rinse := w.do(&Rinse{Debris: DebrisNone})
	w.do(&Dry{Where: DryAir})
	w.do(goodSanitize())
	w.do(&Dry{Where: DryAir}, Ready)
	w.void(rinse.MatSeq)
	assert.Equal(t, ToWash, w.c.Stage)
	assert.False(t, sowable(w.verdict()))
}

func TestVoidedReleaseKeepsTheMatHeld(t *testing.T) {
	w := ready(t)
	w.do(&Hold{Reason: "dropped"}, OnHold)
	release := w.do(&Release{Reason: "to the wash"}, ToWash)
	w.do(&Rinse{Debris: DebrisRoots}, ToWash)
	w.void(release.MatSeq)
	require.Equal(t, OnHold, w.c.Stage)
	refuse(t, w, &Release{Reason: "as it was", AsWas: true}) // it was rinsed since, and roots were left
	w.do(&Release{Reason: "to the wash"}, ToWash)
}

func TestInspectionOfAnUnwashedMatClearsNothing(t *testing.T) {
	w := ready(t)
	w.do(&Inspect{Holes: 2, Fuzz: true}, Ready)
	require.Equal(t, RetireMat, w.verdict().Word)
	w.do(&Rinse{Debris: DebrisTraces}, ToWash)
	s := w.do(&Inspect{}, ToWash)
	assert.False(t, s.Outcome.Accepted)
	assert.Equal(t, 2, w.c.Holes)
	assert.True(t, w.c.Fuzz)
	w.do(&Inspect{FoldSnaps: true}, ToWash)
	assert.True(t, w.c.FoldSnaps, "damage is kept")

	w = ready(t)
	w.do(&Sow{Crops: []Sown{{Crop: "kale"}}})
	w.do(&Hold{Reason: "doubt"})
	s = w.do(&Inspect{}, OnHold)
	assert.False(t, s.Outcome.Accepted, "held with its crop on")
	assert.Zero(t, w.c.Inspected)
}

// TestWearDoesNotHeal: a quick look that notes nothing does not take a mat
// with holes back into use; a mistaken look is voided.
func TestWearDoesNotHeal(t *testing.T) {
	w := ready(t)
	found := w.do(&Inspect{Holes: 1, FoldSnaps: true, Fuzz: true}, Ready)
	w.do(&Inspect{}, Ready)
	assert.Equal(t, RetireMat, w.verdict().Word)
	w.void(found.MatSeq)
	assert.Equal(t, SowIt, w.verdict().Word)
}

func TestTrim(t *testing.T) {
	w := ready(t)
	w.do(&Cut{LengthMM: 60, Where: "edge", Through: true}, Ready)
	require.Equal(t, RetireMat, w.verdict().Word)
	w.do(&Trim{LengthMM: 400, WidthMM: 250}, ToWash)
	assert.Equal(t, RetireMat, w.verdict().Word, "the cut is still in it")
	w.do(&Trim{LengthMM: 300, WidthMM: 250, RemovesCuts: true}, ToWash)
	assert.Equal(t, DoNotSow, w.verdict().Word)
	assert.Equal(t, "300 x 250 mm", w.c.Mat.Size())
	w.wash()
	assert.Equal(t, SowIt, w.verdict().Word)
	for _, size := range []Trim{{LengthMM: 300, WidthMM: 250}, {LengthMM: 310, WidthMM: 100}, {LengthMM: 100, WidthMM: 251}} {
		assert.ErrorContains(t, refuse(t, w, &size), "want a size smaller than 300 x 250 mm")
	}
}

func TestRinseOfAReadyMatBeginsTheWashAgain(t *testing.T) {
	w := ready(t)
	w.do(&Rinse{Debris: DebrisNone}, ToDry)
	assert.False(t, w.c.Cleared)
	w.do(&Dry{Where: DryAir}, ToSanitize)
}

func TestRelabel(t *testing.T) {
	w := ready(t)
	w.do(&Relabel{Reason: "faded", NewCode: "TAAAAAAA", Mark: "three dots"}, Ready)
	assert.Equal(t, []Code{"TAAAAAAA"}, w.c.Tags)
	assert.Equal(t, "three dots", w.c.Mat.Mark)
	assert.Equal(t, 1, w.c.Labels)
	assert.Equal(t, SowIt, w.verdict().Word, "the history stays")
}

// TestPassedSwab: a passed swab on a failed one lifts the finding, not the wash.
func TestPassedSwab(t *testing.T) {
	w := ready(t)
	w.do(&Swab{Test: "ATP", Reading: 300, Limit: 30, Unit: "RLU"}, OnHold)
	f, ok := find(w.verdict(), "swab-positive")
	require.True(t, ok)
	assert.Equal(t, "failed swab (ATP 300 RLU, limit 30) and no accepted sanitize step since", f.Text)
	w.do(&Swab{Test: "ATP", Reading: 30, Limit: 30, Unit: "RLU", Pass: true}, OnHold)
	refuse(t, w, &Release{Reason: "passed", AsWas: true})
	err := refuse(t, w, &Swab{Test: "ATP", Reading: 31, Limit: 30, Unit: "RLU", Pass: true})
	assert.EqualError(t, err, `swab result "pass": want fail: the reading 31 is over the limit 30`)
}

func TestCorrect(t *testing.T) {
	for _, stage := range Stages { // a correction is possible in every stage
		thread := []Step{{MatSeq: 1, Kind: KindAdd, Body: &Add{Mat: testMat()}, Mat: testCode, At: testSince}}
		for i, b := range map[Stage][]Body{
			ToWash: {&Cut{}}, ToDry: {&Rinse{Debris: DebrisNone}}, ToSanitize: {&Rinse{Debris: DebrisNone}, &Dry{}},
			Airing: {&Rinse{Debris: DebrisNone}, &Dry{}, goodSanitize()}, Ready: {&Rinse{Debris: DebrisNone}, &Dry{}, goodSanitize(), &Dry{}},
			Growing: {&Sow{}}, OnHold: {&Hold{}}, Retired: {&Retire{Cause: CauseLost}},
		}[stage] {
			thread = append(thread, Step{MatSeq: uint64(i + 2), Kind: KindOf(b), Body: b, Mat: testCode, At: testSince, Outcome: Outcome{Accepted: true}})
		}
		require.Equal(t, stage, Replay(thread).Stage)
		last := thread[len(thread)-1]
		s, err := AdmitCorrect(thread, testStep(&Correct{MatSeq: last.MatSeq, Reason: "wrong mat"}), testNow)
		require.NoError(t, err)
		assert.Equal(t, last.Kind, s.Body.(*Correct).Voids)
		assert.Equal(t, stage, s.Outcome.From)
		assert.Equal(t, Replay(thread[:len(thread)-1]).Stage, s.Outcome.To)
		assert.True(t, s.Outcome.Accepted)
	}
}

func TestCorrectRefused(t *testing.T) {
	w := ready(t)
	cut := w.do(&Cut{LengthMM: 5})
	relabel := w.do(&Relabel{Reason: "faded"})
	w.void(cut.MatSeq)
	for _, k := range []struct {
		seq    uint64
		reason string
		want   string
	}{
		{cut.MatSeq, "again", "mat TK7R 2N81, step 6: it is void already"},
		{99, "x", "mat TK7R 2N81, step 99: there is no such step; its history numbers them 1 to 8"},
		{0, "x", "mat TK7R 2N81, step 0: there is no such step; its history numbers them 1 to 8"},
		{8, "x", "mat TK7R 2N81, step 8: a correction can't be voided; record the step again instead"},
		{1, "x", "mat TK7R 2N81, step 1: a registration can't be voided; retire the mat instead"},
		{relabel.MatSeq, "x", "mat TK7R 2N81, step 7: a relabeling can't be voided, since the new label is in use; relabel it again instead"},
		{2, " ", "mat TK7R 2N81, step 2: say why it is wrong, in at most 500 bytes; both stay on record"},
	} {
		_, err := AdmitCorrect(w.thread, testStep(&Correct{MatSeq: k.seq, Reason: k.reason}), w.at)
		assert.EqualError(t, err, k.want)
		var correct *CorrectError
		assert.ErrorAs(t, err, &correct)
	}
	_, err := AdmitCorrect(w.thread, testStep(&Cut{LengthMM: 1}), w.at)
	assert.EqualError(t, err, `step "cut": want correct`)
	_, err = AdmitCorrect(w.thread, Step{Mat: testCode, Body: &Correct{MatSeq: 2, Reason: "x"}}, w.at)
	assert.ErrorContains(t, err, "initials")
}

// TestUnidentifiedPieceIsNeverSown: a mat with no readable code or mark is
// quarantined and never given a fresh history.
func TestUnidentifiedPieceIsNeverSown(t *testing.T) {
	m := testMat()
	m.Unidentified = "label gone, found in the sink"
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: m}, OnHold)
	for _, mv := range moves() {
		if s, err := Admit(w.c, w.f, testStep(mv.body), w.at.Add(time.Hour)); err == nil {
			assert.Contains(t, []Stage{OnHold, Retired}, w.c.Apply(s).Stage, mv.name)
		}
	}
	for _, asWas := range []bool{true, false} {
		assert.ErrorContains(t, refuse(t, w, &Release{Reason: "looks clean", AsWas: asWas}), "without its history it is never sown on")
	}
	f, ok := find(w.verdict(), "held")
	require.True(t, ok)
	assert.Equal(t, "on hold since 1 Nov: not known which mat it is: label gone, found in the sink", f.Text)
}
