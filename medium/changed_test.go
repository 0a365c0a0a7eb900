package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestChangedBy(t *testing.T) {
	at := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	var thread []Step
	add := func(b Body) {
		thread = append(thread, Step{Mat: "TK7R2N81", MatSeq: uint64(len(thread) + 1), At: at.Add(time.Duration(len(thread)) * time.Hour), Kind: b.kind(), Body: b, Outcome: Outcome{Accepted: true}})
	}
	add(&Add{Mat: Mat{Form: FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}})
	add(&Rinse{Debris: DebrisNone})
	add(&Dry{Where: DryAir})
	add(&Sanitize{})
	add(&Dry{Where: DryAir})
	add(&Cut{LengthMM: 5})
	add(&Sow{Crops: []Sown{{Crop: "radish"}}, Lot: "L1"})
	add(&Harvest{})
	seqs := func(c []Changed) (out []uint64) {
		for _, x := range c {
			out = append(out, x.Step.MatSeq)
		}
		return out
	}
	without := ChangedBy(thread, 4) // the sanitize step
	require.Equal(t, []uint64{5, 7}, seqs(without), "%+v", without)
	require.Contains(t, without[1].Why, "lot L1")
	require.Contains(t, without[1].Why, "without that step it was waiting to sanitize")
	require.Empty(t, ChangedBy(thread, 6), "a shallow cut stops no sowing")
	require.Empty(t, ChangedBy(thread, 8), "nothing came after it")
	add(&Correct{MatSeq: 4})
	require.Equal(t, without, ChangedBy(thread, 4), "before and after the correction")
}

func TestReplaces(t *testing.T) {
	thread := []Step{
		{MatSeq: 1, Kind: KindAdd, Body: &Add{}}, {MatSeq: 2, Kind: KindRinse, Body: &Rinse{}},
		{MatSeq: 3, Kind: KindCut, Body: &Cut{}}, {MatSeq: 4, Kind: KindCorrect, Body: &Correct{MatSeq: 3}},
	}
	try := func(n uint64, b Body) error {
		return CheckReplaces(thread, Step{Mat: "TK7R2N81", Replaces: n, Body: b})
	}
	require.NoError(t, try(0, &Cut{}))
	require.NoError(t, try(3, &Cut{}))
	require.ErrorContains(t, try(2, &Rinse{}), "it is not void")
	require.ErrorContains(t, try(9, &Cut{}), "there is no such step")
	require.ErrorContains(t, try(3, &Hold{}), "a hold can't stand for it")
	thread = append(thread, Step{MatSeq: 5, Kind: KindCut, Body: &Cut{}, Replaces: 3})
	require.ErrorContains(t, try(3, &Cut{}), "step 5 stands for it already")
}

// A sowing that is taken back leaves a doubt until the next accepted sanitize
// step, and none where one was accepted before it was taken back.
func TestVoidedCropStep(t *testing.T) {
	at := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	var thread []Step
	add := func(accepted bool, bodies ...Body) {
		for _, b := range bodies {
			thread = append(thread, Step{Mat: "TK7R2N81", MatSeq: uint64(len(thread) + 1), At: at.Add(time.Duration(len(thread)) * time.Hour), Kind: b.kind(), Body: b, Outcome: Outcome{Accepted: accepted}})
		}
	}
	wash := []Body{&Rinse{Debris: DebrisNone}, &Dry{Where: DryAir}, &Sanitize{}, &Dry{Where: DryAir}}
	care := func(steps []Step) (rules []string) {
		v := Judge(Replay(steps), Farm{}, at.AddDate(0, 0, 3))
		for _, f := range v.Findings {
			if f.Rule == "crop-voided" {
				require.Equal(t, Care, f.Severity)
				rules = append(rules, f.Rule)
			}
		}
		return rules
	}
	add(true, &Add{Mat: Mat{Form: FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}})
	add(true, wash...)
	add(true, &Sow{Crops: []Sown{{Crop: "radish"}}}, &Harvest{}) // 6, 7
	used := append([]Step(nil), thread...)
	require.Empty(t, care(thread))
	add(true, &Correct{MatSeq: 7}, &Correct{MatSeq: 6})
	require.Equal(t, Ready, Replay(thread).Stage, "so that only the finding speaks")
	require.Equal(t, []string{"crop-voided"}, care(thread))
	add(true, wash[:2]...)
	add(false, wash[2])
	require.Equal(t, []string{"crop-voided"}, care(thread), "a sanitize step that was not accepted")
	add(true, wash[2:]...)
	require.Empty(t, care(thread))

	thread = used
	add(true, wash...)
	add(true, &Correct{MatSeq: 7}, &Correct{MatSeq: 6})
	require.Empty(t, care(thread), "sanitized before it was voided")

	thread = append([]Step(nil), used...)
	add(true, &Correct{MatSeq: 4})
	require.Empty(t, care(thread), "no crop step was voided")
}
