package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"resow/medium"
	"resow/medium/lifetime"
)

// causesOver is the chance over the turns that a mat has been retired for each
// cause, whatever the period of the report.
type causesOver struct {
	curves  []lifetime.Incidence // most retired first
	last    float64              // turn of the last retirement
	refused error
}

func causesOverOf(all *census) causesOver { return causesOfObservations(all.observations()) }

func causesOfObservations(obs []lifetime.Observation) causesOver {
	var c causesOver
	if c.refused = lifetime.DefaultLimits().Curve(obs); c.refused == nil {
		c.curves, c.refused = lifetime.CumulativeIncidence(obs, confidence)
	}
	slices.SortStableFunc(c.curves, func(a, b lifetime.Incidence) int { return cmp.Compare(b.Retired, a.Retired) })
	for _, curve := range c.curves {
		for _, p := range curve.Points {
			c.last = max(c.last, p.Turns)
		}
	}
	return c
}

// incidenceAt gives the curve just after a turn.
func incidenceAt(i lifetime.Incidence, turn float64) lifetime.IncidencePoint {
	var at lifetime.IncidencePoint
	for _, p := range i.Points {
		if p.Turns <= turn {
			at = p
		}
	}
	return at
}

func (c causesOver) say() []string {
	if c.refused != nil || len(c.curves) == 0 {
		return nil
	}
	first := c.curves[0]
	p := incidenceAt(first, c.last)
	cause := cmp.Or(causePhrases[first.Cause], first.Cause)
	return []string{fmt.Sprintf("The most frequent cause so far: by turn %s the chance that a mat has been retired "+
		"for %s is %s (95 %% interval %s).", short(c.last), cause, percentOf(p.F), percentSpan(p.Low, p.High))}
}

// causePhrases are the causes whose name is no part of a sentence.
var causePhrases = map[string]string{causeName(""): "a cause that was not noted", string(medium.CauseCut): "a cut",
	string(medium.CauseYield): "falling yield", string(medium.CauseLost): "having been lost",
	string(medium.CauseOther): "another cause"}

func (c causesOver) section() Section {
	s := newSection("chance_by_cause")
	if c.refused != nil {
		return s
	}
	shown := c.curves[:min(len(c.curves), len(dashes))]
	var rare sentences
	for _, curve := range c.curves[len(shown):] {
		rare.say("%s %s", causeName(medium.Cause(curve.Cause)), chance(incidenceAt(curve, c.last)).text)
	}
	if len(rare) > 0 {
		s.Note += fmt.Sprintf(" Of the less frequent causes only the chance by turn %s is given: %s.",
			short(c.last), list(rare))
	}
	p := newPlot("chance_by_cause")
	p.X.To, p.Y.To = c.last+1, 10
	for i, curve := range shown {
		name := causeName(medium.Cause(curve.Cause))
		s.Columns = append(s.Columns, Column{Head: name, Of: name, Name: "retired_percent"})
		points := []Point{{}}
		for _, at := range curve.Points {
			points = append(points, Point{X: at.Turns, Y: 100 * at.F})
			p.Y.To = min(100, max(p.Y.To, 110*at.F))
		}
		points = append(points, Point{X: c.last + 1, Y: points[len(points)-1].Y})
		p.Series = append(p.Series, Series{Name: curve.Cause, Shape: Steps, Style: i, Points: points})
	}
	step := max(1, int(c.last/8+0.5))
	for turn := step; float64(turn) <= c.last; turn += step {
		row := []any{turn, nil}
		for _, curve := range shown {
			at := incidenceAt(curve, float64(turn))
			row[1] = c.watched(curve, float64(turn))
			row = append(row, chance(at))
		}
		s.add(row...)
	}
	s.Plots = []Plot{p}
	return s
}

func chance(p lifetime.IncidencePoint) cell {
	if !p.Known {
		return cell{percentOf(p.F), percentWithin(p.F, math.NaN(), math.NaN(), "Aalen-Johansen").value}
	}
	return percentWithin(p.F, p.Low, p.High, "Aalen-Johansen")
}

// watched is the number of mats in use when the first retirement at or after
// the turn came.
func (c causesOver) watched(i lifetime.Incidence, turn float64) int {
	for _, p := range i.Points {
		if p.Turns >= turn {
			return p.AtRisk
		}
	}
	return 0
}
