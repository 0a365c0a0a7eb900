package lifetime

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBreakEvenPublished(t *testing.T) {
	// Open textbook: fixed cost 20,000, price 400, variable cost 250: 133.33
	// units, so 134.
	assert.Equal(t, BreakEven{Turns: 134}, breakEven(20000, 400-250))
	// Hocking 1994, Environmental Management 18:889-899: glass against paper,
	// 5.5 MJ, washing .18, paper .55: published 15.
	assert.Equal(t, BreakEven{Turns: 15}, breakEven(5.5, .55-.18))
	// Price 12, washing .35, throw-away .90: 21.8, so 22.
	assert.Equal(t, BreakEven{Turns: 22}, breakEven(12, .90-.35))
	assert.Equal(t, BreakEven{Turns: 20}, breakEven(11, .55), "a whole number of turns is not rounded up")
	// Washing as dear as the medium: never, and not a negative number.
	assert.Equal(t, BreakEven{Never: true}, breakEven(12, 0))
	assert.Equal(t, BreakEven{Never: true}, breakEven(12, -.1))
	// Hocking's ceramic against foam shows how little a break-even with a small
	// difference in its denominator is worth: 14 MJ, .20 against .18 and .184.
	assert.Equal(t, 700, breakEven(14, .20-.18).Turns)
	assert.Equal(t, 875, breakEven(14, .20-.184).Turns)
}

func TestCostPerTurn(t *testing.T) {
	// Mean life 18 turns: 12/18 + .35 = 1.016666...
	mat := MatCost{Mesh: 11.5, Label: .5, SanitizerPerTurn: .05, WaterPerTurn: .05, Minutes: Estimate{Value: 1, Low: .5, High: 1.5}, LaborPerHour: 15}
	c, err := CostPerTurn(mat, Estimate{Value: 18, Low: 12, High: 24}, Medium{PerSowing: .90})
	require.NoError(t, err)
	near(t, 12./18+.35, c.PerTurn.Value, 1e-12, "cost per turn")
	near(t, 12./24+.1+.125, c.PerTurn.Low, 1e-12, "low")
	near(t, 12./12+.1+.375, c.PerTurn.High, 1e-12, "high")
	near(t, .9-12./18-.35, c.Saving.Value, 1e-12, "saving")
	assert.Equal(t, 22, c.BreakEven.Turns)
	assert.Equal(t, 18, c.Earliest.Turns) // 12/.675 = 17.8
	assert.Equal(t, 29, c.Latest.Turns)   // 12/.425 = 28.2
	// Minutes at which nothing is gained: (.9 - .1 - 12/18) * 60/15.
	require.True(t, c.ParityKnown)
	near(t, (.9-.1-12./18)*4, c.ParityMinutes, 1e-9, "parity")

	curve := mustCurve(t, "10 20 25 30 30+")
	p, ok := ReachChance(curve, c.BreakEven)
	require.True(t, ok)
	near(t, .6, p.S, 1e-12, "mats that live to turn 22")
	p, ok = ReachChance(curve, BreakEven{Turns: 20})
	require.True(t, ok)
	near(t, .8, p.S, 1e-12, "a mat retired in turn 20 has made turn 20")
	p, ok = ReachChance(curve, BreakEven{Never: true})
	assert.True(t, ok)
	assert.Zero(t, p.S)

	rows, err := WhatIf(mat, Exactly(18), Medium{PerSowing: .9}, []float64{5, 11.5}, []float64{9, 18})
	require.NoError(t, err)
	require.Len(t, rows, 4)
	near(t, c.PerTurn.Value, rows[3].PerTurn.Value, 1e-12, "base row")
	near(t, 5.5/9+.35, rows[0].PerTurn.Value, 1e-12, "cheaper and shorter")

	_, err = CostPerTurn(mat, Exactly(0), Medium{})
	assert.ErrorAs(t, err, new(*Invalid))
}

func sampleOf(values ...float64) Sample {
	var s Sample
	for _, v := range values {
		s.Add(v)
	}
	return s
}

func TestMeanOfASample(t *testing.T) {
	// Student 1908, R sleep, extra hours under drug 2: mean 2.33, R t.test prints
	// .8976775 to 3.7623225 (from memory).
	e, err := sampleOf(1.9, .8, 1.1, .1, -.1, 4.4, 5.5, 1.6, 4.6, 3.4).Mean(.95)
	require.NoError(t, err)
	printed(t, "2.33", e.Value, "mean")
	printed(t, ".8976775", e.Low, "low")
	printed(t, "3.7623225", e.High, "high")
}

func TestMassAvoided(t *testing.T) {
	a, err := MassAvoided(1000, Medium{MassG: 40}, 12, 60)
	require.NoError(t, err)
	assert.Equal(t, Avoided{40000, 720, 39280}, a)
}
