package medium

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// TestACropInItsHarvestDaysIsNotLate: from the first day that it can be cut until the
// last it is due, and after that overdue.
func TestACropInItsHarvestDaysIsNotLate(t *testing.T) {
	c := growingMat(t, "radish") // sown on 24 October at 09:00, 8 to 12 days
	w, _ := WorkOn(c.Apply(done(&Uncover{}, c.SownAt)).Apply(done(&Mist{}, c.SownAt.AddDate(0, 0, 30))), Farm{}, berlin)
	item := func(day int) DueItem {
		now := c.SownAt.AddDate(0, 0, day).Add(time.Hour)
		return w.Item(now, now)
	}
	assert.Equal(t, 0.0, item(10).OverdueH)
	assert.Equal(t, KindHarvest, item(10).NextStep)
	assert.Greater(t, item(13).OverdueH, 20.0)
	assert.Negative(t, Overdue("harvest-window", c.SownAt, c.SownAt.Add(-time.Hour)))
}

func TestRoundsPutTheMostPressingFirst(t *testing.T) {
	at := func(h int) time.Time { return time.Date(2026, 10, 24, h, 0, 0, 0, time.UTC) }
	due := func(step Kind, h int, rule, text string) Due {
		return Due{Step: step, At: at(h), Rule: rule, Text: text}
	}
	line := func(code Code, place string, dues ...Due) Work { return Work{Code: code, Place: place, Dues: dues} }
	misted := "misted 23 Oct 21:00, in the dark it is misted every 12 h"
	rounds := Rounds([]Work{
		line("A", "shelf A", due(KindMist, 9, "misting", misted)),
		line("B", "shelf A", due(KindMist, 9, "misting", misted), due(KindHarvest, 2, "harvest-window", "day 8 to 12"),
			due(KindHarvest, 10, "crop-days", "at most 12 days")),
		line("C", "shelf B", due(KindMist, 9, "misting", misted)),
		line("D", "", due(KindInspect, 1, "inspection-due", "5 turns since")),
		line("E", "yard", due(KindRinse, 11, "unwashed-hours", "not washed since 24 Oct 07:00")),
		line("F", "yard", due(KindRinse, 10, "unwashed-hours", "not washed since 24 Oct 06:00")),
		line("G", "shelf A", due(KindMist, 13, "misting", "misted later")),
	}, at(12))
	type short struct {
		step          Kind
		place, reason string
		codes         []Code
	}
	var got []short
	for _, r := range rounds {
		assert.Len(t, r.Codes, r.Count)
		got = append(got, short{r.Step, r.Place, r.Reason, r.Codes})
	}
	assert.Equal(t, []short{
		{KindHarvest, "shelf A", "at most 12 days", []Code{"B"}},
		{KindRinse, "yard", "not washed since 24 Oct 06:00, and later", []Code{"E", "F"}},
		{KindMist, "shelf A", misted, []Code{"A", "B"}},
		{KindMist, "shelf B", misted, []Code{"C"}},
		{KindInspect, "", "5 turns since", []Code{"D"}},
	}, got)
}

// TestNothingIsDueTwice: of drawn due lines each mat stands once under each step that
// it needs by then, and under no other.
func TestNothingIsDueTwice(t *testing.T) {
	rules := []string{"misting", "unwashed-hours", "crop-days", "harvest-window", "inspection-due", "residue", "sanitize-lapsed"}
	steps := []Kind{KindMist, KindRinse, KindHarvest, KindInspect, KindSanitize}
	rapid.Check(t, func(t *rapid.T) {
		var work []Work
		want := map[Code][]Kind{}
		for i := range rapid.IntRange(0, 30).Draw(t, "mats") {
			w := Work{Code: Code(rune('A' + i)), Place: rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "place")}
			for range rapid.IntRange(0, 5).Draw(t, "dues") {
				d := Due{Step: rapid.SampledFrom(steps).Draw(t, "step"), Rule: rapid.SampledFrom(rules).Draw(t, "rule"),
					At: time.Unix(rapid.Int64Range(0, 20).Draw(t, "at"), 0)}
				w.Dues = append(w.Dues, d)
				if d.At.Unix() <= 10 && !slices.Contains(want[w.Code], d.Step) {
					want[w.Code] = append(want[w.Code], d.Step)
				}
			}
			work = append(work, w)
		}
		got := map[Code][]Kind{}
		last := Spoils
		for _, r := range Rounds(work, time.Unix(10, 0)) {
			if r.Haste > last {
				t.Fatalf("%s comes after what can wait longer", r.Step)
			}
			last = r.Haste
			for _, c := range r.Codes {
				got[c] = append(got[c], r.Step)
			}
		}
		for c := range got {
			slices.Sort(got[c])
			slices.Sort(want[c])
		}
		assert.Equal(t, want, got)
	})
}
