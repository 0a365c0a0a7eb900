package lifetime

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// BenchmarkFarm is one reuse report's worth of statistics on 100,000 mats with
// seven harvests each.
func BenchmarkFarm(b *testing.B) {
	rng := rand.New(rand.NewPCG(51, 52))
	truth := Weibull{Shape: 2.2, Scale: 12}
	const mats = 100000
	obs := make([]Observation, mats)
	groups := []Group{{Name: "polyester"}, {Name: "nylon"}}
	var ages []float64
	harvests := make([]Harvest, 0, 7*mats)
	for i := range obs {
		obs[i] = truth.drawLife(0, float64(1+rng.IntN(20)), true, rng)
		obs[i].Cause = []string{"cut", "mold", "wear", "lost"}[rng.IntN(4)]
		groups[i%2].Observations = append(groups[i%2].Observations, obs[i])
		if !obs[i].Retired {
			ages = append(ages, obs[i].Turns)
		}
		for turn := range 7 {
			harvests = append(harvests, Harvest{Mat: fmt.Sprint("m", i), Mesh: groups[i%2].Name, Crop: "pea",
				Turn: float64(turn + 1), PerSeed: 4 + 0.4*rng.NormFloat64()})
		}
	}
	fit, err := FitWeibull(obs, .95)
	if err != nil {
		b.Fatal(err)
	}
	for name, work := range map[string]func() error{
		"curve":     func() error { _, err := KaplanMeier(obs, .95, LogLog); return err },
		"incidence": func() error { _, err := CumulativeIncidence(obs, .95); return err },
		"logrank":   func() error { _, err := LogRank(groups); return err },
		"fit":       func() error { _, err := FitWeibull(obs, .95); return err },
		"forecast": func() error {
			weeks := make([]float64, 26)
			for i := range weeks {
				weeks[i] = .7
			}
			_, err := ForecastRetirements([]Kind{{fit, ages}}, ForecastPlan{TurnsPerMat: weeks, Replace: true}, rand.NewPCG(1, 2))
			return err
		},
		"yield": func() error {
			y, err := CompareYields(harvests)
			if err == nil {
				_, err = y.Trends(func(h Harvest) string { return h.Mesh }, DefaultLimits(), .95)
			}
			return err
		},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if err := work(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
