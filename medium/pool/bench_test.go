package pool

import (
	"math/rand/v2"
	"testing"
)

func BenchmarkEnough(b *testing.B) {
	p := Plan{
		Sowings: []Sowing{
			{Crop: "pea", Mats: Weekly(3, 8), GrowMin: 8, GrowMax: 10},
			{Crop: "cilantro", Mats: Weekly(1, 6), GrowMin: 21, GrowMax: 28},
		},
		TurnAround: TurnAround{DryDays: 1, AirDays: 1, Weather: Weather{NoDry: 0.3, Spell: 2}},
		Losses:     Losses{PerTurn: 0.03, ReplaceDays: 14, Aside: 0.05},
	}
	for b.Loop() {
		if _, err := Enough(p, 0.05, Options{}, rand.NewPCG(1, 2)); err != nil {
			b.Fatal(err)
		}
	}
}
