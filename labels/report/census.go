package report

import (
	"cmp"
	"iter"
	"maps"
	"slices"
	"strings"

	"resow/medium"
	"resow/medium/lifetime"
)

// census keeps of each mat what its life and its worth need, so that no more
// than one whole condition is in memory at a time.
type census struct {
	lines []matLine
	all   sums
	sizes map[sizeKey]*sums
	names medium.Names
}

// matLine is one mat.
type matLine struct {
	material, supplier string
	cause              string
	turn               int32
	retired            bool
	due                bool // in use, and to be retired now by the farm's own rules
}

type sizeKey struct {
	material string
	areaMM2  float64
}

// sums adds mats up.
type sums struct {
	mats, turns         int
	priced, pricedTurns int
	cost                float64
	undocumented        int // in use, no dated food-contact statement
	retired, weighed    int
	weightG             float64 // dry, of the weighed retired ones
}

func (s sums) inUse() int { return s.mats - s.retired }

func newCensus() *census {
	return &census{sizes: map[sizeKey]*sums{}, names: medium.Names{}}
}

// censusOf counts all mats; the farm's rules are not asked.
func censusOf(mats iter.Seq[medium.Condition]) *census {
	c := newCensus()
	for m := range each(mats) {
		c.add(m, false)
	}
	return c
}

// each is a sequence that may be missing.
func each(mats iter.Seq[medium.Condition]) iter.Seq[medium.Condition] {
	if mats == nil {
		return func(func(medium.Condition) bool) {}
	}
	return mats
}

func (c *census) add(m medium.Condition, due bool) {
	line := matLine{material: c.name(m.Mat.Material), supplier: c.name(m.Mat.Supplier), turn: int32(m.Turn),
		retired: m.Stage == medium.Retired, due: due}
	if line.retired {
		line.cause = c.names.Kept(causeName(m.Cause))
	}
	c.lines = append(c.lines, line)
	key := sizeKey{line.material, m.Mat.AreaMM2()}
	if c.sizes[key] == nil {
		c.sizes[key] = &sums{}
	}
	c.sizes[key].add(m)
	c.all.add(m)
}

func (s *sums) add(m medium.Condition) {
	s.mats++
	s.turns += m.Turn
	if m.Mat.Cost > 0 {
		s.priced++
		s.pricedTurns += m.Turn
		s.cost += m.Mat.Cost
	}
	if m.Stage != medium.Retired {
		if !m.Mat.ContactDocumented() {
			s.undocumented++
		}
		return
	}
	s.retired++
	if m.Mat.DryWeightG > 0 {
		s.weighed++
		s.weightG += m.Mat.DryWeightG
	}
}

func (c *census) name(text string) string { return c.names.Kept(named(text)) }

// bySize gives the sums in a fixed order.
func (c *census) bySize() []sizeKey {
	return slices.SortedFunc(maps.Keys(c.sizes), func(a, b sizeKey) int {
		return cmp.Or(strings.Compare(a.material, b.material), cmp.Compare(a.areaMM2, b.areaMM2))
	})
}

// usualArea is the area that most mats have.
func (c *census) usualArea() float64 {
	n := map[float64]int{}
	best := 0.0
	for _, k := range c.bySize() {
		n[k.areaMM2] += c.sizes[k].mats
		if n[k.areaMM2] > n[best] || n[k.areaMM2] == n[best] && k.areaMM2 > best {
			best = k.areaMM2
		}
	}
	return best
}

// observation is a mat as far as its life is known.
func (m matLine) observation() lifetime.Observation {
	return lifetime.Observation{Turns: float64(m.turn), Retired: m.retired, Cause: m.cause}
}

// observations are those of all mats.
func (c *census) observations() []lifetime.Observation {
	out := make([]lifetime.Observation, len(c.lines))
	for i, m := range c.lines {
		out[i] = m.observation()
	}
	return out
}

// lifeBy is what the life of mats is broken down by.
type lifeBy struct {
	one, many string
	of        func(matLine) string
}

var (
	byMaterial = lifeBy{"material", "materials", func(m matLine) string { return m.material }}
	bySupplier = lifeBy{"supplier", "suppliers", func(m matLine) string { return m.supplier }}
)

// grouped gives the observations of each group.
func (c *census) grouped(by lifeBy) map[string][]lifetime.Observation {
	out := map[string][]lifetime.Observation{}
	for _, m := range c.lines {
		name := by.of(m)
		out[name] = append(out[name], m.observation())
	}
	return out
}

// oneMaterialEach says that every supplier sold one material, and every
// material came from one supplier.
func (c *census) oneMaterialEach() bool {
	sold, from, both := map[string]bool{}, map[string]bool{}, map[[2]string]bool{}
	for _, m := range c.lines {
		sold[m.supplier], from[m.material], both[[2]string{m.supplier, m.material}] = true, true, true
	}
	return len(both) == len(sold) && len(both) == len(from)
}
