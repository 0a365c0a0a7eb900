package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

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
	r.Summary = in.summary()
	t := in.Result
	r.Figures = fields{"query": t.Query, "lots": t.Lots, "seed_lots": t.SeedLots, "mesh_rolls": t.Rolls, "mats": t.Mats,
		"to_hold": t.Hold, "seed_lots_also": t.Seeds, "commands": in.Commands}
	r.Sections = []Section{in.matTable(), in.growths("start", "What is traced", t.Start),
		in.reach("at_risk", "At risk", t.AtRisk), in.reach("sources", "Possible sources", t.Sources),
		in.growths("same_seed", "Other crops of the same seed lots", t.SeedAlso), in.solutions()}
	if len(in.Result.Voided) > 0 {
		r.Sections = slices.Insert(r.Sections, 1, in.voided())
	}
	return r
}

func (in TraceInput) summary() []string {
	var out sentences
	out.say("Traced: %s on %s.", count(len(in.Result.Start), "growth", "growths"), mats(len(in.Result.Mats)))
	out = append(out, in.mold(), "Other lots at risk by the records: "+counted(in.otherLots())+".")
	for _, s := range in.Result.Seeds {
		out.say("Other lots of the same seed lot, %s: %s.", s.Name, cmp.Or(strings.Join(s.Lots, ", "), "none with a name"))
	}
	out.say("In use and not on hold when this was printed: %s of this trace.", mats(len(in.Result.Hold)))
	for _, s := range in.Result.Seeds {
		if len(s.Hold) > 0 {
			out.say("In use, not on hold, and other crops of seed lot %s grew on them: %s more.", s.Name, mats(len(s.Hold)))
		}
	}
	if n := len(in.Result.Voided); n > 0 {
		out.say("NOT AMONG THEM: %s of such lots, on other mats, that were voided; look at each.",
			count(n, "sowing", "sowings"))
	}
	for _, c := range in.Commands {
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
func (in TraceInput) otherLots() []string {
	own := map[string]bool{}
	for _, g := range in.Result.Start {
		own[strings.ToLower(g.Lot)] = true
	}
	return where(in.Result.Lots, func(lot string) bool { return !own[strings.ToLower(lot)] })
}

// mold names the growths of the trace on which mold was seen.
func (in TraceInput) mold() string {
	var seen sentences
	take := func(g trace.Growth, as string) {
		if g.Mold {
			seen.say("%s on %s (%s)", lotText(g.Crop, g.Lot), keep(g.Mat.String()), as)
		}
	}
	for _, g := range in.Result.Start {
		take(g, "traced")
	}
	for _, x := range in.Result.AtRisk {
		take(x.Growth, "at risk")
	}
	for _, x := range in.Result.Sources {
		take(x.Growth, "possible source")
	}
	for _, g := range in.Result.SeedAlso {
		take(g, "same seed lot")
	}
	if len(seen) == 0 {
		return "Mold on file in this trace: none."
	}
	return "MOLD was seen: " + strings.Join(slices.Compact(seen), "; ") + "."
}

func (in TraceInput) matTable() Section {
	s := newSection("mat_states")
	for _, m := range in.Result.States {
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
func (in TraceInput) voided() Section {
	s := newSection("voided_sowings")
	for _, v := range in.Result.Voided {
		s.addWhole(func() any { return v }, keep(v.Mat.String()), lotText(v.Crop, v.Lot),
			in.day(v.SownAt)+" "+v.SownBy, in.day(v.VoidedAt)+" "+v.VoidedBy, v.Reason)
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

func (in TraceInput) row(g trace.Growth) []string {
	ended := "–"
	if !g.Ended.IsZero() {
		ended = in.day(g.Ended)
	}
	cleared := "accepted"
	if !g.Cleared {
		cleared = "no accepted step"
	}
	crop := g.Crop
	if g.Mold {
		crop += ", mold seen"
	}
	return []string{cmp.Or(g.Lot, unknown), keep(g.Mat.String()), fmt.Sprint(g.Turn), crop, cmp.Or(g.SeedLot, unknown),
		cmp.Or(g.Place, unknown), in.day(g.SownAt) + " " + g.SownBy, ended, cleared}
}

func (in TraceInput) growths(name, heading string, all []trace.Growth) Section {
	s := newSection("growths.{name}", "{name}", name, "{heading}", heading)
	s.Columns = s.Columns[:len(s.Columns)-1]
	for _, g := range all {
		s.addWhole(func() any { return g }, in.row(g)...)
	}
	return s
}

func (in TraceInput) reach(name, heading string, all []trace.Reach) Section {
	s := newSection("growths.{name}", "{name}", name, "{heading}", heading)
	for _, x := range all {
		s.addWhole(func() any { return x }, append(in.row(x.Growth), x.Why)...)
	}
	return s
}

func (in TraceInput) solutions() Section {
	s := newSection("solutions")
	for _, x := range in.Result.Solutions {
		made := cmp.Or(x.MadeBy, unknown)
		if !x.MadeAt.IsZero() {
			made += " " + keep(minute(x.MadeAt.In(in.Farm.Location())))
		}
		code := cmp.Or(keep(x.Code.String()), "–")
		s.addWhole(func() any { return x }, cmp.Or(x.Product, unknown), code, made, fmt.Sprint(x.Missed), codes(x.Mats))
	}
	return s
}
