package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"resow/medium"
	"resow/medium/trace"
)

// TraceInput is what the trace is printed from.
type TraceInput struct {
	Origin
	Result trace.Result
	// Commands hold what is not on hold yet: the mats of this trace, then those of
	// the same seed lots. They are printed to be typed.
	Commands []string
}

// Trace is the paper of a recall: what is traced, what is at risk, where it may
// come from, and the mats to be set apart with a box to tick for each.
func Trace(in TraceInput) Report {
	r := in.report("trace", "{query}", in.Result.Query.From+" "+in.Result.Query.Name)
	r.Wide, r.Sign = true, true
	t := tracePaper{in, in.Result}
	r.Summary = t.summary()
	r.Figures = fields{"query": in.Result.Query, "lots": in.Result.Lots, "seed_lots": in.Result.SeedLots, "mesh_rolls": in.Result.Rolls, "mats": in.Result.Mats,
		"to_hold": in.Result.Hold, "seed_lots_also": in.Result.Seeds, "commands": in.Commands}
	r.Sections = []Section{t.matTable(), t.growths("start", "What is traced", in.Result.Start), t.reach("at_risk", "At risk", in.Result.AtRisk),
		t.reach("sources", "Possible sources", in.Result.Sources), t.growths("same_seed", "Other crops of the same seed lots", in.Result.SeedAlso), t.solutions()}
	if len(in.Result.Voided) > 0 {
		r.Sections = slices.Insert(r.Sections, 1, t.voided())
	}
	return r
}

type tracePaper struct {
	in TraceInput
	r  trace.Result
}

func (t tracePaper) summary() []string {
	out := []string{fmt.Sprintf("Traced: %s on %s.", count(len(t.r.Start), "growth", "growths"), mats(len(t.r.Mats))), t.mold()}
	out = append(out, "Other lots at risk by the records: "+counted(t.otherLots())+".")
	for _, s := range t.r.Seeds {
		out = append(out, fmt.Sprintf("Other lots of the same seed lot, %s: %s.", s.Name, or(strings.Join(s.Lots, ", "), "none with a name")))
	}
	out = append(out, fmt.Sprintf("In use and not on hold when this was printed: %s of this trace.", mats(len(t.r.Hold))))
	for _, s := range t.r.Seeds {
		if len(s.Hold) > 0 {
			out = append(out, fmt.Sprintf("In use, not on hold, and other crops of seed lot %s grew on them: %s more.", s.Name, mats(len(s.Hold))))
		}
	}
	if n := len(t.r.Voided); n > 0 {
		out = append(out, fmt.Sprintf("NOT AMONG THEM: %s of such lots, on other mats, that were voided; look at each.", count(n, "sowing", "sowings")))
	}
	for _, c := range t.in.Commands {
		out = append(out, "To hold them: "+c)
	}
	return out
}

// counted is a list of names with their number, or none.
func counted(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return fmt.Sprintf("%d: %s", len(names), strings.Join(names, ", "))
}

// otherLots are the lots at risk that the start does not have itself.
func (t tracePaper) otherLots() (others []string) {
	own := map[string]bool{}
	for _, g := range t.r.Start {
		own[strings.ToLower(g.Lot)] = true
	}
	for _, lot := range t.r.Lots {
		if !own[strings.ToLower(lot)] {
			others = append(others, lot)
		}
	}
	return others
}

// mold names the growths of the trace on which mold was seen.
func (t tracePaper) mold() string {
	var seen []string
	take := func(g trace.Growth, as string) {
		if g.Mold {
			seen = append(seen, fmt.Sprintf("%s on %s (%s)", lotText(g.Crop, g.Lot), keep(g.Mat.String()), as))
		}
	}
	for _, g := range t.r.Start {
		take(g, "traced")
	}
	for _, x := range t.r.AtRisk {
		take(x.Growth, "at risk")
	}
	for _, x := range t.r.Sources {
		take(x.Growth, "possible source")
	}
	for _, g := range t.r.SeedAlso {
		take(g, "same seed lot")
	}
	if len(seen) == 0 {
		return "Mold on file in this trace: none."
	}
	return "MOLD was seen: " + strings.Join(slices.Compact(seen), "; ") + "."
}

func (t tracePaper) matTable() Section {
	s := newSection("mat_states")
	for _, m := range t.r.States {
		crop := "no crop yet"
		if m.Crop != "" {
			crop = lotText(m.Crop, m.Lot)
		}
		if m.Crop != "" && m.Stage != medium.Growing && m.HeldIn != medium.Growing {
			crop = "none now; last " + crop
		}
		s.addWhole(func() any { return m }, keep(m.Mat.String()), stateText(m), crop, "____________________")
	}
	return s
}

// voided are the sowings that were taken back, on mats that were not found otherwise.
func (t tracePaper) voided() Section {
	s := newSection("voided_sowings")
	for _, v := range t.r.Voided {
		day := func(at time.Time, by string) string {
			return keep(at.In(t.in.now().Location()).Format("2 Jan 2006")) + " " + by
		}
		s.addWhole(func() any { return v }, keep(v.Mat.String()), lotText(v.Crop, v.Lot), day(v.SownAt, v.SownBy), day(v.VoidedAt, v.VoidedBy), v.Reason)
	}
	return s
}

func stateText(m trace.State) string {
	switch {
	case m.Stage == medium.Retired:
		return "retired"
	case m.Stage == medium.OnHold && m.HeldIn != "":
		return "ON HOLD, was " + string(m.HeldIn)
	case m.Stage == medium.OnHold:
		return "ON HOLD"
	}
	return "in use, " + string(m.Stage)
}

func (t tracePaper) row(g trace.Growth) []string {
	loc := t.in.now().Location()
	ended := "–"
	if !g.Ended.IsZero() {
		ended = keep(g.Ended.In(loc).Format("2 Jan 2006"))
	}
	cleared := "accepted"
	if !g.Cleared {
		cleared = "no accepted step"
	}
	crop := g.Crop
	if g.Mold {
		crop += ", mold seen"
	}
	return []string{or(g.Lot, unknown), keep(g.Mat.String()), fmt.Sprint(g.Turn), crop, or(g.SeedLot, unknown), or(g.Place, unknown),
		keep(g.SownAt.In(loc).Format("2 Jan 2006")) + " " + g.SownBy, ended, cleared}
}

func (t tracePaper) growths(name, heading string, all []trace.Growth) Section {
	s := newSection("growths.{name}", "{name}", name, "{heading}", heading)
	s.Columns = s.Columns[:len(s.Columns)-1]
	for _, g := range all {
		s.addWhole(func() any { return g }, t.row(g)...)
	}
	return s
}

func (t tracePaper) reach(name, heading string, all []trace.Reach) Section {
	s := newSection("growths.{name}", "{name}", name, "{heading}", heading)
	for _, x := range all {
		s.addWhole(func() any { return x }, append(t.row(x.Growth), x.Why)...)
	}
	return s
}

func (t tracePaper) solutions() Section {
	s := newSection("solutions")
	for _, x := range t.r.Solutions {
		made := or(x.MadeBy, unknown)
		if !x.MadeAt.IsZero() {
			made += " " + keep(x.MadeAt.In(t.in.now().Location()).Format("2 Jan 2006 15:04"))
		}
		code := "–"
		if x.Code != "" {
			code = keep(x.Code.String())
		}
		s.addWhole(func() any { return x }, or(x.Product, unknown), code, made, fmt.Sprint(x.Missed), codes(x.Mats))
	}
	return s
}
