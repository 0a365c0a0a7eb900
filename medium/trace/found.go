package trace

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"resow/medium"
)

// found is what a search found, as numbers, and what was then read of it.
type found struct {
	*Graph
	start, touched []int32
	ahead, back    []visit
	seeds          []seedGrowths
	voided         []voided

	growth map[int32]Growth
	mat    map[int32]history // without its growths
}

// seedGrowths are the other growths of a seed lot of the start.
type seedGrowths struct {
	start  int32 // the first of the start
	others []int32
}

// takenBack gives the voided sowings of what is traced and of the lots at risk, on
// mats that were not found otherwise.
func (f *found) takenBack(q Query) (out []voided) {
	lots, mats, seed := map[int32]bool{}, map[int32]bool{}, int32(0)
	switch q.From {
	case FromLot:
		lots[f.lots.numbers[fold(q.Name)]] = true
	case FromSeedLot:
		seed = f.Graph.seeds.numbers[fold(q.Name)]
	}
	take := func(n int32) {
		lots[f.growths[n].lot] = true
		mats[f.growths[n].mat] = true
	}
	for _, n := range f.start {
		take(n)
	}
	for _, v := range f.ahead {
		take(v.growth)
	}
	for _, m := range f.touched {
		mats[m] = true
	}
	delete(lots, 0)
	for _, v := range f.Graph.voided {
		if !mats[v.mat] && (lots[v.lot] || seed != 0 && v.seed == seed) {
			out = append(out, v)
		}
	}
	return out
}

// read reads the growths and mats anew, mat by mat. One copy of each name is
// kept: a name is part of all the texts of its record.
func (f *found) read() error {
	f.growth, f.mat = map[int32]Growth{}, map[int32]history{}
	growths := slices.Clone(f.start)
	for _, v := range slices.Concat(f.ahead, f.back) {
		growths = append(growths, v.growth)
	}
	for _, seed := range f.seeds {
		growths = append(growths, seed.others...)
	}
	wanted := map[int32][]int32{}
	for _, m := range f.touched {
		wanted[m] = nil
	}
	for _, v := range f.voided {
		wanted[v.mat] = nil
	}
	for _, n := range growths {
		m := f.growths[n].mat
		wanted[m] = append(wanted[m], n)
	}
	names := kept{medium.Names{}}
	for done, number := range slices.Sorted(maps.Keys(wanted)) {
		if f.Progress != nil {
			f.Progress(done+1, len(wanted))
		}
		m := f.mats[number]
		h, err := f.history(m)
		if err != nil {
			return err
		}
		for _, n := range wanted[number] {
			f.growth[n] = names.growth(h.growths[n-m.first])
		}
		f.mat[number] = history{state: names.state(h.state), roll: names.Kept(h.roll), open: names.cleanings(h.open), voided: names.voided(h.voided)}
	}
	return nil
}

// history reads a mat's steps once more, as far as they went when the graph was
// made: a ledger only grows.
func (g *Graph) history(m mat) (history, error) {
	thread, err := g.again(m.code)
	if err != nil {
		return history{}, err
	}
	if len(thread) < m.steps {
		return history{}, fmt.Errorf("mat %s had %d steps a moment ago and has %d now: the ledger's file was replaced meanwhile; trace again", m.code, m.steps, len(thread))
	}
	return read(thread[:m.steps]), nil
}

// kept is one copy of each name.
type kept struct{ medium.Names }

func (k kept) code(c medium.Code) medium.Code { return medium.Code(k.Kept(string(c))) }

func (k kept) growth(g Growth) Growth {
	g.Mat, g.Crop, g.Lot, g.SeedLot, g.Place, g.SownBy = k.code(g.Mat), k.Kept(g.Crop), k.Kept(g.Lot), k.Kept(g.SeedLot), k.Kept(g.Place), k.Kept(g.SownBy)
	g.Before = k.cleanings(g.Before)
	return g
}

func (k kept) voided(list []Voided) []Voided {
	for i := range list {
		v := &list[i]
		v.Mat, v.Crop, v.Lot, v.SeedLot, v.SownBy, v.VoidedBy, v.Reason = k.code(v.Mat), k.Kept(v.Crop), k.Kept(v.Lot), k.Kept(v.SeedLot),
			k.Kept(v.SownBy), k.Kept(v.VoidedBy), k.Kept(v.Reason)
	}
	return list
}

func (k kept) cleanings(list []Cleaning) []Cleaning {
	for i := range list {
		c := &list[i]
		c.By, c.Product, c.Active, c.Solution, c.MadeBy = k.Kept(c.By), k.Kept(c.Product), k.Kept(c.Active), k.code(c.Solution), k.Kept(c.MadeBy)
	}
	return list
}

func (k kept) state(s State) State {
	return State{Mat: k.code(s.Mat), Stage: medium.Stage(k.Kept(string(s.Stage))), HeldIn: medium.Stage(k.Kept(string(s.HeldIn))), Crop: k.Kept(s.Crop), Lot: k.Kept(s.Lot)}
}

// result puts together what is said about all that was found.
func (f *found) result(q Query) Result {
	r := Result{Query: q, Start: make([]Growth, len(f.start)), AtRisk: f.reaches(f.ahead, true), Sources: f.reaches(f.back, false), SeedAlso: []Growth{},
		Mats: []medium.Code{}, Hold: []medium.Code{}, States: []State{}, Seeds: []SeedLot{}, Voided: []Voided{}, VoidedHold: []medium.Code{}}
	lots, seeds, rolls, mats := newNames(), newNames(), newNames(), map[int32]bool{}
	solutions := map[string]*Solution{}
	for i, n := range f.start {
		growth := f.growth[n]
		r.Start[i] = growth
		lots.add(growth.Lot)
		seeds.add(growth.SeedLot)
		mats[f.growths[n].mat] = true
		rolls.add(f.mat[f.growths[n].mat].roll)
		for _, c := range growth.Before {
			addUse(solutions, growth.Mat, c)
		}
	}
	for _, v := range f.ahead {
		lots.add(f.growth[v.growth].Lot)
		mats[f.growths[v.growth].mat] = true
	}
	for _, m := range f.touched {
		mats[m] = true
		rolls.add(f.mat[m].roll)
		for _, c := range f.mat[m].open {
			addUse(solutions, f.mats[m].code, c)
		}
	}
	for _, seed := range f.seeds {
		r.Seeds = append(r.Seeds, f.seedLot(seed, mats))
		for _, n := range seed.others {
			r.SeedAlso = append(r.SeedAlso, f.growth[n])
		}
	}
	r.Lots, r.SeedLots, r.Rolls = lots.list, seeds.list, rolls.list
	for m := range mats {
		r.States = append(r.States, f.mat[m].state)
	}
	slices.SortFunc(r.States, func(a, b State) int { return strings.Compare(string(a.Mat), string(b.Mat)) })
	for _, s := range r.States {
		r.Mats = append(r.Mats, s.Mat)
		if s.open() {
			r.Hold = append(r.Hold, s.Mat)
		}
	}
	for _, v := range f.voided {
		r.Voided = append(r.Voided, f.mat[v.mat].voided[v.nth])
		if f.mats[v.mat].inUse {
			r.VoidedHold = append(r.VoidedHold, f.mats[v.mat].code)
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

func (f *found) reaches(visits []visit, forward bool) []Reach {
	out := make([]Reach, len(visits))
	for i, v := range visits {
		out[i] = Reach{Growth: f.growth[v.growth], Hops: v.hops, Why: f.why(v, forward)}
	}
	return out
}

func (f *found) why(v visit, forward bool) string {
	from := f.growth[v.from]
	if v.same {
		return fmt.Sprintf("the same lot as on mat %s", from.Mat)
	}
	if forward {
		return fmt.Sprintf("sown on mat %s after %s, no accepted sanitize step between", from.Mat, nameOf(from))
	}
	return fmt.Sprintf("on mat %s before %s, no accepted sanitize step between", from.Mat, nameOf(from))
}

func nameOf(growth Growth) string {
	if growth.Lot != "" {
		return "lot " + growth.Lot
	}
	return growth.Crop + " without a lot"
}

// seedLot tells of the other growths of a seed lot. To be held are their mats
// that are in use and not among those of the trace.
func (f *found) seedLot(seed seedGrowths, mats map[int32]bool) SeedLot {
	out := SeedLot{Name: f.growth[seed.start].SeedLot, Lots: []string{}, Hold: []medium.Code{}}
	lots := newNames()
	for _, n := range seed.others {
		lots.add(f.growth[n].Lot)
		if m := f.growths[n].mat; f.mats[m].inUse && !mats[m] {
			out.Hold = append(out.Hold, f.mats[m].code)
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
