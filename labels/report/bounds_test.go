package report

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/lifetime"
)

// molded is a tally with so many places and weeks, each place with the turns of
// its own share of mold.
func molded(places, weeks int) molds {
	t := NewTally(medium.Farm{}, start)
	for n := range places {
		name := fmt.Sprintf("shelf %02d", n)
		t.rates[rateKey{"place", name}] = lifetime.Week{Turns: 100 - n, Moldy: 30 * (n % 2)}
	}
	for n := range weeks {
		t.weeks[2900+n] = lifetime.Week{Turns: 50, Moldy: 5}
	}
	t.ended = lifetime.Week{Turns: 5000, Moldy: 500}
	return moldsOf(t)
}

// A table that leaves rows out says how many; one that has all of them says
// nothing of it.
func TestMoldTablesCountWhatTheyLeaveOut(t *testing.T) {
	m := molded(rowsPerGroup, weeksShown)
	require.NotContains(t, m.rateTable().Note, "left out")
	require.NotContains(t, m.chartSection().Note, "are shown")
	require.Len(t, m.rateTable().Rows, rowsPerGroup)
	require.Len(t, m.chartSection().Rows, weeksShown)

	m = molded(rowsPerGroup+1, weeksShown+1)
	require.Contains(t, m.rateTable().Note, "Of each breakdown the 20 groups with most turns are listed; left out are 1 by place.")
	require.Contains(t, m.rateTable().Note, "A plot holds the 8 with most turns.")
	require.Contains(t, m.chartSection().Note, "The last 52 of 53 weeks are shown.")
	require.Len(t, m.rateTable().Rows, rowsPerGroup)
	require.Len(t, m.chartSection().Rows, weeksShown)

	m = molded(4, 30)
	require.NotContains(t, m.pairTable().Note, "are shown")
	require.NotContains(t, m.rateTable().Note, "plot")
}

// Every pair that is beyond chance is shown, however many there are.
func TestPairsBeyondChanceAreAllShown(t *testing.T) {
	m := molded(groupsCompared+3, 30) // each even shelf against each odd one: 36; 15 of odd ones
	s := m.pairTable()
	require.Len(t, s.Rows, 36)
	require.Contains(t, s.Note, "for all 51 pairs; the 36 with the least p are shown")
	require.Contains(t, s.Note, "only the 12 groups with most turns are compared, 3 are not")
}

func TestRareCausesAreNamed(t *testing.T) {
	var obs []lifetime.Observation
	for i, cause := range medium.Causes {
		for n := range 12 - i {
			obs = append(obs, lifetime.Observation{Turns: float64(3 + n), Retired: true, Cause: string(cause)})
		}
	}
	c := causesOfObservations(obs)
	require.Len(t, c.curves, len(medium.Causes))
	s := c.section()
	require.Len(t, s.Columns, 2+len(dashes))
	for _, rare := range c.curves[len(dashes):] {
		require.Contains(t, s.Note, causeName(medium.Cause(rare.Cause))+" ", "its chance is given")
	}
	require.Contains(t, s.Note, "Of the less frequent causes only the chance by turn 14 is given: ")
}
