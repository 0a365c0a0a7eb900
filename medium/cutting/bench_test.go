package cutting

import (
	"testing"
)

// The larger instances, with the gap that is left beside the time.
func BenchmarkCutPlan(b *testing.B) {
	trays := []Size{
		{LengthMM: 250, WidthMM: 510, Turn: true, Count: 40},
		{LengthMM: 250, WidthMM: 255, Turn: true, Count: 30},
		{LengthMM: 122, WidthMM: 122, Count: 24},
	}
	hot := Cutting{KerfMM: 2, MarginMM: 10, KeepMM: 120}
	many := func(text string) []Size {
		s := instance(b, text, false, true)
		for i := range s {
			s[i].Count = 3 + i%5
		}
		return s
	}
	b.Run("best sheet gcut13 3000x3000", func(b *testing.B) {
		for b.Loop() {
			p, err := BestSheet(Sheet{3000, 3000}, instance(b, gcut13, false, false), Cutting{}, 4e9)
			report(b, err, p.GapPercent())
		}
	})
	b.Run("best sheet 36 limited trays 2000x1000", func(b *testing.B) {
		for b.Loop() {
			p, err := BestSheet(Sheet{2000, 1000}, trays, Cutting{}, 0)
			report(b, err, p.GapPercent())
		}
	})
	b.Run("fewest sheets 94 trays 2000x1000", func(b *testing.B) {
		for b.Loop() {
			p, err := FewestSheets(Sheet{2000, 1000}, trays, hot, 0)
			report(b, err, p.GapPercent())
		}
	})
	b.Run("fewest sheets gcut4 250 copies", func(b *testing.B) {
		for b.Loop() {
			p, err := FewestSheets(Sheet{250, 250}, many(gcut4), Cutting{}, 0)
			report(b, err, p.GapPercent())
		}
	})
	b.Run("shortest roll 94 trays 1200 wide", func(b *testing.B) {
		for b.Loop() {
			p, err := ShortestRoll(1200, trays, hot, 0)
			report(b, err, p.GapPercent())
		}
	})
	b.Run("shortest roll gcut3 150 copies", func(b *testing.B) {
		for b.Loop() {
			p, err := ShortestRoll(250, many(gcut3), Cutting{}, 0)
			report(b, err, p.GapPercent())
		}
	})
}

func report(b *testing.B, err error, gap float64) {
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(gap, "gap%")
}
