// Package trace follows a crop lot, a seed lot, a mat, a solution or a mesh roll
// forward and back through the mats that it touched. It is pure: it works on the
// steps that it is given.
//
// The unit is a [Growth]: one lot of a crop on one mat, from its sowing to its
// harvest. Two growths touch when they follow each other on one mat and no
// accepted sanitize step lies between them, or when they are of one crop lot: a
// lot is sold as one, so what is at risk in a part of it is at risk in all. What
// can be reached over such touches forward in time is at risk, what leads to the
// start over them is a possible source. Graph.Find does that; brute_test.go holds
// it against the definition on random ledgers.
package trace

import (
	"iter"
	"sort"
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

// piece is one mat of the graph.
type piece struct {
	code    medium.Code
	roll    string
	state   State
	growths []int      // in order
	open    []Cleaning // sanitize steps since its last growth
}

// Graph is the ledger as growths. It is not changed by being asked.
type Graph struct {
	growths []Growth
	mats    map[medium.Code]*piece
	codes   []medium.Code // in order
	place   []int         // of a growth in its mat's growths
	byLot   map[string][]int
	bySeed  map[string][]int
}

// New makes the graph of a ledger. threads gives every mat's steps, one mat
// after the other, each in its order; the farm's own thread is passed over.
// Voided steps count as never taken.
func New(threads iter.Seq[[]medium.Step]) *Graph {
	g := &Graph{mats: map[medium.Code]*piece{}, byLot: map[string][]int{}, bySeed: map[string][]int{}}
	for thread := range threads {
		if len(thread) > 0 && thread[0].Mat != medium.FarmThread {
			g.add(thread)
		}
	}
	sort.Slice(g.codes, func(i, j int) bool { return g.codes[i] < g.codes[j] })
	return g
}

func (g *Graph) add(thread []medium.Step) {
	voided := medium.Voided(thread)
	p := &piece{code: thread[0].Mat}
	var c medium.Condition
	for _, s := range thread {
		if voided[s.MatSeq] || s.Kind == medium.KindCorrect {
			continue
		}
		credited := c.Credits(s)
		c = c.Apply(s)
		g.take(p, s, c, credited)
	}
	p.roll = c.Mat.Roll
	p.state = State{Mat: p.code, Stage: c.Stage, HeldIn: c.HeldIn, Crop: medium.CropName(c.Crops), Lot: c.Lot}
	g.mats[p.code] = p
	g.codes = append(g.codes, p.code)
}

func (g *Graph) take(p *piece, s medium.Step, c medium.Condition, credited bool) {
	last := func() *Growth {
		if len(p.growths) == 0 {
			return nil
		}
		return &g.growths[p.growths[len(p.growths)-1]]
	}
	switch b := s.Body.(type) {
	case *medium.Sow:
		growth := Growth{Mat: p.code, Turn: c.Turn, Crop: medium.CropName(b.Crops), Lot: b.Lot, SeedLot: b.SeedLot, Place: b.Place,
			SownAt: s.At, SownBy: s.By, Before: p.open}
		for _, clean := range p.open {
			growth.Cleared = growth.Cleared || clean.Accepted
		}
		p.open = nil
		n := len(g.growths)
		g.growths = append(g.growths, growth)
		g.place = append(g.place, len(p.growths))
		p.growths = append(p.growths, n)
		if key := fold(b.Lot); key != "" {
			g.byLot[key] = append(g.byLot[key], n)
		}
		if key := fold(b.SeedLot); key != "" {
			g.bySeed[key] = append(g.bySeed[key], n)
		}
	case *medium.Harvest:
		if l := last(); l != nil {
			l.Ended = s.At
		}
	case *medium.Mold:
		if l := last(); l != nil {
			l.Mold = true
		}
	case *medium.Inspect:
		if l := last(); l != nil && b.Mold {
			l.Mold = true
		}
	case *medium.Sanitize:
		clean := Cleaning{At: s.At, By: s.By, Product: b.Product, Active: b.Active, PPM: b.StrengthPPM, ContactS: b.ContactS, Solution: b.Solution,
			Accepted: credited}
		if b.Mixed != nil {
			clean.MadeBy, clean.MadeAt = b.Mixed.MadeBy, b.Mixed.MadeAt
		}
		p.open = append(p.open, clean)
	}
}

// fold brings a lot's name to one spelling, as the store's lists of lots do: a
// recall must rather list a mat too many.
func fold(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
