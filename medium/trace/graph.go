// Package trace follows a crop lot, a seed lot, a mat, a solution or a mesh roll
// forward and back through the mats that it touched. It is pure: it works on the
// steps that it is given.
//
// The unit is a [Growth]: one lot of a crop on one mat, from its sowing to its
// harvest. Two growths touch when they follow each other on one mat and no
// accepted sanitize step lies between them, or when they are of one crop lot: a
// lot is sold as one, so what is at risk in a part of it is at risk in all. What
// can be reached over such touches forward in time is at risk, what leads to the
// start over them is a possible source. Graph.Find does that; trace_test.go holds
// it against the definition on random ledgers.
package trace

import (
	"iter"
	"strings"
	"time"

	"resow/medium"
)

// Growth is one crop on one mat, from sowing to harvest.
type Growth struct {
	Mat     medium.Code `json:"mat"`
	Turn    int         `json:"turn"`
	Crop    string      `json:"crop"`
	Lot     string      `json:"lot,omitempty"`
	SeedLot string      `json:"seed_lot,omitempty"`
	Place   string      `json:"place,omitempty"`
	SownAt  time.Time   `json:"sown_at"`
	SownBy  string      `json:"sown_by"`
	Ended   time.Time   `json:"harvested_at,omitzero"`   // last harvest; zero: still growing, or discarded
	Before  []Cleaning  `json:"cleaned_before"`          // sanitize steps since the growth before it on the mat
	Cleared bool        `json:"sanitized_before_sowing"` // one of them was accepted
	Mold    bool        `json:"mold,omitempty"`          // mold was seen from its sowing until the next one
}

// Cleaning is one sanitize step.
type Cleaning struct {
	At       time.Time   `json:"at"`
	By       string      `json:"by"`
	Product  string      `json:"product"`
	Active   string      `json:"active"`
	PPM      float64     `json:"strength_ppm"`
	ContactS int         `json:"contact_s"`
	Accepted bool        `json:"accepted"`
	Solution medium.Code `json:"solution,omitempty"`
	MadeBy   string      `json:"made_by,omitempty"` // who mixed the solution
	MadeAt   time.Time   `json:"made_at,omitzero"`
}

// Voided is a sowing that was taken back. Whether the crop lay on the mat for a
// while is not known, so a recall names it.
type Voided struct {
	Mat      medium.Code `json:"mat"`
	Crop     string      `json:"crop"`
	Lot      string      `json:"lot,omitempty"`
	SeedLot  string      `json:"seed_lot,omitempty"`
	SownAt   time.Time   `json:"sown_at"`
	SownBy   string      `json:"sown_by"`
	VoidedAt time.Time   `json:"voided_at"`
	VoidedBy string      `json:"voided_by"`
	Reason   string      `json:"reason"`
}

// State is where a mat stands now.
type State struct {
	Mat    medium.Code  `json:"mat"`
	Stage  medium.Stage `json:"stage"`
	HeldIn medium.Stage `json:"held_in,omitempty"` // stage before the hold
	Crop   string       `json:"crop,omitempty"`    // of the turn under way, or of the last one
	Lot    string       `json:"lot,omitempty"`
}

// open says that the mat is neither retired nor on hold.
func (s State) open() bool { return s.Stage != medium.Retired && s.Stage != medium.OnHold }

// history is what a mat's steps come to.
type history struct {
	state   State
	roll    string
	growths []Growth   // in order
	open    []Cleaning // sanitize steps since the last of them
	voided  []Voided
}

// Graph is the ledger as growths, with as much of them as a search looks at: of
// the names only numbers, so that a farm of a hundred thousand mats takes a few
// dozen megabytes. The rest of what is found is read anew. A Graph is not changed
// by being asked.
type Graph struct {
	Progress func(done, total int) // told while Find reads the mats that it found; may be nil

	again     func(medium.Code) ([]medium.Step, error)
	mats      []mat
	growths   []growth // mat by mat, in order
	voided    []voided // mat by mat, in order
	uses      []use    // of the growths and then the open ones, mat by mat, in order
	lots      lots
	seeds     lots
	rolls     numbers
	solutions numbers
}

type mat struct {
	code  medium.Code
	steps int   // that were read
	roll  int32 // its number
	first int32 // growth of this mat
	end   int32 // growth of the next mat
	open  span  // uses since the last growth
	inUse bool
}

type growth struct {
	sown    int64 // Unix time: the times of steps are whole seconds
	mat     int32
	lot     int32 // their numbers
	seed    int32
	before  span // uses since the growth before
	cleared bool
}

// voided is a sowing that was taken back: the nth of its mat.
type voided struct{ mat, nth, lot, seed int32 }

// use is a sanitize step: the number of its solution, and whether it counts.
type use struct {
	solution int32
	accepted bool
}

type span struct{ from, end int32 }

// numbers gives each name a number from 1; no name has 0.
type numbers map[string]int32

func (n numbers) of(name string) int32 {
	number, known := n[name]
	if !known && name != "" {
		number = int32(len(n) + 1)
		n[strings.Clone(name)] = number // it is part of a whole record's texts
	}
	return number
}

// lots are lots with their growths. Names that differ only in case and spaces
// are one.
type lots struct {
	numbers numbers  // of the names in one spelling
	names   []string // as first written; by number, from 1
	growths [][]int32
}

func (l *lots) add(name string, growth int32) int32 {
	number := l.number(name)
	if number != 0 {
		l.growths[number-1] = append(l.growths[number-1], growth)
	}
	return number
}

func (l *lots) number(name string) int32 {
	number := l.numbers.of(fold(name))
	if int(number) > len(l.names) {
		l.names = append(l.names, strings.Clone(name))
		l.growths = append(l.growths, nil)
	}
	return number
}

// named gives the growths of a lot, in order.
func (l *lots) named(name string) []int32 { return l.of(l.numbers[fold(name)]) }

func (l *lots) of(number int32) []int32 {
	if number == 0 {
		return nil
	}
	return l.growths[number-1]
}

// New makes the graph of a ledger. threads gives every mat's steps, one mat
// after the other in the order of their codes, each in its order; the farm's own
// thread is passed over. again gives those of one mat once more, for Find; what
// was added to them meanwhile is left out. Voided steps count as never taken; only
// a voided sowing is named.
func New(threads iter.Seq[[]medium.Step], again func(medium.Code) ([]medium.Step, error)) *Graph {
	g := &Graph{again: again, lots: lots{numbers: numbers{}}, seeds: lots{numbers: numbers{}}, rolls: numbers{}, solutions: numbers{}}
	for thread := range threads {
		if len(thread) > 0 && thread[0].Mat != medium.FarmThread {
			g.add(read(thread), len(thread))
		}
	}
	return g
}

func (g *Graph) add(h history, steps int) {
	m := mat{code: medium.Code(strings.Clone(string(h.state.Mat))), steps: steps, roll: g.rolls.of(fold(h.roll)), first: int32(len(g.growths)), inUse: h.state.open()}
	for _, x := range h.growths {
		n := int32(len(g.growths))
		g.growths = append(g.growths, growth{sown: x.SownAt.Unix(), mat: int32(len(g.mats)), lot: g.lots.add(x.Lot, n), seed: g.seeds.add(x.SeedLot, n),
			before: g.used(x.Before), cleared: x.Cleared})
	}
	for i, v := range h.voided {
		g.voided = append(g.voided, voided{int32(len(g.mats)), int32(i), g.lots.number(v.Lot), g.seeds.number(v.SeedLot)})
	}
	m.end = int32(len(g.growths))
	m.open = g.used(h.open)
	g.mats = append(g.mats, m)
}

func (g *Graph) used(cleanings []Cleaning) span {
	from := len(g.uses)
	for _, c := range cleanings {
		g.uses = append(g.uses, use{g.solutions.of(string(c.Solution)), c.Accepted})
	}
	return span{int32(from), int32(len(g.uses))}
}

func (g *Graph) usesIn(s span) []use { return g.uses[s.from:s.end] }

func read(thread []medium.Step) history {
	voided := medium.Voided(thread)
	var h history
	var c medium.Condition
	for _, s := range thread {
		if b, ok := s.Body.(*medium.Sow); ok && voided[s.MatSeq] {
			h.voided = append(h.voided, takenBack(thread, s, b))
		}
		if voided[s.MatSeq] || s.Kind == medium.KindCorrect {
			continue
		}
		credited := c.Credits(s)
		c = c.Apply(s)
		h.take(s, c, credited)
	}
	h.roll = c.Mat.Roll
	h.state = State{Mat: thread[0].Mat, Stage: c.Stage, HeldIn: c.HeldIn, Crop: medium.CropName(c.Crops), Lot: c.Lot}
	return h
}

func takenBack(thread []medium.Step, s medium.Step, b *medium.Sow) Voided {
	v := Voided{Mat: s.Mat, Crop: medium.CropName(b.Crops), Lot: b.Lot, SeedLot: b.SeedLot, SownAt: s.At, SownBy: s.By}
	for _, later := range thread {
		if c, ok := later.Body.(*medium.Correct); ok && c.MatSeq == s.MatSeq {
			v.VoidedAt, v.VoidedBy, v.Reason = later.At, later.By, c.Reason
		}
	}
	return v
}

func (h *history) take(s medium.Step, c medium.Condition, credited bool) {
	last := func() *Growth {
		if len(h.growths) == 0 {
			return nil
		}
		return &h.growths[len(h.growths)-1]
	}
	switch b := s.Body.(type) {
	case *medium.Sow:
		growth := Growth{Mat: s.Mat, Turn: c.Turn, Crop: medium.CropName(b.Crops), Lot: b.Lot, SeedLot: b.SeedLot, Place: b.Place,
			SownAt: s.At, SownBy: s.By, Before: h.open}
		for _, clean := range h.open {
			growth.Cleared = growth.Cleared || clean.Accepted
		}
		h.open = nil
		h.growths = append(h.growths, growth)
	case *medium.Harvest:
		if l := last(); l != nil {
			l.Ended = s.At
		}
	case *medium.Mold:
		h.moldy(s)
	case *medium.Inspect:
		if b.Mold {
			h.moldy(s)
		}
	case *medium.Sanitize:
		clean := Cleaning{At: s.At, By: s.By, Product: b.Product, Active: b.Active, PPM: b.StrengthPPM, ContactS: b.ContactS, Solution: b.Solution,
			Accepted: credited}
		if b.Mixed != nil {
			clean.MadeBy, clean.MadeAt = b.Mixed.MadeBy, b.Mixed.MadeAt
		}
		h.open = append(h.open, clean)
	}
}

// moldy marks the growth on which mold was seen: told later, it is not the last.
func (h *history) moldy(s medium.Step) {
	for i := len(h.growths) - 1; i >= 0; i-- {
		if g := &h.growths[i]; s.Seen.IsZero() || g.Turn == s.SeenTurn {
			g.Mold = true
			return
		}
	}
}

// fold brings a lot's name to one spelling, as the store's lists of lots do: a
// recall must rather list a mat too many.
func fold(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
