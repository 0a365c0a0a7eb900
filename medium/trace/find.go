package trace

import (
	"cmp"
	"slices"
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
	// Voided are the sowings of these lots that were taken back, on mats that are not
	// among Mats; VoidedHold are those mats that are neither retired nor on hold.
	Voided     []Voided      `json:"voided_sowings"`
	VoidedHold []medium.Code `json:"voided_to_hold"`
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

// Find traces. A name that no step knows is a medium.UnknownError. It passes on
// an error of reading the mats that were found.
func (g *Graph) Find(q Query) (Result, error) {
	start, known := g.start(q)
	if !known {
		return Result{}, &medium.UnknownError{What: q.From, Name: q.Name}
	}
	suspect := int32(0)
	if q.From == FromSolution {
		suspect = g.solutions[q.Name] // a doubtful solution clears no mat
	}
	f := found{Graph: g, start: start, ahead: g.spread(start, suspect, true), back: g.spread(start, suspect, false), touched: g.touched(q), seeds: g.sameSeeds(start)}
	f.voided = f.takenBack(q)
	if err := f.read(); err != nil {
		return Result{}, err
	}
	return f.result(q), nil
}

// Near gives the crop and seed lots whose names are like a name that is not on
// file: the same letters and digits, or one that the name begins.
func (g *Graph) Near(name string) []string {
	want := bones(name)
	if want == "" {
		return nil
	}
	same, longer := newNames(), newNames()
	for _, lot := range g.written() {
		switch b := bones(lot); {
		case b == want:
			same.add(lot)
		case strings.HasPrefix(b, want):
			longer.add(lot)
		}
	}
	slices.Sort(longer.list)
	return append(same.list, longer.list...)
}

// written gives the names of all crop and seed lots in the order of the growths.
func (g *Graph) written() []string {
	type name struct {
		text  string
		first int32 // growth
	}
	var all []name
	for _, l := range []lots{g.lots, g.seeds} {
		for i, text := range l.names {
			first := int32(len(g.growths)) // of a lot whose sowings were all voided
			if len(l.growths[i]) > 0 {
				first = l.growths[i][0]
			}
			all = append(all, name{text, first})
		}
	}
	slices.SortStableFunc(all, func(a, b name) int { return cmp.Compare(a.first, b.first) })
	out := make([]string, len(all))
	for i, n := range all {
		out[i] = n.text
	}
	return out
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
func (g *Graph) start(q Query) (start []int32, known bool) {
	if strings.TrimSpace(q.Name) == "" {
		return nil, false // no name is not the name of every step without a solution
	}
	switch q.From {
	case FromLot:
		start = g.lots.named(q.Name)
		return start, g.lots.numbers[fold(q.Name)] != 0
	case FromSeedLot:
		start = g.seeds.named(q.Name)
		return start, g.seeds.numbers[fold(q.Name)] != 0
	}
	touched := g.touched(q)
	for _, m := range touched {
		for n := g.mats[m].first; n < g.mats[m].end; n++ {
			if g.growths[n].sown >= q.Since.Unix() && (q.From != FromSolution || g.inDoubt(n, g.solutions[q.Name])) {
				start = append(start, n)
			}
		}
	}
	return start, len(touched) > 0
}

// touched gives the mats of a mat's code or a roll, and those on which a solution
// was used, also where nothing grew on them since.
func (g *Graph) touched(q Query) (mats []int32) {
	solution, roll := g.solutions[q.Name], g.rolls[fold(q.Name)]
	for i, m := range g.mats {
		is := false
		switch q.From {
		case FromMat:
			is = string(m.code) == q.Name
		case FromRoll:
			is = roll != 0 && m.roll == roll
		case FromSolution:
			is = solution != 0 && g.usedOn(m, solution)
		}
		if is {
			mats = append(mats, int32(i))
		}
	}
	return mats
}

func (g *Graph) usedOn(m mat, solution int32) bool {
	from := m.open.from
	if m.first < m.end {
		from = g.growths[m.first].before.from
	}
	return slices.ContainsFunc(g.usesIn(span{from, m.open.end}), func(u use) bool { return u.solution == solution })
}

// inDoubt says whether a growth was sown after a solution was used on its mat,
// and before another solution was accepted.
func (g *Graph) inDoubt(n, solution int32) bool {
	for first := g.mats[g.growths[n].mat].first; n >= first; n-- {
		for _, u := range slices.Backward(g.usesIn(g.growths[n].before)) {
			switch {
			case u.solution == solution:
				return true
			case u.accepted:
				return false
			}
		}
	}
	return false
}

// clears says whether an accepted sanitize step lies before a growth, not
// counting those with the suspected solution.
func (g *Graph) clears(n, suspect int32) bool {
	if suspect == 0 {
		return g.growths[n].cleared
	}
	return slices.ContainsFunc(g.usesIn(g.growths[n].before), func(u use) bool { return u.accepted && u.solution != suspect })
}

// visit is a growth on the way, with how it was reached.
type visit struct {
	growth int32
	from   int32
	hops   int
	same   bool // of the same lot, not on the same mat
}

// spread walks over touches, nearest first, forward in time or back. Each
// growth and each lot is taken once, so the time is linear in the growths.
func (g *Graph) spread(start []int32, suspect int32, forward bool) []visit {
	seen := map[int32]bool{}
	lots := map[int32]bool{}
	queue := make([]visit, 0, len(start))
	add := func(v visit) {
		if !seen[v.growth] {
			seen[v.growth] = true
			queue = append(queue, v)
		}
	}
	for _, n := range start {
		add(visit{growth: n})
	}
	for i := 0; i < len(queue); i++ {
		v := queue[i]
		if lot := g.growths[v.growth].lot; !lots[lot] {
			lots[lot] = true
			for _, n := range g.lots.of(lot) {
				add(visit{growth: n, hops: v.hops + 1, from: v.growth, same: true})
			}
		}
		if n, ok := g.beside(v.growth, forward); ok && !g.clears(max(n, v.growth), suspect) {
			add(visit{growth: n, hops: v.hops + 1, from: v.growth})
		}
	}
	return queue[len(start):]
}

// beside is the next growth on the same mat, or the one before.
func (g *Graph) beside(n int32, forward bool) (int32, bool) {
	m := g.mats[g.growths[n].mat]
	if n++; !forward {
		n -= 2
	}
	return n, n >= m.first && n < m.end
}

// sameSeeds gives the other growths of the start's seed lots, lot by lot.
func (g *Graph) sameSeeds(start []int32) (out []seedGrowths) {
	in, seen := map[int32]bool{}, map[int32]bool{}
	for _, n := range start {
		in[n] = true
	}
	for _, n := range start {
		seed := g.growths[n].seed
		if seen[seed] {
			continue
		}
		seen[seed] = true
		others := slices.DeleteFunc(slices.Clone(g.seeds.of(seed)), func(n int32) bool { return in[n] })
		if len(others) > 0 {
			out = append(out, seedGrowths{n, others})
		}
	}
	return out
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
