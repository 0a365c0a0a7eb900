package report

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/lifetime"
)

// worn is a farm with enough retired mats for every statement: two materials
// that last differently, mold that is more frequent on one of them, a second
// sanitizer from the middle on, and falling yields.
func worn(t *testing.T) *farm {
	if wornFarm == nil {
		wornFarm = makeWorn(t)
	}
	return wornFarm
}

var wornFarm *farm // read only

func makeWorn(t *testing.T) *farm {
	f := newFarm(t)
	f.Prices = medium.Prices{LabourPerHour: 12, MediumPerTray: 1.5, MediumGPerTray: 40, SanitizerPerTurn: 0.05, WaterPerTurn: 0.02, LabelPerMat: 0.3}
	off := medium.PolicyChange{Setting: medium.Setting{Rule: "mold-repeat"}, Reason: "so that mold does not end every second mat"}
	f.Farm = f.Apply(medium.Step{Body: &off})
	first, last := f.now, f.now
	for i := range 30 {
		mat, r := code(i), rand.New(rand.NewPCG(7, uint64(i)))
		f.now = first.Add(time.Duration(i*60) * time.Hour)
		f.do(mat, &medium.Add{Mat: meshes[i%2]})
		f.wash(mat, label())
		for n := range 12 {
			if f.live(i, n, mat, r) {
				break
			}
		}
		if f.now.After(last) {
			last = f.now
		}
	}
	f.now = last.Add(time.Hour)
	return f
}

// live is one turn; it says that the mat ended.
func (f *farm) live(i, n int, mat medium.Code, r *rand.Rand) bool {
	san := label()
	if n >= 6 {
		san = drugstore()
	}
	f.sow(mat, crops[(i+n)%2], fmt.Sprintf("L%d-%d", i, n), "shelf A")
	f.hours(24 * 7)
	if r.Float64() < 0.04+0.22*float64(i%2) {
		f.do(mat, &medium.Mold{Where: "edge", Seen: "growing"})
		f.hours(24)
		f.do(mat, &medium.Release{Reason: "crop discarded"})
	} else {
		f.do(mat, &medium.Harvest{YieldG: math.Round(200 * (1 - 0.01*float64(n)) * (1 + 0.03*r.NormFloat64()))})
		f.hours(1)
	}
	if r.Float64() < 0.03+0.13*float64(i%2) {
		f.do(mat, &medium.Retire{Cause: []medium.Cause{medium.CauseCut, medium.CauseWear, medium.CauseMold}[r.IntN(3)]})
		return true
	}
	f.wash(mat, san)
	return false
}

// step is one turn of a life table.
type step struct{ turn, atRisk, retired float64 }

// lifeTable counts mats of a material (all for none) by turn: an own way to the
// figures, past package lifetime.
func lifeTable(mats []medium.Condition, material string) []step {
	var out []step
	for turn := 1; turn <= 12; turn++ {
		s := step{turn: float64(turn)}
		for _, c := range mats {
			if material != "" && c.Mat.Material != material || c.Turn < turn {
				continue
			}
			s.atRisk++
			if c.Stage == medium.Retired && c.Turn == turn {
				s.retired++
			}
		}
		out = append(out, s)
	}
	return out
}

// area is the mean of turns up to a limit, under the Kaplan-Meier curve, with
// its variance: the sum of d/(n(n-d)) times the square of the area still to
// come (Klein & Moeschberger 2003, section 4.5, from memory).
func area(table []step, until float64) (mean, variance float64) {
	var s, at []float64
	left := 1.0
	for _, row := range table {
		if row.turn > until {
			break
		}
		mean += left
		if row.atRisk > 0 {
			left *= 1 - row.retired/row.atRisk
		}
		s, at = append(s, left), append(at, row.turn)
	}
	for i, row := range table {
		if row.turn >= until || row.retired == 0 || row.atRisk == row.retired {
			continue
		}
		rest := 0.0
		for j := i; j < len(s) && at[j] < until; j++ {
			rest += s[j]
		}
		variance += rest * rest * row.retired / (row.atRisk * (row.atRisk - row.retired))
	}
	return mean, variance
}

// logRank is the two-sample test (Mantel 1966) by the sums of its definition.
func logRank(a, b []step) float64 {
	diff, variance := 0.0, 0.0
	for i := range a {
		n, d := a[i].atRisk+b[i].atRisk, a[i].retired+b[i].retired
		if n < 2 {
			continue
		}
		diff += a[i].retired - d*a[i].atRisk/n
		variance += d * (a[i].atRisk / n) * (1 - a[i].atRisk/n) * (n - d) / (n - 1)
	}
	return math.Erfc(math.Sqrt(diff * diff / variance / 2))
}

// lastTurn is the last turn that a curve knows; one that has come down to 0
// knows all of them.
func lastTurn(table []step) float64 {
	last, left := 0.0, 1.0
	for _, s := range table {
		if s.atRisk > 0 {
			last = s.turn
			left *= 1 - s.retired/s.atRisk
		}
	}
	if left == 0 {
		return 12
	}
	return last
}

func two(v float64) string { return fmt.Sprintf("%.2f", v) }

func sentence(t *testing.T, said []string, with string) string {
	t.Helper()
	for _, s := range said {
		if strings.Contains(s, with) {
			return loose(s)
		}
	}
	t.Fatalf("nothing said with %q in %q", with, said)
	return ""
}

func chanceWords(p float64) []string {
	if p < 0.001 {
		return []string{"0.001"}
	}
	if p < 0.1 {
		return []string{fmt.Sprintf("%.3f", p)}
	}
	return []string{two(p)}
}

func TestLifeIsTraced(t *testing.T) {
	f := worn(t)
	mats := f.mats()
	said := papers(f)["reuse"].Summary
	a, b := lifeTable(mats, "polyester"), lifeTable(mats, "polypropylene")
	until := min(lastTurn(a), lastTurn(b))
	meanA, varA := area(a, until)
	meanB, varB := area(b, until)
	ratio := meanA / meanB
	half := 1.959964 * math.Sqrt(varA/meanA/meanA+varB/meanB/meanB)
	want := append([]string{two(ratio), fmt.Sprint(until), "95", two(ratio * math.Exp(-half)), two(ratio * math.Exp(half))}, chanceWords(logRank(a, b))...)
	require.Equal(t, want, numbers(sentence(t, said, "Mats of polyester last")))

	s, reached, level := 1.0, 0.0, 0.0
	for _, row := range lifeTable(mats, "") {
		if row.retired == 0 {
			continue
		}
		s *= 1 - row.retired/row.atRisk
		if math.Abs(s-0.5) < 1e-9 {
			level = row.turn // a level stretch at one half: its middle counts, as in R's quantile.survfit
		}
		if s < 0.5-1e-9 && reached == 0 {
			reached = row.turn
			if level > 0 {
				reached = (level + row.turn) / 2
			}
		}
	}
	require.Positive(t, reached, "the invented farm reaches its median")
	require.Equal(t, decimal(reached), numbers(sentence(t, said, "Half of the mats are retired"))[0])
}

func TestCostIsTraced(t *testing.T) {
	f := worn(t)
	n := tallyOf(f)
	washed, err := lifetime.MeanOf(n.minutes, 0.95)
	require.NoError(t, err)
	mats := f.mats()
	table := lifeTable(mats, "polyester")
	life, variance := area(table, lastTurn(table))
	se := 1.959964 * math.Sqrt(variance)
	up := 4.2 + 0.3 // the mesh of the first kind and the label
	running := func(minutes float64) float64 { return 0.05 + 0.02 + 12*minutes/60 }
	paid := func(minutes float64) string { return fmt.Sprint(math.Ceil(up / (1.5 - running(minutes)))) }
	alive := 1.0 // just before the turn at which it is paid for
	for _, row := range table {
		if row.turn < math.Ceil(up/(1.5-running(washed.Value))) && row.atRisk > 0 {
			alive *= 1 - row.retired/row.atRisk
		}
	}
	require.Equal(t, []string{two(up/life + running(washed.Value)), two(up/(life+se) + running(washed.Low)), two(up/(life-se) + running(washed.High)), "1.50",
		paid(washed.Value), paid(washed.Low), paid(washed.High), decimal(100 * alive)}, numbers(sentence(t, papers(f)["reuse"].Summary, "A turn on polyester costs")))
	mass := sentence(t, papers(f)["reuse"].Summary, "took the place of")
	require.Equal(t, []string{fmt.Sprint(n.turns), decimal(float64(n.turns) * 40 / 1000)}, numbers(mass)[:2])
}

// fisherP is the two-sided test by its definition: the chances of all tables
// with the same margins that are no likelier than the one seen.
func fisherP(a, m, b, n int) float64 {
	lchoose := func(n, k int) float64 {
		x, _ := math.Lgamma(float64(n + 1))
		y, _ := math.Lgamma(float64(k + 1))
		z, _ := math.Lgamma(float64(n - k + 1))
		return x - y - z
	}
	p := func(x int) float64 {
		return math.Exp(lchoose(m, x) + lchoose(n, a+b-x) - lchoose(m+n, a+b))
	}
	sum := 0.0
	for x := max(0, a+b-n); x <= min(m, a+b); x++ {
		if p(x) <= p(a)*(1+1e-7) {
			sum += p(x)
		}
	}
	return sum
}

func TestMoldComparisonsAreTraced(t *testing.T) {
	f := worn(t)
	r := papers(f)["reuse"]
	var least float64 = 2
	pairs := 0
	for _, counts := range rates(t, r) {
		for i, a := range counts {
			for _, b := range counts[:i] {
				if a.Trials >= 10 && b.Trials >= 10 && a.Hits+b.Hits > 0 {
					pairs++
					least = min(least, fisherP(a.Hits, a.Trials, b.Hits, b.Trials))
				}
			}
		}
	}
	adjusted := least * float64(pairs) // Holm (1979): the least of m is held against m times itself
	require.Less(t, adjusted, 0.05, "the farm was made with a difference")
	mesh := map[string]lifetime.Count{}
	for _, c := range rates(t, r)["material"] {
		mesh[c.Name] = c
	}
	want := append([]string{decimal(100 * mesh["polypropylene"].Share()), decimal(100 * mesh["polyester"].Share())}, chanceWords(adjusted)...)
	require.Equal(t, append(want, fmt.Sprint(pairs)), numbers(sentence(t, r.Summary, "polypropylene molds more often than polyester")))

	// Before and after the second sanitizer.
	var first time.Time
	type half struct{ turns, mold int }
	var before, after half
	var turns []Turn
	for _, c := range f.mats() {
		turns = append(turns, Turns(f.thread(c.Code))...)
	}
	for _, turn := range turns {
		if turn.Sanitizer == "Drugstore peroxide" && (first.IsZero() || turn.SownAt.Before(first)) {
			first = turn.SownAt
		}
	}
	for _, turn := range turns {
		day, since := dayOf(turn.SownAt.In(f.Location())), dayOf(first.In(f.Location()))
		h := &before
		if day >= since {
			if turn.Sanitizer != "Drugstore peroxide" {
				continue
			}
			h = &after
		}
		if turn.EndedAt.IsZero() {
			continue
		}
		h.turns++
		if turn.Mold {
			h.mold++
		}
	}
	text := sentence(t, r.Summary, "Mats sanitized with Drugstore peroxide")
	p := fisherP(after.mold, after.turns, before.mold, before.turns)
	l1, h1 := wilson(after.mold, after.turns)
	l2, h2 := wilson(before.mold, before.turns)
	p1, p2 := 100*float64(after.mold)/float64(after.turns), 100*float64(before.mold)/float64(before.turns)
	low, high := p1-p2-math.Hypot(p1-l1, h2-p2), p1-p2+math.Hypot(h1-p1, p2-l2) // Newcombe 1998, method 10
	when := first.In(f.Location())
	want = append([]string{when.Format("2"), when.Format("2006"), decimal(p1), decimal(p2), decimal(math.Abs(low)), decimal(math.Abs(high))}, chanceWords(p)...)
	require.Equal(t, want, numbers(text))
}

// The chart's limits are Shewhart's: mean and three standard deviations of a
// binomial share.
func TestChartIsTraced(t *testing.T) {
	f := worn(t)
	r := papers(f)["reuse"]
	s := section(t, r, "Mold week by week")
	turns, mold, marks, limits := column(t, s, "Finished turns"), column(t, s, "With mold"), column(t, s, "Mark"), column(t, s, "Upper limit")
	var n, x float64
	number := func(text string) (v float64) {
		_, err := fmt.Sscan(text, &v)
		require.NoError(t, err)
		return v
	}
	for i := range turns {
		n, x = n+number(turns[i]), x+number(mold[i])
	}
	above, weeks := 0, 0
	for i := range turns {
		k := number(turns[i])
		if k == 0 {
			continue
		}
		weeks++
		limit := min(1, x/n+3*math.Sqrt(x/n*(1-x/n)/k))
		require.Equal(t, decimal(100*limit)+" %", limits[i], "week %d", i)
		if number(mold[i])/k > limit {
			above++
			require.Equal(t, "above", marks[i])
		}
	}
	said := sentence(t, r.Summary, "than chance explains")
	require.Equal(t, fmt.Sprint(weeks), numbers(said)[len(numbers(said))-1-strings.Count(said, "long run")])
	if above > 0 {
		require.Equal(t, fmt.Sprint(above), numbers(said)[0])
	}
}

func TestForecastIsTraced(t *testing.T) {
	f := worn(t)
	r := papers(f)["reuse"]
	var obs []lifetime.Observation
	var ages []float64
	due, sowings := 0, 0
	for _, c := range f.mats() {
		obs = append(obs, lifetime.Observation{Turns: float64(c.Turn), Retired: c.Stage == medium.Retired})
		if c.Stage != medium.Retired && medium.Judge(c, f.Policy, f.now).Word == medium.RetireMat {
			due++
		} else if c.Stage != medium.Retired {
			ages = append(ages, float64(c.Turn))
		}
	}
	for _, s := range f.steps {
		if s.Kind == medium.KindSow && f.now.Sub(s.At) < 28*24*time.Hour {
			sowings++
		}
	}
	require.Zero(t, due)
	fit, err := lifetime.FitWeibull(obs, 0.95)
	require.NoError(t, err)
	plan := make([]float64, 12)
	for i := range plan {
		plan[i] = math.Round(float64(sowings)/4) / float64(len(ages))
	}
	out, err := lifetime.ForecastRetirements(fit, ages, lifetime.ForecastPlan{TurnsPerMat: plan, Replace: true, Runs: 2000}, rand.NewPCG(2026, 0))
	require.NoError(t, err)
	month := out.Weeks[3]
	require.Equal(t, []string{fmt.Sprint(month.SumMedian), "4", "95", fmt.Sprint(month.SumLow), fmt.Sprint(month.SumHigh)},
		numbers(sentence(t, r.Summary, "has to be replaced now")))
	paper, look := Forecast(ForecastInput{Origin: f.origin(), Mats: f.mats(), Tally: f.tally(), Spares: 2})
	require.Len(t, look.Weeks, 12)
	last := look.Weeks[11]
	require.Equal(t, []string{"12", fmt.Sprint(last.Buy), "95", fmt.Sprint(last.BuyLow), fmt.Sprint(last.BuyHigh)}, numbers(sentence(t, paper.Summary, "By the end of")))
	require.Equal(t, max(0, out.Weeks[11].SumMedian-2), last.Buy, "two spares need not be bought")
}

// Mats that come to the farm's own limit of turns are counted whatever their
// wear.
func TestForecastCountsTheTurnLimit(t *testing.T) {
	others, reach := Outlook{Limit: 10}.splitByLimit([]float64{9, 8, 3}, []float64{1, 0.5, 0.5})
	require.Equal(t, []float64{3}, others)
	require.Equal(t, []int{1, 1, 2}, reach)
	others, reach = Outlook{}.splitByLimit([]float64{9}, []float64{50})
	require.Len(t, others, 1, "no limit, no end")
	require.Equal(t, []int{0}, reach)
}

// The chances of all causes and the mats still in use add up, and the sentence
// has the curve's last figure (Aalen & Johansen 1978, by its definition).
func TestCausesAreTraced(t *testing.T) {
	f := worn(t)
	mats := f.mats()
	by := map[medium.Cause]float64{}
	count := map[medium.Cause]int{}
	left, last := 1.0, 0.0
	for _, row := range lifeTable(mats, "") {
		for _, c := range mats {
			if c.Stage == medium.Retired && float64(c.Turn) == row.turn {
				by[c.Cause] += left / row.atRisk
				count[c.Cause]++
				last = row.turn
			}
		}
		if row.atRisk > 0 {
			left *= 1 - row.retired/row.atRisk
		}
	}
	most := medium.CauseCut
	for _, c := range []medium.Cause{medium.CauseMold, medium.CauseWear} {
		if count[c] > count[most] {
			most = c
		}
	}
	r := papers(f)["retirement"]
	said := sentence(t, r.Summary, "By turn")
	require.Equal(t, []string{fmt.Sprint(last), decimal(100 * by[most]), "95"}, numbers(said)[:3])
	require.Contains(t, said, "retired for "+string(most))
	require.InDelta(t, 1, left+by[medium.CauseCut]+by[medium.CauseMold]+by[medium.CauseWear], 1e-12)
}

func TestEverySummarySentenceIsTraced(t *testing.T) {
	f := worn(t)
	// What the tests of this file and the ones beside it hold against figures of
	// their own; a new sentence needs a test of its own and a line here.
	known := []string{"has to be replaced now", "mats on file", "by the farm's own rules: ", "Mats in use have done", "Half of the mats are retired",
		"Mats of polyester last", "A turn on poly", "took the place of", "The mesh has cost", "Mold was found", "molds more often than", "chance explains",
		"Mats sanitized with", "Yield, adjusted for", "yield beyond chance", "Mean yield per harvest", "Washing took", "Without a dated", "Last sanitized by"}
	for _, said := range papers(f)["reuse"].Summary {
		require.True(t, slices.ContainsFunc(known, func(k string) bool { return strings.Contains(said, k) }), said)
	}
}

func TestTheReportSaysThatTurnsOfAMatAreNotIndependent(t *testing.T) {
	require.Contains(t, strings.Join(papers(worn(t))["reuse"].Method, " "), "Repeated turns of one mat are not independent")
}

func TestSeasonAndWeek(t *testing.T) {
	require.Equal(t, []string{"winter", "spring", "summer", "autumn"}, []string{season(1, false), season(5, false), season(8, false), season(11, false)})
	require.Equal(t, []string{"summer", "summer"}, []string{season(12, true), season(2, true)}, "south of the equator")
	monday := time.Date(2026, 11, 23, 1, 0, 0, 0, time.UTC)
	require.Equal(t, monday.Weekday(), time.Monday)
	require.Equal(t, weekOf(monday), weekOf(monday.AddDate(0, 0, 6)))
	require.Equal(t, weekOf(monday)+1, weekOf(monday.AddDate(0, 0, 7)))
	require.Equal(t, "2026-11-23", weekStart(weekOf(monday.AddDate(0, 0, 3))).Format(time.DateOnly))
}

// Harvests beyond what is kept thin out by whole mats.
func TestTallyKeepsBoundedHarvests(t *testing.T) {
	tally := NewTally(medium.Farm{}, start)
	for mat := range harvestsKept / 4 {
		for range 6 {
			tally.harvests = append(tally.harvests, lifetime.Harvest{Mat: fmt.Sprint(mat)})
		}
		if len(tally.harvests) > harvestsKept {
			tally.thin()
		}
	}
	require.LessOrEqual(t, len(tally.harvests), harvestsKept)
	require.Greater(t, len(tally.harvests), harvestsKept/3)
	require.Zero(t, len(tally.harvests)%6, "whole mats")
	require.Equal(t, 2, tally.every)
}
