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
	"slices"
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
	SeedLot string      `json:"seed_lot,omitempty"` // of a mix the lots of its crops, joined
	Seeds   []string    `json:"-"`                  // each of them
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
	Seeds    []string    `json:"-"`
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
	growths []*growth  // in order
	open    []Cleaning // sanitize steps since the last of them
	voided  []Voided
}

// growth is one in its place: the nth of its mat.
type growth struct {
	Growth
	on  *history
	nth int
}

// Ledger is what a trace reads of one.
type Ledger struct {
	// Mats gives the mats that a crop lot, a seed lot, a mat's code, a solution or a
	// roll touched, those of a sowing that was voided too. It may give others.
	Mats   func(from, name string) ([]medium.Code, error)
	Thread func(medium.Code) ([]medium.Step, error)
}

// Graph is the part of a ledger that searches have come to: the mats that they had to
// look at, each read once.
type Graph struct {
	Ledger
	mats map[medium.Code]*history
	sown map[string][]*growth // of the lots that were asked for
}

// New begins the graph of a ledger. Voided steps count as never taken; only a voided
// sowing is named.
func New(l Ledger) *Graph {
	return &Graph{l, map[medium.Code]*history{}, map[string][]*growth{}}
}

// touched gives the histories of the mats that something touched, and maybe of
// others, in the order of their codes.
func (g *Graph) touched(from, name string) ([]*history, error) {
	codes, err := g.Mats(from, name)
	if err != nil {
		return nil, err
	}
	slices.Sort(codes)
	var all []*history
	for _, code := range slices.Compact(codes) {
		if g.mats[code] == nil {
			thread, err := g.Thread(code)
			if err != nil {
				return nil, err
			}
			if len(thread) == 0 || code == medium.FarmThread {
				continue
			}
			g.mats[code] = read(thread)
		}
		all = append(all, g.mats[code])
	}
	return all, nil
}

// growths gives those of a crop lot or a seed lot, mat by mat. Names that differ only
// in case and spaces are one; no name names nothing.
func (g *Graph) growths(from, name string) ([]*growth, error) {
	want := medium.FoldLot(name)
	known, again := g.sown[from+want]
	if want == "" || again {
		return known, nil
	}
	mats, err := g.touched(from, name)
	if err != nil {
		return nil, err
	}
	for _, m := range mats {
		for _, x := range m.growths {
			if bears(from, want, x.Lot, x.Seeds) {
				known = append(known, x)
			}
		}
	}
	g.sown[from+want] = known
	return known, nil
}

// bears says whether a sowing has the crop lot or the seed lot that a search is after.
func bears(from, want, lot string, seeds []string) bool {
	is := func(name string) bool { return medium.FoldLot(name) == want }
	return from == FromLot && is(lot) || from == FromSeedLot && slices.ContainsFunc(seeds, is)
}

// joined names the seed lots of a sowing in one text.
func joined(b *medium.Sow) string { return strings.Join(b.SeedLots(), " + ") }

func read(thread []medium.Step) *history {
	voided := medium.Voided(thread)
	h := &history{}
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
	v := Voided{Mat: s.Mat, Crop: medium.CropName(b.Crops), Lot: b.Lot, SeedLot: joined(b), Seeds: b.SeedLots(),
		SownAt: s.At, SownBy: s.By}
	for _, later := range thread {
		if c, ok := later.Body.(*medium.Correct); ok && c.MatSeq == s.MatSeq {
			v.VoidedAt, v.VoidedBy, v.Reason = later.At, later.By, c.Reason
		}
	}
	return v
}

func (h *history) take(s medium.Step, c medium.Condition, credited bool) {
	switch b := s.Body.(type) {
	case *medium.Sow:
		x := &growth{on: h, nth: len(h.growths), Growth: Growth{Mat: s.Mat, Turn: c.Turn, Crop: medium.CropName(b.Crops),
			Lot: b.Lot, SeedLot: joined(b), Seeds: b.SeedLots(), Place: b.Place, SownAt: s.At, SownBy: s.By, Before: h.open}}
		x.Cleared = slices.ContainsFunc(h.open, func(c Cleaning) bool { return c.Accepted })
		h.open = nil
		h.growths = append(h.growths, x)
	case *medium.Harvest:
		if n := len(h.growths); n > 0 {
			h.growths[n-1].Ended = s.At
		}
	case *medium.Mold:
		h.moldy(s)
	case *medium.Inspect:
		if b.Mold {
			h.moldy(s)
		}
	case *medium.Sanitize:
		clean := Cleaning{At: s.At, By: s.By, Product: b.Product, Active: b.Active, PPM: b.StrengthPPM,
			ContactS: b.ContactS, Solution: b.Solution, Accepted: credited}
		if b.Mixed != nil {
			clean.MadeBy, clean.MadeAt = b.Mixed.MadeBy, b.Mixed.MadeAt
		}
		h.open = append(h.open, clean)
	}
}

// moldy marks the growth on which mold was seen: told later, it is not the last.
func (h *history) moldy(s medium.Step) {
	for _, x := range slices.Backward(h.growths) {
		if s.Seen.IsZero() || x.Turn == s.SeenTurn {
			x.Mold = true
			return
		}
	}
}
