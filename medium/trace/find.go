package trace

import (
	"iter"
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
	f := found{Graph: g, q: q}
	known, err := f.begin()
	if err == nil && !known {
		err = &medium.UnknownError{What: q.From, Name: q.Name}
	}
	if err == nil {
		f.ahead, err = f.spread(true)
	}
	if err == nil {
		f.back, err = f.spread(false)
	}
	if err == nil {
		f.seeds, err = f.sameSeeds()
	}
	if err != nil {
		return Result{}, err
	}
	return f.result(), nil
}

// Near gives the crop and seed lots whose names are like a name that is not on
// file: the same letters and digits, or one that the name begins. threads gives every
// mat's steps, one mat after the other in the order of their codes.
func Near(threads iter.Seq[[]medium.Step], name string) []string {
	want := bones(name)
	if want == "" {
		return nil
	}
	same, longer := newNames(), newNames()
	for _, lot := range sownLots(threads) {
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

// sownLots gives the names of all crop and seed lots in the order of the growths, and
// then those of voided sowings.
func sownLots(threads iter.Seq[[]medium.Step]) []string {
	var sown, voided []string
	for thread := range threads {
		void := medium.Voided(thread)
		for _, s := range thread {
			b, ok := s.Body.(*medium.Sow)
			switch {
			case ok && void[s.MatSeq]:
				voided = append(append(voided, b.Lot), b.SeedLots()...)
			case ok:
				sown = append(append(sown, b.Lot), b.SeedLots()...)
			}
		}
	}
	return append(sown, voided...)
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

// begin finds what is traced, and says whether any step knows it.
func (f *found) begin() (known bool, err error) {
	if strings.TrimSpace(f.q.Name) == "" {
		return false, nil // no name is not the name of every step without a solution
	}
	mats, err := f.Graph.touched(f.q.From, f.q.Name)
	if err != nil {
		return false, err
	}
	want := medium.FoldLot(f.q.Name)
	for _, m := range mats {
		if f.isTouched(m) {
			f.touched = append(f.touched, m)
		}
		known = known || slices.ContainsFunc(m.voided, func(v Voided) bool {
			return bears(f.q.From, want, v.Lot, v.Seeds)
		})
	}
	if f.start, err = f.growths(f.q.From, f.q.Name); err != nil {
		return false, err
	}
	for _, m := range f.touched {
		for _, x := range m.growths {
			if x.SownAt.Unix() >= f.q.Since.Unix() && (f.suspect() == "" || x.inDoubt(f.suspect())) {
				f.start = append(f.start, x)
			}
		}
	}
	return known || len(f.start)+len(f.touched) > 0, nil
}

// suspect is the solution that is traced: a doubtful one clears no mat.
func (f *found) suspect() medium.Code {
	if f.q.From == FromSolution {
		return medium.Code(f.q.Name)
	}
	return ""
}

// isTouched says whether a mat is the one that is traced, or of the roll, or one on
// which the solution was used, also where nothing grew on it since.
func (f *found) isTouched(m *history) bool {
	switch f.q.From {
	case FromMat:
		return string(m.state.Mat) == f.q.Name
	case FromRoll:
		return medium.FoldLot(m.roll) == medium.FoldLot(f.q.Name)
	case FromSolution:
		used := m.open
		for _, x := range m.growths {
			used = slices.Concat(used, x.Before)
		}
		return slices.ContainsFunc(used, func(c Cleaning) bool { return c.Solution == f.suspect() })
	}
	return false
}

// inDoubt says whether a growth was sown after a solution was used on its mat,
// and before another solution was accepted.
func (x *growth) inDoubt(solution medium.Code) bool {
	for _, before := range slices.Backward(x.on.growths[:x.nth+1]) {
		for _, c := range slices.Backward(before.Before) {
			switch {
			case c.Solution == solution:
				return true
			case c.Accepted:
				return false
			}
		}
	}
	return false
}

// clears says whether an accepted sanitize step lies before a growth, not
// counting those with the suspected solution.
func (x *growth) clears(suspect medium.Code) bool {
	return slices.ContainsFunc(x.Before, func(c Cleaning) bool {
		return c.Accepted && (suspect == "" || c.Solution != suspect)
	})
}

// visit is a growth on the way, with how it was reached.
type visit struct {
	*growth
	from *growth
	hops int
	same bool // of the same lot, not on the same mat
}

// spread walks over touches, nearest first, forward in time or back. Each
// growth and each lot is taken once, so the time is linear in the growths.
func (f *found) spread(forward bool) ([]visit, error) {
	seen := map[*growth]bool{}
	lots := map[string]bool{}
	queue := make([]visit, 0, len(f.start))
	add := func(v visit) {
		if !seen[v.growth] {
			seen[v.growth] = true
			queue = append(queue, v)
		}
	}
	for _, x := range f.start {
		add(visit{growth: x})
	}
	for i := 0; i < len(queue); i++ {
		v := queue[i]
		if lot := medium.FoldLot(v.Lot); !lots[lot] {
			lots[lot] = true
			same, err := f.growths(FromLot, v.Lot)
			if err != nil {
				return nil, err
			}
			for _, x := range same {
				add(visit{growth: x, hops: v.hops + 1, from: v.growth, same: true})
			}
		}
		if x, later := v.beside(forward); x != nil && !later.clears(f.suspect()) {
			add(visit{growth: x, hops: v.hops + 1, from: v.growth})
		}
	}
	return queue[len(f.start):], nil
}

// beside is the next growth on the same mat, or the one before, and the later of the
// two; nil where there is none.
func (x *growth) beside(forward bool) (other, later *growth) {
	switch all := x.on.growths; {
	case forward && x.nth+1 < len(all):
		return all[x.nth+1], all[x.nth+1]
	case !forward && x.nth > 0:
		return all[x.nth-1], x
	}
	return nil, nil
}

// sameSeeds gives the other growths of the start's seed lots, lot by lot.
func (f *found) sameSeeds() (out []seedGrowths, err error) {
	in, seen := map[*growth]bool{}, map[string]bool{}
	for _, x := range f.start {
		in[x] = true
	}
	for _, x := range f.start {
		for _, lot := range x.Seeds {
			seed := medium.FoldLot(lot)
			if seen[seed] {
				continue
			}
			seen[seed] = true
			all, err := f.growths(FromSeedLot, lot)
			if err != nil {
				return nil, err
			}
			others := slices.DeleteFunc(slices.Clone(all), func(x *growth) bool { return in[x] })
			if len(others) > 0 {
				out = append(out, seedGrowths{lot, others})
			}
		}
	}
	return out, nil
}

// names is a list of names, each once in one of its spellings.
type names struct {
	list []string
	seen map[string]bool
}

func newNames() *names { return &names{list: []string{}, seen: map[string]bool{}} }

func (n *names) add(name string) {
	if key := medium.FoldLot(name); key != "" && !n.seen[key] {
		n.seen[key] = true
		n.list = append(n.list, name)
	}
}
