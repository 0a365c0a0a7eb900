package trace

import (
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"
	"time"
	"unicode"

	"resow/medium"
)

// What a trace can start from.
const (
	FromLot      = "lot"
	FromSeedLot  = "seed lot"
	FromMat      = "mat"
	FromSolution = "solution"
	FromRoll     = "mesh roll"
)

// Query is what to trace. Of a mat, solution or roll the growths since Since
// are taken, all where it is zero.
type Query struct {
	From  string    `json:"from"`
	Name  string    `json:"name"`
	Since time.Time `json:"since,omitzero"`
}

// Reach is a growth that is reached from the start, with the way to it.
type Reach struct {
	Growth
	Hops int    `json:"hops"` // touches between it and the start
	Why  string `json:"why"`
}

// Result is what a trace found.
type Result struct {
	Query     Query         `json:"query"`
	Start     []Growth      `json:"start"`      // growths of what is traced
	AtRisk    []Reach       `json:"at_risk"`    // forward: other growths that the start may have reached
	Sources   []Reach       `json:"sources"`    // back: growths from which the start may have been reached
	Lots      []string      `json:"lots"`       // crop lots at risk, those of the start first
	SeedLots  []string      `json:"seed_lots"`  // used in the start
	SeedAlso  []Growth      `json:"same_seed"`  // other growths of those seed lots
	Solutions []Solution    `json:"solutions"`  // that were on the start's mats before it
	Rolls     []string      `json:"mesh_rolls"` // that the start's mats were cut from
	Mats      []medium.Code `json:"mats"`       // of the start and of what is at risk
	Hold      []medium.Code `json:"to_hold"`    // those that are neither retired nor on hold
	States    []State       `json:"mat_states"` // of Mats, in their order
	Seeds     []SeedLot     `json:"seed_lots_also"`
}

// SeedLot is a seed lot of the start that other growths share, with the mats of
// those that are neither retired nor on hold, nor among the mats of this trace.
type SeedLot struct {
	Name string        `json:"name"`
	Lots []string      `json:"lots"` // other crop lots of it
	Hold []medium.Code `json:"to_hold"`
}

// Solution is a solution that was used, and where.
type Solution struct {
	Code    medium.Code   `json:"code,omitempty"` // empty: the step names only the product
	Product string        `json:"product"`
	MadeBy  string        `json:"made_by,omitempty"`
	MadeAt  time.Time     `json:"made_at,omitzero"`
	Mats    []medium.Code `json:"mats"`
	Missed  int           `json:"not_accepted"` // steps with it that were not accepted
}

// Find traces. A name that no step knows is a medium.UnknownError.
func (g *Graph) Find(q Query) (Result, error) {
	start, known := g.start(q)
	if !known {
		return Result{}, &medium.UnknownError{What: q.From, Name: q.Name, Do: "look for it with `resow list` or `resow history`; a lot is the name that was given at the sowing"}
	}
	r := Result{Query: q, Start: []Growth{}, AtRisk: []Reach{}, Sources: []Reach{}, Lots: []string{}, SeedLots: []string{}, SeedAlso: []Growth{},
		Solutions: []Solution{}, Rolls: []string{}, Mats: []medium.Code{}, Hold: []medium.Code{}, States: []State{}, Seeds: []SeedLot{}}
	in := map[int]bool{}
	for _, n := range start {
		in[n] = true
		r.Start = append(r.Start, g.growths[n])
	}
	suspect := ""
	if q.From == FromSolution {
		suspect = q.Name // a doubtful solution clears no mat
	}
	r.AtRisk = g.spread(start, suspect, true)
	r.Sources = g.spread(start, suspect, false)
	g.describe(&r, in)
	return r, nil
}

// Near gives the crop and seed lots whose names are like a name that is not on
// file: the same letters and digits, or one that the name begins, at most five.
func (g *Graph) Near(name string) []string {
	want := bones(name)
	if want == "" {
		return nil
	}
	same, longer := newNames(), newNames()
	for _, growth := range g.growths {
		for _, lot := range []string{growth.Lot, growth.SeedLot} {
			switch b := bones(lot); {
			case b == want:
				same.add(lot)
			case strings.HasPrefix(b, want):
				longer.add(lot)
			}
		}
	}
	slices.Sort(longer.list)
	out := append(same.list, longer.list...)
	return out[:min(len(out), 5)]
}

// bones leaves only the letters and digits of a name, in small letters.
func bones(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, name)
}

// start gives the growths of what is traced.
func (g *Graph) start(q Query) (start []int, known bool) {
	if strings.TrimSpace(q.Name) == "" {
		return nil, false // no name is not the name of every step without a solution
	}
	switch q.From {
	case FromLot:
		start = g.byLot[fold(q.Name)]
		return start, len(start) > 0
	case FromSeedLot:
		start = g.bySeed[fold(q.Name)]
		return start, len(start) > 0
	}
	for _, code := range g.codes {
		p := g.mats[code]
		switch q.From {
		case FromMat:
			if string(code) != q.Name {
				continue
			}
		case FromRoll:
			if fold(p.roll) != fold(q.Name) || fold(q.Name) == "" {
				continue
			}
		case FromSolution:
			used, after := g.usedOn(p, q.Name)
			known = known || used
			start = append(start, g.since(after, q.Since)...)
			continue
		default:
			continue
		}
		known = true
		start = append(start, g.since(p.growths, q.Since)...)
	}
	return start, known
}

func (g *Graph) since(growths []int, since time.Time) (out []int) {
	for _, n := range growths {
		if !g.growths[n].SownAt.Before(since) {
			out = append(out, n)
		}
	}
	return out
}

// usedOn gives the growths that were sown on a mat after a solution was used on
// it, until another solution was accepted.
func (g *Graph) usedOn(p *piece, solution string) (used bool, after []int) {
	reaches := false
	scan := func(cleanings []Cleaning) {
		for _, c := range cleanings {
			switch {
			case string(c.Solution) == solution:
				used, reaches = true, true
			case c.Accepted:
				reaches = false
			}
		}
	}
	for _, n := range p.growths {
		scan(g.growths[n].Before)
		if reaches {
			after = append(after, n)
		}
	}
	scan(p.open)
	return used, after
}

// clears says whether an accepted sanitize step lies before a growth, not
// counting those with the suspected solution.
func clears(growth Growth, suspect string) bool {
	if suspect == "" {
		return growth.Cleared
	}
	return slices.ContainsFunc(growth.Before, func(c Cleaning) bool { return c.Accepted && string(c.Solution) != suspect })
}

// visit is a growth on the way, with how it was reached.
type visit struct {
	growth int
	hops   int
	from   int
	same   bool // of the same lot, not on the same mat
}

// spread walks over touches, nearest first, forward in time or back. Each
// growth and each lot is taken once, so the time is linear in the growths.
func (g *Graph) spread(start []int, suspect string, forward bool) []Reach {
	out := []Reach{}
	seen := map[int]bool{}
	lots := map[string]bool{}
	queue := make([]visit, 0, len(start))
	add := func(v visit) {
		if !seen[v.growth] {
			seen[v.growth] = true
			queue = append(queue, v)
		}
	}
	for _, n := range start {
		add(visit{growth: n, from: -1})
	}
	for i := 0; i < len(queue); i++ {
		v := queue[i]
		growth := g.growths[v.growth]
		if v.from >= 0 {
			out = append(out, Reach{Growth: growth, Hops: v.hops, Why: g.why(v, forward)})
		}
		if key := fold(growth.Lot); key != "" && !lots[key] {
			lots[key] = true
			for _, n := range g.byLot[key] {
				add(visit{growth: n, hops: v.hops + 1, from: v.growth, same: true})
			}
		}
		if n, ok := g.beside(v.growth, forward); ok {
			later := n
			if !forward {
				later = v.growth
			}
			if !clears(g.growths[later], suspect) {
				add(visit{growth: n, hops: v.hops + 1, from: v.growth})
			}
		}
	}
	return out
}

// beside is the next growth on the same mat, or the one before.
func (g *Graph) beside(n int, forward bool) (int, bool) {
	on := g.mats[g.growths[n].Mat].growths
	at := g.place[n] + 1
	if !forward {
		at -= 2
	}
	if at < 0 || at >= len(on) {
		return 0, false
	}
	return on[at], true
}

func (g *Graph) why(v visit, forward bool) string {
	from := g.growths[v.from]
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

// describe fills in what stands around the growths.
func (g *Graph) describe(r *Result, in map[int]bool) {
	lots, seeds, rolls, mats := newNames(), newNames(), newNames(), map[medium.Code]bool{}
	solutions := map[string]*Solution{}
	for _, growth := range r.Start {
		lots.add(growth.Lot)
		seeds.add(growth.SeedLot)
		rolls.add(g.mats[growth.Mat].roll)
		mats[growth.Mat] = true
		for _, c := range growth.Before {
			use(solutions, growth.Mat, c)
		}
	}
	for _, reach := range r.AtRisk {
		lots.add(reach.Lot)
		mats[reach.Mat] = true
	}
	if r.Query.From == FromSolution || r.Query.From == FromMat || r.Query.From == FromRoll {
		for _, code := range g.codes { // also those that nothing grew on since
			p := g.mats[code]
			used, _ := g.usedOn(p, r.Query.Name)
			if r.Query.From == FromSolution && used || r.Query.From == FromMat && string(code) == r.Query.Name || r.Query.From == FromRoll && fold(p.roll) == fold(r.Query.Name) {
				mats[code] = true
				rolls.add(p.roll)
				for _, c := range p.open {
					use(solutions, code, c)
				}
			}
		}
	}
	for _, seed := range seeds.list {
		also := g.also(seed, in, mats)
		r.SeedAlso = append(r.SeedAlso, also.growths...)
		if len(also.growths) > 0 {
			r.Seeds = append(r.Seeds, also.SeedLot)
		}
	}
	r.Lots, r.SeedLots, r.Rolls = lots.list, seeds.list, rolls.list
	r.Mats = slices.AppendSeq(r.Mats, maps.Keys(mats))
	slices.Sort(r.Mats)
	for _, code := range r.Mats {
		state := g.mats[code].state
		r.States = append(r.States, state)
		if state.open() {
			r.Hold = append(r.Hold, code)
		}
	}
	for _, s := range solutions {
		slices.Sort(s.Mats)
		s.Mats = slices.Compact(s.Mats)
		r.Solutions = append(r.Solutions, *s)
	}
	sort.Slice(r.Solutions, func(i, j int) bool {
		a, b := r.Solutions[i], r.Solutions[j]
		return strings.Compare(a.Product+"\x00"+string(a.Code), b.Product+"\x00"+string(b.Code)) < 0
	})
}

// seedAlso is what else grew from a seed lot.
type seedAlso struct {
	SeedLot
	growths []Growth
}

// also gives the growths of a seed lot that are not in the start, and their mats
// that are open and not among those of the trace.
func (g *Graph) also(seed string, in map[int]bool, mats map[medium.Code]bool) seedAlso {
	out := seedAlso{SeedLot: SeedLot{Name: seed, Lots: []string{}, Hold: []medium.Code{}}}
	lots := newNames()
	for _, n := range g.bySeed[fold(seed)] {
		if in[n] {
			continue
		}
		growth := g.growths[n]
		out.growths = append(out.growths, growth)
		lots.add(growth.Lot)
		if g.mats[growth.Mat].state.open() && !mats[growth.Mat] {
			out.Hold = append(out.Hold, growth.Mat)
		}
	}
	slices.Sort(out.Hold)
	slices.Sort(lots.list)
	out.Hold, out.Lots = slices.Compact(out.Hold), lots.list
	return out
}

func use(solutions map[string]*Solution, mat medium.Code, c Cleaning) {
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

// names is a list of names, each once in one of its spellings.
type names struct {
	list []string
	seen map[string]bool
}

func newNames() *names { return &names{list: []string{}, seen: map[string]bool{}} }

func (n *names) add(name string) {
	if key := fold(name); key != "" && !n.seen[key] {
		n.seen[key] = true
		n.list = append(n.list, name)
	}
}
