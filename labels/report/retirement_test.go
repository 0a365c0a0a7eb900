package report

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

func TestRetirementSummaryIsTraced(t *testing.T) {
	f := small(t)
	r := papers(f)["retirement"]
	// From fate: mat 1 is cut through; mat 2 molded in this turn, mat 5 has an
	// edge cut; mats 3 and 9 are retired.
	until := f.now.In(f.Location())
	traced(t, r.Summary, []claim{
		{`due to be retired now`, []string{"1", "1"}},
		{`near a limit`, []string{"2"}},
		{`retired up to`, []string{"2", until.Format("2"), until.Format("2006"), "1", "1"}},
		{`^That is too few`, nil},
	})
	due := section(t, r, "Retire now")
	require.Equal(t, []string{code(1).String()}, column(t, due, "Code"))
	require.Equal(t, []string{"cut-through"}, column(t, due, "Rule"))
	require.Equal(t, []string{code(2).String(), code(5).String()}, column(t, section(t, r, "Near a limit"), "Code"))
}

// Each rule that a finding names stands in the table of limits, with the
// source that the finding itself gives.
func TestEveryFindingHasItsSourceOnPaper(t *testing.T) {
	f := small(t)
	change := medium.PolicyChange{Setting: medium.Setting{Rule: "max-turns", On: true, Limit: 4}, Reason: "old mesh"}
	f.Farm = f.Apply(medium.Step{Body: &change})
	r := papers(f)["retirement"]
	limits := section(t, r, "The farm's limits")
	sources := map[string]string{}
	for i, rule := range column(t, limits, "Rule") {
		sources[rule] = column(t, limits, "Source")[i]
	}
	checked := 0
	for _, c := range f.mats() {
		for _, found := range medium.Judge(c, f.Farm, f.now).Findings {
			if c.Stage == medium.Retired || found.Severity != medium.RetireIt {
				continue
			}
			require.Equal(t, found.Source, sources[found.Rule])
			checked++
		}
	}
	require.Greater(t, checked, 2)
	require.Contains(t, sources["max-turns"], "the farm's policy, version 1")
	require.Contains(t, strings.Join(column(t, section(t, r, "Retire now"), "Do"), ","), "retire")
}

func TestRetiredInThePeriodByCause(t *testing.T) {
	f := newFarm(t)
	var reached []int
	for i := range 7 {
		cause := medium.CauseCut
		if i%2 == 1 {
			cause = medium.CauseMold
		}
		c := medium.Condition{Code: code(i), Stage: medium.Retired, Turn: 3 + i, Cause: cause, RetiredAt: start.Add(time.Duration(i) * 24 * time.Hour)}
		f.conditions[c.Code] = c
		reached = append(reached, c.Turn)
	}
	f.now = start.Add(30 * 24 * time.Hour)
	in := RetirementInput{Origin: f.origin(), Mats: slices.Values(f.mats())}
	r := Retirement(in)
	require.Contains(t, r.Summary, "7 mats were retired up to 1 Apr 2026: 4 cut and 3 mold.")
	require.Contains(t, r.Summary, fmt.Sprintf("Half of them had reached 6 turns or more; the least was %d and the most %d.", reached[0], reached[6]))
	require.Equal(t, []string{"too few", "too few"}, column(t, section(t, r, "Retired"), "Turns reached, middle"))

	in.From, in.To = start.Add(24*time.Hour), start.Add(3*24*time.Hour) // both ends count
	r = Retirement(in)
	require.Contains(t, r.Summary, "3 mats were retired from 3 Mar 2026 to 5 Mar 2026: 1 cut and 2 mold.")
	require.Len(t, section(t, r, "Each mat retired").Rows, 3)

	in.From, in.To = start.Add(-48*time.Hour), start.Add(-24*time.Hour)
	require.Contains(t, Retirement(in).Summary, "No mat was retired from 28 Feb 2026 to 1 Mar 2026.")
}

func TestAGrowingMatIsHarvestedFirst(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	f.wash(code(1), label())
	f.sow(code(1), "pea", "L1", "A")
	f.do(code(1), &medium.Cut{LengthMM: 30, Through: true})
	r := papers(f)["retirement"]
	require.Equal(t, []string{"harvest, then retire"}, column(t, section(t, r, "Retire now"), "Do"))
	require.Contains(t, r.Summary[0], "1 of them carries a crop; harvest that first.")
}

func TestAVeryLongListIsCut(t *testing.T) {
	f := newFarm(t)
	var list []medium.Condition
	for i := range matRows + 7 {
		list = append(list, medium.Condition{Code: medium.Code(fmt.Sprintf("T%07d", i)), Stage: medium.Retired, Turn: 3, Cause: medium.CauseCut, RetiredAt: start})
	}
	r := Retirement(RetirementInput{Origin: f.origin(), Mats: slices.Values(list)})
	gone := section(t, r, "Each mat retired")
	require.Len(t, gone.Rows, matRows)
	require.Contains(t, gone.Note, "7 more are left out")
	require.Contains(t, r.Summary[2], fmt.Sprintf("%d mats were retired", matRows+7), "the sentence counts all")
}
