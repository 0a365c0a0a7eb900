package report

import (
	"fmt"
	"strings"

	"resow/medium"
	"resow/medium/trace"
)

// TraceInput is what the trace is printed from.
type TraceInput struct {
	Origin
	Result trace.Result
}

// Trace is the paper of a recall: what is traced, what is at risk, where it may
// come from, and the mats to be set apart with a box to tick for each.
func Trace(in TraceInput) Report {
	r := in.report("Trace of " + in.Result.Query.From + " " + in.Result.Query.Name)
	r.Wide, r.Sign = true, true
	t := tracePaper{in, in.Result}
	r.Summary = t.summary()
	r.Sections = []Section{t.matTable(), t.growths("What is traced", in.Result.Start), t.reach("At risk", in.Result.AtRisk),
		t.reach("Possible sources", in.Result.Sources), t.growths("Other crops of the same seed lots", in.Result.SeedAlso), t.solutions()}
	r.Method = []string{
		"A growth is one lot of a crop on one mat, from sowing to harvest. At risk is every growth sown on the same mat later with no accepted sanitizing step between, every other part of such a growth's lot, and so on from each of these. Possible sources are found in the same way, back in time.",
		"An accepted sanitizing step ends the way on a mat. It was accepted by the directions and policy in force that day; where the solution itself is traced, steps with it end nothing.",
		"Voided steps count as never taken. What was never written down can't be traced.",
		"Whether food is recalled is decided with the buyers and the local health authority, not by this paper.",
	}
	return r
}

type tracePaper struct {
	in TraceInput
	r  trace.Result
}

func (t tracePaper) summary() []string {
	own := map[string]bool{}
	for _, g := range t.r.Start {
		own[strings.ToLower(g.Lot)] = true
	}
	var others []string
	for _, lot := range t.r.Lots {
		if !own[strings.ToLower(lot)] {
			others = append(others, lot)
		}
	}
	out := []string{fmt.Sprintf("Traced: %s on %s.", count(len(t.r.Start), "growth", "growths"), mats(len(t.r.Mats)))}
	if len(others) == 0 {
		out = append(out, "Other lots at risk by the records: none.")
	} else {
		out = append(out, fmt.Sprintf("Other lots at risk by the records: %d: %s.", len(others), strings.Join(others, ", ")))
	}
	return append(out, fmt.Sprintf("In use and not on hold when this was printed: %s.", mats(len(t.r.Hold))))
}

func (t tracePaper) matTable() Section {
	s := Section{Heading: "Mats to set apart", Empty: "None.", Columns: []Column{{Head: "Mat"}, {Head: "State"}, {Head: "Found and set apart (initials, time)"}}}
	open := map[medium.Code]bool{}
	for _, c := range t.r.Hold {
		open[c] = true
	}
	for _, c := range t.r.Mats {
		state := "on hold or retired"
		if open[c] {
			state = "in use"
		}
		s.Rows = append(s.Rows, []string{keep(c.String()), state, "____________________"})
	}
	return s
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

var growthColumns = []Column{{Head: "Lot"}, {Head: "Mat"}, {Head: "Turn", Right: true, Drop: 1}, {Head: "Crop"}, {Head: "Seed lot", Drop: 3}, {Head: "Place", Drop: 4},
	{Head: "Sown"}, {Head: "Harvested", Drop: 5}, {Head: "Sanitized before", Drop: 2}}

func (t tracePaper) growths(heading string, all []trace.Growth) Section {
	s := Section{Heading: heading, Empty: "None by the records.", Columns: growthColumns}
	for _, g := range all {
		s.Rows = append(s.Rows, t.row(g))
	}
	return s
}

func (t tracePaper) reach(heading string, all []trace.Reach) Section {
	s := Section{Heading: heading, Empty: "None by the records.", Columns: append(append([]Column(nil), growthColumns...), Column{Head: "Why"})}
	for _, x := range all {
		s.Rows = append(s.Rows, append(t.row(x.Growth), x.Why))
	}
	return s
}

func (t tracePaper) solutions() Section {
	s := Section{Heading: "Sanitizers used before", Empty: "None by the records.",
		Columns: []Column{{Head: "Product"}, {Head: "Solution"}, {Head: "Mixed by"}, {Head: "Steps not accepted", Right: true}, {Head: "Mats"}}}
	for _, x := range t.r.Solutions {
		made := or(x.MadeBy, unknown)
		if !x.MadeAt.IsZero() {
			made += " " + keep(x.MadeAt.In(t.in.now().Location()).Format("2 Jan 2006 15:04"))
		}
		var codes []string
		for _, c := range x.Mats {
			codes = append(codes, keep(c.String()))
		}
		code := "–"
		if x.Code != "" {
			code = keep(x.Code.String())
		}
		s.Rows = append(s.Rows, []string{or(x.Product, unknown), code, made, fmt.Sprint(x.Missed), strings.Join(codes, ", ")})
	}
	return s
}
