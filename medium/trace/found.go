package trace

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"resow/medium"
)

// found is what a search found.
type found struct {
	*Graph
	q           Query
	start       []*growth
	touched     []*history // of a mat's code, a roll or a solution
	ahead, back []visit
	seeds       []seedGrowths
}

// seedGrowths are the other growths of a seed lot of the start.
type seedGrowths struct {
	lot    string
	others []*growth
}

// takenBack gives the voided sowings of what is traced and of the lots at risk, on
// mats that were not found otherwise. The search has read the mats of all these lots.
func (f *found) takenBack(mats map[*history]bool) (out []Voided) {
	lots, want := map[string]bool{}, medium.FoldLot(f.q.Name)
	if f.q.From == FromLot {
		lots[want] = true
	}
	for _, x := range f.start {
		lots[medium.FoldLot(x.Lot)] = true
	}
	for _, v := range f.ahead {
		lots[medium.FoldLot(v.Lot)] = true
	}
	delete(lots, "")
	for _, code := range slices.Sorted(maps.Keys(f.mats)) {
		m := f.mats[code]
		for _, v := range m.voided {
			if !mats[m] && (lots[medium.FoldLot(v.Lot)] || bears(f.q.From, want, "", v.Seeds)) {
				out = append(out, v)
			}
		}
	}
	return out
}

// result puts together what is said about all that was found.
func (f *found) result() Result {
	r := Result{Query: f.q, Start: make([]Growth, len(f.start)), AtRisk: reaches(f.ahead, true),
		Sources: reaches(f.back, false), SeedAlso: []Growth{}, Mats: []medium.Code{}, Hold: []medium.Code{},
		States: []State{}, Seeds: []SeedLot{}, Voided: []Voided{}, VoidedHold: []medium.Code{}}
	lots, seeds, rolls, mats := newNames(), newNames(), newNames(), map[*history]bool{}
	solutions := map[string]*Solution{}
	for i, x := range f.start {
		r.Start[i] = x.Growth
		lots.add(x.Lot)
		for _, lot := range x.Seeds {
			seeds.add(lot)
		}
		mats[x.on] = true
		rolls.add(x.on.roll)
		for _, c := range x.Before {
			addUse(solutions, x.Mat, c)
		}
	}
	for _, v := range f.ahead {
		lots.add(v.Lot)
		mats[v.on] = true
	}
	for _, m := range f.touched {
		mats[m] = true
		rolls.add(m.roll)
		for _, c := range m.open {
			addUse(solutions, m.state.Mat, c)
		}
	}
	also := map[*growth]bool{}
	for _, seed := range f.seeds {
		r.Seeds = append(r.Seeds, seed.told(mats))
		for _, x := range seed.others {
			if !also[x] { // a mix can share two of them
				also[x] = true
				r.SeedAlso = append(r.SeedAlso, x.Growth)
			}
		}
	}
	r.Lots, r.SeedLots, r.Rolls = lots.list, seeds.list, rolls.list
	for m := range mats {
		r.States = append(r.States, m.state)
	}
	slices.SortFunc(r.States, func(a, b State) int { return strings.Compare(string(a.Mat), string(b.Mat)) })
	for _, s := range r.States {
		r.Mats = append(r.Mats, s.Mat)
		if s.open() {
			r.Hold = append(r.Hold, s.Mat)
		}
	}
	for _, v := range f.takenBack(mats) {
		r.Voided = append(r.Voided, v)
		if f.mats[v.Mat].state.open() {
			r.VoidedHold = append(r.VoidedHold, v.Mat)
		}
	}
	r.VoidedHold = slices.Compact(r.VoidedHold) // they stand mat by mat
	r.Solutions = listed(solutions)
	return r
}

func listed(solutions map[string]*Solution) []Solution {
	out := []Solution{}
	for _, key := range slices.Sorted(maps.Keys(solutions)) {
		s := solutions[key]
		slices.Sort(s.Mats)
		s.Mats = slices.Compact(s.Mats)
		out = append(out, *s)
	}
	return out
}

func reaches(visits []visit, forward bool) []Reach {
	out := make([]Reach, len(visits))
	for i, v := range visits {
		out[i] = Reach{Growth: v.Growth, Hops: v.hops, Why: v.why(forward)}
	}
	return out
}

func (v visit) why(forward bool) string {
	if v.same {
		return fmt.Sprintf("the same lot as on mat %s", v.from.Mat)
	}
	if forward {
		return fmt.Sprintf("sown on mat %s after %s, no accepted sanitize step between", v.from.Mat, nameOf(v.from))
	}
	return fmt.Sprintf("on mat %s before %s, no accepted sanitize step between", v.from.Mat, nameOf(v.from))
}

func nameOf(x *growth) string {
	if x.Lot != "" {
		return "lot " + x.Lot
	}
	return x.Crop + " without a lot"
}

// told tells of the other growths of a seed lot. To be held are their mats that are in
// use and not among those of the trace.
func (s seedGrowths) told(mats map[*history]bool) SeedLot {
	out := SeedLot{Name: s.lot, Lots: []string{}, Hold: []medium.Code{}}
	lots := newNames()
	for _, x := range s.others {
		lots.add(x.Lot)
		if x.on.state.open() && !mats[x.on] {
			out.Hold = append(out.Hold, x.Mat)
		}
	}
	slices.Sort(out.Hold)
	slices.Sort(lots.list)
	out.Hold, out.Lots = slices.Compact(out.Hold), lots.list
	return out
}

// addUse takes a sanitize step on a mat into the list of solutions.
func addUse(solutions map[string]*Solution, mat medium.Code, c Cleaning) {
	key := c.Product + "\x00" + string(c.Solution)
	s := solutions[key]
	if s == nil {
		s = &Solution{Code: c.Solution, Product: c.Product, MadeBy: c.MadeBy, MadeAt: c.MadeAt}
		solutions[key] = s
	}
	s.Mats = append(s.Mats, mat)
	if !c.Accepted {
		s.Missed++
	}
}
