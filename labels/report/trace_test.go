package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/trace"
)

// trace follows a crop lot of the small farm, or the first lot of another one.
func (f *farm) trace() trace.Result {
	var lots []string
	for _, s := range f.steps {
		if b, ok := s.Body.(*medium.Sow); ok && b.Lot != "" {
			lots = append(lots, b.Lot)
		}
	}
	g := trace.New(func(yield func([]medium.Step) bool) {
		for mat := range f.conditions {
			if !yield(f.thread(mat)) {
				return
			}
		}
	})
	if len(lots) == 0 {
		return trace.Result{Query: trace.Query{From: trace.FromLot, Name: "none"}}
	}
	r, err := g.Find(trace.Query{From: trace.FromLot, Name: lots[len(lots)/2]})
	require.NoError(f.t, err)
	return r
}

// Every growth and every mat of the trace stands on the paper, at risk ones with
// the reason, and each mat has a place to tick it off.
func TestTracePaper(t *testing.T) {
	f := newFarm(t)
	change := medium.PolicyChange{Setting: medium.Setting{Rule: "not-sanitized", On: false, Limit: 1}, Reason: "trial"}
	f.Farm = f.Apply(medium.Step{Body: &change})
	f.do(code(1), addMat(0))
	f.wash(code(1), label())
	f.turn(code(1), "pea", "L1", "A", 200, label())
	f.sow(code(1), "radish", "L2", "A")
	// put in by hand: the sanitize step before L2 is void
	thread := f.thread(code(1))
	for i := len(thread) - 1; i >= 0; i-- {
		if thread[i].Kind == medium.KindSanitize {
			f.correct(code(1), thread[i].MatSeq, "wrong mat")
			break
		}
	}
	g := trace.New(func(yield func([]medium.Step) bool) { yield(f.thread(code(1))) })
	found, err := g.Find(trace.Query{From: trace.FromLot, Name: "L1"})
	require.NoError(t, err)
	r := Trace(TraceInput{Origin: f.origin(), Result: found})
	require.Contains(t, strings.Join(r.Summary, " "), "Other lots at risk by the records: 1: L2.")
	risk := section(t, r, "At risk")
	require.Len(t, risk.Rows, 1)
	require.Equal(t, []string{"L2"}, column(t, risk, "Lot"))
	require.Contains(t, column(t, risk, "Why")[0], "no accepted sanitize step between")
	require.Equal(t, []string{"no accepted step"}, column(t, risk, "Sanitized before"))
	mats := section(t, r, "Mats to set apart")
	require.Len(t, mats.Rows, len(found.Mats))
	require.Equal(t, []string{"in use"}, column(t, mats, "State"))
	require.NotEmpty(t, r.Anchor)
	require.True(t, r.Sign)
}
