package report

import (
	"maps"
	"slices"
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
	g := f.graph(maps.Keys(f.conditions))
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
	g := f.graph(slices.Values([]medium.Code{code(1)}))
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
	require.Equal(t, []string{"in use, growing"}, column(t, mats, "State"))
	require.Equal(t, []string{"radish, lot L2"}, column(t, mats, "Crop and lot on it"))
	require.Contains(t, r.Summary, "Mold on file in this trace: none.")
	require.NotEmpty(t, r.Anchor)
	require.True(t, r.Sign)
}

// The state of every mat is told, a hold apart from the end of a mat; mold and
// the other lots of the same seed stand in the summary, with what holds them.
func TestTraceTellsStatesMoldAndSeed(t *testing.T) {
	f := newFarm(t)
	sow := func(i int, lot string) {
		f.do(code(i), addMat(0))
		f.wash(code(i), label())
		f.do(code(i), &medium.Sow{Crops: []medium.Sown{{Crop: "pea", SeedG: 20}}, Lot: lot, SeedLot: "S88"})
	}
	sow(1, "L1")
	sow(2, "L1")
	sow(3, "L1")
	sow(4, "L1")
	sow(5, "L5")
	f.do(code(2), &medium.Hold{Reason: "doubt"})
	f.do(code(3), &medium.Harvest{YieldG: 90})
	f.do(code(3), &medium.Retire{Cause: medium.CauseWear})
	f.do(code(4), &medium.Mold{Where: "edge"})
	g := f.graph(slices.Values([]medium.Code{code(1), code(2), code(3), code(4), code(5)}))
	found, err := g.Find(trace.Query{From: trace.FromLot, Name: "L1"})
	require.NoError(t, err)
	r := Trace(TraceInput{Origin: f.origin(), Result: found, Commands: []string{"resow trace L1 --hold x", "resow trace S88 --hold x"}})
	mats := section(t, r, "Mats to set apart")
	require.Equal(t, []string{"in use, growing", "ON HOLD, was growing", "retired", "ON HOLD, was growing"}, column(t, mats, "State"))
	require.Equal(t, []string{"pea, lot L1", "pea, lot L1", "none now; last pea, lot L1", "pea, lot L1"}, column(t, mats, "Crop and lot on it"))
	text := loose(strings.Join(r.Summary, "\n"))
	for _, want := range []string{
		"MOLD was seen: pea, lot L1 on " + code(4).String() + " (traced).",
		"Other lots of the same seed lot, S88: L5.",
		"In use and not on hold when this was printed: 1 mat of this trace.",
		"In use, not on hold, and other crops of seed lot S88 grew on them: 1 mat more.",
		"To hold them: resow trace L1 --hold x", "To hold them: resow trace S88 --hold x",
	} {
		require.Contains(t, text, want)
	}
}
