package pool

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"resow/medium"
)

// Options of a simulation. Zero weeks, repeats or confidence mean the defaults.
type Options struct {
	Mats        int
	Weeks       int // reported, default 12
	WarmUpWeeks int // before them, from a store of ready mats; default 8, negative for none
	Repeats     int // default 1000
	Confidence  float64
}

func (o Options) filled() Options {
	o.Weeks, o.WarmUpWeeks = cmp.Or(o.Weeks, defaultWeeks), max(0, cmp.Or(o.WarmUpWeeks, 8))
	o.Repeats, o.Confidence = cmp.Or(o.Repeats, 1000), cmp.Or(o.Confidence, 0.95)
	return o
}

func (o Options) check(p Plan) error {
	if err := inRange("number of mats", o.Mats, 0, MaxMats); err != nil {
		return err
	}
	if o.Weeks < 1 || o.Weeks > MaxWeeks || o.WarmUpWeeks > MaxWeeks {
		return invalid("weeks", fmt.Sprintf("%d after %d", o.Weeks, o.WarmUpWeeks), fmt.Sprintf("1 to %d", MaxWeeks))
	}
	if err := inRange("repeats", o.Repeats, 1, MaxRepeats); err != nil {
		return err
	}
	if !(o.Confidence > 0 && o.Confidence <= 1-1e-12) {
		return invalid("confidence", o.Confidence, "a level between 0 and 1, usually 0.95")
	}
	if w := o.work(p); w > maxWork {
		return invalid("steps of the simulation", figure(w), fmt.Sprintf("at most %d; give fewer repeats or weeks", maxWork))
	}
	return nil
}

// work counts days by what happens on one: each line is looked at, each mat may
// be lost or have days of its own.
func (o Options) work(p Plan) float64 {
	mats := 0
	for _, s := range p.Sowings {
		mats += s.perWeek()
	}
	weeks := float64(o.Weeks+o.WarmUpWeeks) * float64(o.Repeats)
	each := 0.0
	if p.ByOrder || p.Losses.PerTurn > 0 {
		each = float64(mats)
	}
	return weeks * (7*float64(len(p.Sowings)+20) + each)
}

// Week is one reported week over all repeats.
type Week struct {
	Short     Share   // chance that some sowing of the week lacks a mat
	MatsShort float64 // mean number of mats lacking in the week
}

// OnOrder is the place of a lost mat until its replacement is there. It is not
// a stage of a mat: a lost mat is retired and the new one is not yet added.
const OnOrder medium.Stage = "on order"

// StageMats is what the simulation saw at one stage, at the end of each day.
type StageMats struct {
	Stage medium.Stage
	Mean  float64 // mats
	Most  int
	// WaitDays is the mean time a mat waited for a free place or hands at this
	// stage (the work itself not counted), in days.
	WaitDays float64
	// GrowthPerWeek is by how many mats the queue grew a week over the reported
	// weeks.
	GrowthPerWeek float64
}

// Bottleneck names what holds the mats up.
type Bottleneck struct {
	// Name is "washing", "drying places", "sanitizing", "weather", "mats" (the
	// pool itself is too small), or "none".
	Name string
	Days float64 // mean days that it costs a turn
	Text string
}

// Outcome is the result of a simulation.
type Outcome struct {
	Mats    int
	Repeats int
	Weeks   []Week
	// AnyWeek is the chance that at least one of the reported weeks runs short.
	AnyWeek Share
	// InAWeek is the chance that a week runs short, over all reported weeks.
	// Weeks of one repeat are alike, so its Wilson interval uses the effective
	// number of looks (share x (1-share) / variance of the repeats' mean).
	InAWeek     Share
	Stages      []StageMats
	Bottleneck  Bottleneck
	SownPerDay  float64 // mats
	LostPerWeek float64 // mats lost, hence to be bought
	WeatherDays float64 // mean days that a turn lost to days without drying
	InUse       float64 // mean number of mats neither ready nor aside
}

// Simulate plays the plan day by day. Each morning dried mats come off the
// racks if the day dries, then the day's mats are sown, ripe crops harvested,
// mats washed, sanitized and hung, each as far as hands and places go. A sowing
// that finds too few ready mats uses those there are and the rest is given up.
// Day 1 is a Monday. src is the only randomness; a *rand.PCG with a fixed seed
// gives the same result every time.
//
// Errors: *medium.InputError.
func Simulate(p Plan, o Options, src rand.Source) (Outcome, error) {
	if err := p.Check(); err != nil {
		return Outcome{}, err
	}
	o = o.filled()
	if err := o.check(p); err != nil {
		return Outcome{}, err
	}
	t := newTally(p, o)
	for range o.Repeats {
		f := newFarm(p, o.Mats, src)
		t.run(f)
	}
	return t.outcome(), nil
}

// farm is one repeat. Mats are alike, so counts suffice.
type farm struct {
	plan            Plan
	weather, orders *rand.Rand
	losses          *rand.Rand
	order           []distuv.Poisson // by line times 7 plus weekday

	day                        int
	wet                        bool
	ready                      int
	harvest                    []int // growing, by day modulo its length
	arrive                     []int // on order, by day modulo its length
	growing, onOrder           int
	toWash, waitDry            int
	toSanitize, waitAir        int
	night                      int   // sanitized today, ready tomorrow (without airing days)
	drying, airing             []int // on the racks, by drying days still to go
	short, sown, lost          int   // today
	washed, sanitized, wetHung int   // today
}

func newFarm(p Plan, mats int, src rand.Source) *farm {
	stream := func() *rand.Rand { return rand.New(rand.NewPCG(src.Uint64(), src.Uint64())) }
	f := &farm{plan: p, weather: stream(), orders: stream(), losses: stream()}
	longest := 1
	for _, s := range p.Sowings {
		longest = max(longest, s.GrowMax)
	}
	f.harvest = make([]int, longest+1)
	f.arrive = make([]int, p.Losses.ReplaceDays+1)
	f.drying = make([]int, p.TurnAround.DryDays+1)
	f.airing = make([]int, p.TurnAround.AirDays+1)
	f.ready = mats - int(math.Round(p.Losses.Aside*float64(mats)))
	f.wet = f.weather.Float64() < p.TurnAround.Weather.NoDry
	if p.ByOrder {
		for _, s := range p.Sowings {
			for _, n := range s.Mats {
				f.order = append(f.order, distuv.Poisson{Lambda: float64(n), Src: f.orders})
			}
		}
	}
	return f
}

func (f *farm) weekday() time.Weekday { return time.Weekday((f.day + 1) % 7) }

// step plays one day.
func (f *farm) step() {
	f.short, f.sown, f.lost = 0, 0, 0
	f.washed, f.sanitized, f.wetHung = 0, 0, 0
	f.ready += f.night
	f.night = 0
	f.unrack()
	f.toWash += f.receive()
	for i := range f.plan.Sowings {
		f.sow(i)
	}
	f.reap()
	f.work()
	f.rack()
	f.day++
	f.turnWeather()
}

func (f *farm) turnWeather() {
	w := f.plan.TurnAround.Weather
	chance := w.wetAfterDry()
	if f.wet {
		chance = w.wetAfterWet()
	}
	f.wet = f.weather.Float64() < chance
}

// unrack: on a drying day every mat on the racks gets one day nearer.
func (f *farm) unrack() {
	if f.wet {
		f.wetHung = sum(f.drying) + sum(f.airing)
		return
	}
	f.toSanitize += shift(f.drying)
	f.ready += shift(f.airing)
}

// shift moves every count one place down and gives what falls out.
func shift(left []int) int {
	if len(left) < 2 {
		return 0
	}
	done := left[1]
	copy(left[1:], left[2:])
	left[len(left)-1] = 0
	return done
}

func (f *farm) receive() int {
	slot := f.day % len(f.arrive)
	n := f.arrive[slot]
	f.arrive[slot] = 0
	f.onOrder -= n
	return n
}

func (f *farm) sow(i int) {
	s := f.plan.Sowings[i]
	want := s.Mats[f.weekday()]
	if f.plan.ByOrder && want > 0 {
		want = int(f.order[7*i+int(f.weekday())].Rand())
	}
	n := min(want, f.ready)
	// The days are drawn for all that are wanted, so that pools of different
	// size meet the same luck.
	if !f.plan.ByOrder && want > 0 {
		f.grow(s, n)
	}
	for k := 0; f.plan.ByOrder && k < want; k++ {
		one := 1
		if k >= n {
			one = 0
		}
		f.grow(s, one)
	}
	f.ready -= n
	f.sown += n
	f.short += want - n
}

func (f *farm) grow(s Sowing, n int) {
	days := s.GrowMin
	if s.GrowMax > s.GrowMin {
		days += f.orders.IntN(s.GrowMax - s.GrowMin + 1)
	}
	f.harvest[(f.day+days)%len(f.harvest)] += n
	f.growing += n
}

func (f *farm) reap() {
	slot := f.day % len(f.harvest)
	n := f.harvest[slot]
	f.harvest[slot] = 0
	f.growing -= n
	for q := f.plan.Losses.PerTurn; q > 0 && n > 0; n-- {
		if f.losses.Float64() < q {
			f.lost++
		} else {
			f.toWash++
		}
	}
	f.toWash += n // all of them where nothing is ever lost
	if f.plan.Losses.ReplaceDays == 0 {
		f.toWash += f.lost
		return
	}
	f.arrive[(f.day+f.plan.Losses.ReplaceDays)%len(f.arrive)] += f.lost
	f.onOrder += f.lost
}

func (f *farm) work() {
	t := f.plan.TurnAround
	f.washed = min(f.toWash, capacityOn(t.WashPerDay, f.weekday()))
	f.toWash -= f.washed
	if t.DryDays == 0 {
		f.toSanitize += f.washed
	} else {
		f.waitDry += f.washed
	}
	f.sanitized = min(f.toSanitize, capacityOn(t.SanitizePerDay, f.weekday()))
	f.toSanitize -= f.sanitized
	if t.AirDays == 0 {
		f.night = f.sanitized
	} else {
		f.waitAir += f.sanitized
	}
}

// rack hangs what there is room for, sanitized mats first.
func (f *farm) rack() {
	t := f.plan.TurnAround
	room := math.MaxInt
	if t.Racks > 0 {
		room = t.Racks - sum(f.drying) - sum(f.airing)
	}
	air := min(f.waitAir, room)
	f.waitAir -= air
	f.airing[t.AirDays] += air
	dry := min(f.waitDry, room-air)
	f.waitDry -= dry
	f.drying[t.DryDays] += dry
}
