package pool

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"resow/medium"
)

// tally sums what the repeats did in the reported weeks.
type tally struct {
	plan  Plan
	o     Options
	runs  int
	short []int // repeats in which the week ran short
	lack  []int // mats lacking in the week, all repeats
	any   int
	share []float64 // of weeks that ran short, by repeat

	days              int
	sown, lost, turns int
	wetDays           int
	stages            [7]stageSum
	inUse             int
}

type stageSum struct {
	mats, queue, most  int
	firstHalf, secHalf int // of the queue
}

var stageNames = [7]medium.Stage{medium.Ready, medium.Growing, medium.ToWash, medium.ToDry, medium.ToSanitize,
	medium.Airing, OnOrder}

func newTally(p Plan, o Options) *tally {
	return &tally{plan: p, o: o, short: make([]int, o.Weeks), lack: make([]int, o.Weeks)}
}

func (t *tally) run(f *farm) {
	for range 7 * t.o.WarmUpWeeks {
		f.step()
	}
	shortWeeks := 0
	for w := range t.o.Weeks {
		lack := 0
		for d := range 7 {
			f.step()
			lack += f.short
			t.day(f, 7*w+d)
		}
		t.lack[w] += lack
		if lack > 0 {
			t.short[w]++
			shortWeeks++
		}
	}
	if shortWeeks > 0 {
		t.any++
	}
	t.share = append(t.share, float64(shortWeeks)/float64(t.o.Weeks))
	t.runs++
}

func (t *tally) day(f *farm, day int) {
	t.days++
	t.sown += f.sown
	t.lost += f.lost
	t.turns += f.washed
	t.wetDays += f.wetHung
	drying, airing := sum(f.drying), sum(f.airing)
	for i, s := range [7][2]int{
		{f.ready, 0}, {f.growing, 0}, {f.toWash, f.toWash}, {f.waitDry + drying, f.waitDry},
		{f.toSanitize, f.toSanitize}, {f.waitAir + airing + f.night, f.waitAir}, {f.onOrder, 0},
	} {
		st := &t.stages[i]
		st.mats += s[0]
		st.queue += s[1]
		st.most = max(st.most, s[0])
		if 2*day < 7*t.o.Weeks {
			st.firstHalf += s[1]
		} else {
			st.secHalf += s[1]
		}
		if i > 0 {
			t.inUse += s[0]
		}
	}
}

func (t *tally) outcome() Outcome {
	days, weeks := float64(t.days), float64(t.days)/7
	out := Outcome{
		Mats: t.o.Mats, Repeats: t.runs,
		AnyWeek:    wilson(float64(t.any), float64(t.runs), t.o.Confidence),
		InAWeek:    t.inAWeek(),
		SownPerDay: float64(t.sown) / days, LostPerWeek: float64(t.lost) / weeks,
		WeatherDays: float64(t.wetDays) / t.perTurn(), InUse: float64(t.inUse) / days,
	}
	for w, n := range t.short {
		out.Weeks = append(out.Weeks, Week{
			Short:     wilson(float64(n), float64(t.runs), t.o.Confidence),
			MatsShort: float64(t.lack[w]) / float64(t.runs),
		})
	}
	for i, s := range t.stages {
		out.Stages = append(out.Stages, StageMats{
			Stage: stageNames[i], Mean: float64(s.mats) / days, Most: s.most,
			WaitDays: float64(s.queue) / t.perTurn(), GrowthPerWeek: t.growth(s),
		})
	}
	out.Bottleneck = t.bottleneck(out)
	return out
}

// perTurn is the number of turns that the waits are shared by.
func (t *tally) perTurn() float64 { return math.Max(1, float64(t.turns)) }

// growth compares the mean queue of the two halves of the weeks.
func (t *tally) growth(s stageSum) float64 {
	first := (7*t.o.Weeks + 1) / 2 // days with 2*day < all days
	second := 7*t.o.Weeks - first
	if second == 0 {
		return 0
	}
	runs := float64(t.runs)
	rise := float64(s.secHalf)/(runs*float64(second)) - float64(s.firstHalf)/(runs*float64(first))
	return rise / (float64(t.o.Weeks) / 2)
}

// inAWeek pools the weeks. The variance between repeats tells how many
// independent looks they are worth (Kish's design effect).
func (t *tally) inAWeek() Share {
	n := float64(t.runs)
	mean, variance := stat.MeanVariance(t.share, nil)
	looks := n // all alike: each repeat is one look, however many weeks agree
	if variance > 0 {
		looks = min(n*float64(t.o.Weeks), mean*(1-mean)/(variance/n))
	}
	return wilson(mean*looks, looks, t.o.Confidence)
}

// A quarter of a day is the least wait worth naming (common practice, no
// source).
const worthNaming = 0.25

func (t *tally) bottleneck(o Outcome) Bottleneck {
	best := Bottleneck{}
	grows := 0.0
	for _, c := range []struct {
		name   string
		stages []int
	}{{"washing", []int{2}}, {"drying places", []int{3, 5}}, {"sanitizing", []int{4}}} {
		days, growth := 0.0, 0.0
		for _, i := range c.stages {
			days += o.Stages[i].WaitDays
			growth += o.Stages[i].GrowthPerWeek
		}
		if days > best.Days {
			best, grows = Bottleneck{Name: c.name, Days: days}, growth
		}
	}
	switch {
	case o.WeatherDays > best.Days && o.WeatherDays >= worthNaming:
		best = Bottleneck{Name: "weather", Days: o.WeatherDays,
			Text: fmt.Sprintf("weather: days without drying cost a turn %s; a fan or a covered place to dry saves them, "+
				"more mats only bridge them", days(o.WeatherDays))}
	case best.Days >= worthNaming:
		best.Text = fmt.Sprintf("%s: a mat waits %s for it%s%s", best.Name, days(best.Days), growing(grows), t.can(best.Name))
	case o.AnyWeek.Share == 0:
		best = Bottleneck{Name: "none", Text: "nothing runs short and nothing waits for hands or places"}
	default:
		best = Bottleneck{Name: "mats", Text: fmt.Sprintf("mats: nothing else waits, the pool itself is too small (%s, "+
			"%s in use on average)", mats(float64(o.Mats)), figure(o.InUse))}
	}
	return best
}

func growing(perWeek float64) string {
	if perWeek < 0.05 {
		return ""
	}
	return fmt.Sprintf(", and %s each week", more(perWeek))
}

// can states the capacity beside what the plan asks of it.
func (t *tally) can(name string) string {
	need, _ := Need(t.plan) // the plan was checked; an overload is what we are about to say
	stage := map[string]medium.Stage{"washing": medium.ToWash, "drying places": medium.ToDry,
		"sanitizing": medium.ToSanitize}[name]
	for _, l := range need.Loads {
		if l.Stage != stage {
			continue
		}
		if stage == medium.ToDry {
			return fmt.Sprintf("; %s at a time, drying places: %s", hanging(l.Need), figure(l.Can))
		}
		return fmt.Sprintf("; the plan needs %s a week, %s can be done", mats(l.Need), figure(l.Can))
	}
	return ""
}
