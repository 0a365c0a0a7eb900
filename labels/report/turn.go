package report

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"resow/medium"
	"resow/medium/lifetime"
)

// Turn is one turn of a mat as the statistics see it.
type Turn struct {
	Number    int     // from 1
	Crop      string  // crop or mix
	Place     string  // shelf
	Sanitizer string  // product of the accepted step that cleared the mat for it
	SeedG     float64 // all seed of the sowing, 0 where it was not noted
	YieldG    float64 // whole harvest, all cuts; 0 where it was not weighed
	Mold      bool    // seen in this turn, on crop or mat
	Minutes   float64 // hands-on time at the sink, 0 where none was noted
	SownAt    time.Time
	EndedAt   time.Time // last cut, first mold, the next sowing or the retirement; zero while it goes on
	Whole     bool      // harvested, with no more cuts to come
	unweighed bool      // a cut of it was not weighed by itself
}

// appendTurns reads the turns from a mat's whole thread into an empty list, so
// that one list can serve for all mats. Voided steps count as never taken.
func appendTurns(out []Turn, thread []medium.Step) []Turn {
	var voided []uint64
	for _, s := range thread {
		if b, ok := s.Body.(*medium.Correct); ok {
			voided = append(voided, b.MatSeq)
		}
	}
	var now []medium.Standing
	if len(voided) > 0 {
		now = medium.Standings(thread)
	}
	cleared := ""
	for i, s := range thread {
		if len(voided) > 0 && slices.Contains(voided, s.MatSeq) {
			continue
		}
		if b, ok := s.Body.(*medium.Sanitize); ok && s.Outcome.Accepted && (now == nil || now[i].Accepted) {
			cleared = cmp.Or(b.Product, b.Active)
		}
		if sow, ok := s.Body.(*medium.Sow); ok {
			if len(out) > 0 {
				out[len(out)-1].end(s.At)
			}
			out = append(out, Turn{Number: len(out) + 1, Crop: medium.CropName(sow.Crops), Place: sow.Place, Sanitizer: cleared,
				SeedG: medium.SeedOf(sow.Crops), SownAt: s.At})
			cleared = ""
		}
		switch n := len(out); {
		case n > 0 && s.Seen.IsZero():
			out[n-1].take(s)
		case s.SeenTurn > 0 && s.SeenTurn <= n: // mold told later
			out[s.SeenTurn-1].take(s)
		}
	}
	return out
}

func (t *Turn) end(at time.Time) {
	if t.EndedAt.IsZero() {
		t.EndedAt = at
	}
}

func (t *Turn) take(s medium.Step) {
	switch b := s.Body.(type) {
	case *medium.Harvest:
		t.YieldG += b.YieldG
		t.unweighed = t.unweighed || b.YieldG == 0 || b.Shared
		if !b.MoreCutsToCome {
			t.Whole = true
			t.end(s.At)
		}
	case *medium.Mold:
		t.Mold = true
		t.end(s.At)
	case *medium.Inspect:
		t.Mold = t.Mold || b.Mold
	case *medium.Rinse:
		t.Minutes += b.Minutes
	case *medium.Retire:
		t.end(s.At)
	}
}

// Tally gathers what the reuse report needs of the mats' threads, one mat
// after the other, so that no more than one thread is in memory at a time. What
// it keeps grows with groups, weeks and days, not with mats or turns.
type Tally struct {
	loc    *time.Location
	south  bool
	now    time.Time
	rates  map[rateKey]lifetime.Week
	weeks  map[int]lifetime.Week    // by weeks since 1970
	days   map[dayKey]lifetime.Week // by day of the sowing and product
	recent int                      // sowings in the last paceWeeks
	ended  lifetime.Week
	turns  []Turn // of the thread at hand; kept for the next

	minutes  lifetime.Sample
	harvests []lifetime.Harvest
	names    medium.Names // in those
	seen     int          // mats
	every    int          // of so many mats the harvests of one are kept
}

type rateKey struct{ by, name string }

type dayKey struct {
	product string
	day     int
}

// By what the mold rate is broken down, in the order of the report.
var rateGroups = []string{"material", "crop", "sanitizer", "place", "season", "turn number"}

const (
	// paceWeeks is how far back the farm's pace is taken from.
	paceWeeks = 4
	// harvestsKept bounds the harvests for the yield trend, and so memory.
	harvestsKept = 60000
)

// NewTally begins a tally for a farm as of a time.
func NewTally(farm medium.Farm, now time.Time) *Tally {
	return &Tally{loc: farm.Location(), south: farm.Settings.Lat != nil && *farm.Settings.Lat < 0, now: now,
		rates: map[rateKey]lifetime.Week{}, weeks: map[int]lifetime.Week{}, days: map[dayKey]lifetime.Week{},
		every: 1, names: medium.Names{}}
}

// TallyKinds are the kinds of step that a Tally looks at; it needs no others,
// except of a mat with a correction: what was voided changes what the steps
// behind it did.
func TallyKinds() []medium.Kind {
	return []medium.Kind{medium.KindAdd, medium.KindSow, medium.KindHarvest, medium.KindMold, medium.KindInspect,
		medium.KindRinse, medium.KindSanitize, medium.KindRetire, medium.KindCorrect}
}

// PaceKinds are the kinds of step that Sown looks at.
func PaceKinds() []medium.Kind { return []medium.Kind{medium.KindSow, medium.KindCorrect} }

// Sown counts the sowings of a mat in the last four weeks, from which a forecast
// takes the farm's pace. Voided ones do not count.
func Sown(thread []medium.Step, now time.Time) int {
	n := 0
	for _, turn := range appendTurns(nil, thread) {
		if lately(turn.SownAt, now) {
			n++
		}
	}
	return n
}

func lately(sown, now time.Time) bool { return now.Sub(sown) < paceWeeks*7*24*time.Hour }

// Add takes one mat's thread.
func (t *Tally) Add(thread []medium.Step) {
	mat := matOf(thread)
	t.seen++
	t.turns = appendTurns(t.turns[:0], thread)
	code := strings.Clone(string(thread[0].Mat))
	for _, turn := range t.turns {
		t.turn(mat, turn)
		if (t.seen-1)%t.every == 0 {
			t.harvest(code, mat, turn)
		}
	}
	if len(t.harvests) > harvestsKept {
		t.thin()
	}
}

func matOf(thread []medium.Step) medium.Mat {
	for _, s := range thread {
		if b, ok := s.Body.(*medium.Add); ok {
			return b.Mat
		}
	}
	return medium.Mat{}
}

func (t *Tally) turn(mat medium.Mat, turn Turn) {
	if turn.Minutes > 0 {
		t.minutes.Add(turn.Minutes)
	}
	if lately(turn.SownAt, t.now) {
		t.recent++
	}
	if turn.EndedAt.IsZero() {
		return
	}
	one := lifetime.Week{Turns: 1}
	if turn.Mold {
		one.Moldy = 1
	}
	t.ended = sumWeeks(t.ended, one)
	week := weekOf(turn.EndedAt.In(t.loc))
	t.weeks[week] = sumWeeks(t.weeks[week], one)
	day := dayKey{named(turn.Sanitizer), dayOf(turn.SownAt.In(t.loc))}
	t.days[day] = sumWeeks(t.days[day], one)
	for i, name := range []string{mat.Material, turn.Crop, turn.Sanitizer, turn.Place,
		season(turn.SownAt.In(t.loc).Month(), t.south), turnBand(turn.Number)} {
		key := rateKey{rateGroups[i], named(name)}
		t.rates[key] = sumWeeks(t.rates[key], one)
	}
}

func sumWeeks(a, b lifetime.Week) lifetime.Week {
	return lifetime.Week{Turns: a.Turns + b.Turns, Moldy: a.Moldy + b.Moldy}
}

func named(name string) string { return cmp.Or(name, unknown) }

// dayOf counts calendar days from 1 January 1970, weekOf weeks from the Monday
// before it.
func dayOf(at time.Time) int {
	y, m, d := at.Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

func weekOf(at time.Time) int { return (dayOf(at) + 3) / 7 }

func weekStart(week int) time.Time { return dayTime(week*7 - 3) }

// season is the meteorological one of the farm's half of the world.
func season(m time.Month, south bool) string {
	i := int(m) % 12 / 3
	if south {
		i = (i + 2) % 4
	}
	return []string{"winter", "spring", "summer", "autumn"}[i]
}

func turnBand(n int) string {
	switch {
	case n <= 5:
		return "turns 1 to 5"
	case n <= 10:
		return "turns 6 to 10"
	case n <= 20:
		return "turns 11 to 20"
	}
	return "turns over 20"
}

func (t *Tally) harvest(code string, mat medium.Mat, turn Turn) {
	perSeed, ok := medium.PerSeed(turn.YieldG, turn.SeedG)
	if ok && turn.Whole && !turn.unweighed {
		t.harvests = append(t.harvests, lifetime.Harvest{Mat: code, Mesh: t.names.Kept(named(mat.Material)),
			Crop: t.names.Kept(named(turn.Crop)), Turn: float64(turn.Number), PerSeed: perSeed})
	}
}

// thin drops the harvests of every second mat that was kept.
func (t *Tally) thin() {
	t.every *= 2
	kept, mat, drop := t.harvests[:0], "", true
	for _, h := range t.harvests {
		if h.Mat != mat {
			mat, drop = h.Mat, !drop
		}
		if !drop {
			kept = append(kept, h)
		}
	}
	t.harvests = kept
}

// group gives the counts of one breakdown, those with most turns first.
func (t *Tally) group(by string) []lifetime.Count {
	var out []lifetime.Count
	for key, week := range t.rates {
		if key.by == by {
			out = append(out, countOf(key.name, week))
		}
	}
	slices.SortFunc(out, func(a, b lifetime.Count) int {
		return cmp.Or(cmp.Compare(b.Trials, a.Trials), cmp.Compare(a.Name, b.Name))
	})
	return out
}
