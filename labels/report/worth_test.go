package report

import (
	"cmp"
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
	f.Prices = medium.Prices{LaborPerHour: 12, MediumPerTray: 1.5, MediumGPerTray: 40, SanitizerPerTurn: 0.05, WaterPerTurn: 0.02, LabelPerMat: 0.3}
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

// lastSeen is the last turn in which a mat of the material was in use.
func lastSeen(mats []medium.Condition, material string) float64 {
	last := 0.0
	for _, c := range mats {
		if c.Mat.Material == material {
			last = max(last, float64(c.Turn))
		}
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
	halfSaid := livesOf(censusOf(slices.Values(mats)), byMaterial).all.sayHalf()
	require.Equal(t, decimal(reached), numbers(halfSaid)[0])
	low, high := medianLimits(lifeTable(mats, ""))
	require.Equal(t, []string{"95", low, high}, numbers(halfSaid)[1:])
	all := column(t, section(t, papers(f)["reuse"], "How long mats last, by material"), "Half are retired by turn")
	require.Equal(t, []string{decimal(reached), low, high}, numbers(all[len(all)-1]))
}

// medianLimits are the first turns at which the lower and the upper log-log
// limit of the curve fall to one half (Brookmeyer & Crowley 1982), with
// Greenwood's variance by its sum.
func medianLimits(table []step) (low, high string) {
	s, sum := 1.0, 0.0
	low, high = "not reached", "not reached"
	for _, row := range table {
		if row.retired == 0 {
			continue
		}
		s *= 1 - row.retired/row.atRisk
		if row.atRisk == row.retired {
			break
		}
		sum += row.retired / (row.atRisk * (row.atRisk - row.retired))
		w := math.Exp(1.959964 * math.Sqrt(sum) / math.Abs(math.Log(s)))
		if math.Pow(s, w) <= 0.5 && low == "not reached" {
			low = decimal(row.turn)
		}
		if math.Pow(s, 1/w) <= 0.5 && high == "not reached" {
			high = decimal(row.turn)
		}
	}
	return low, high
}

func TestCostIsTraced(t *testing.T) {
	f := worn(t)
	n := tallyOf(f)
	washed, washedLow, washedHigh := mean(n.minutes, student(float64(len(n.minutes)-1)))
	mats := f.mats()
	for material, price := range map[string]float64{"polyester": 4.2, "polypropylene": 2.9} {
		table := lifeTable(mats, material)
		life, variance := area(table, lastSeen(mats, material))
		se := 1.959964 * math.Sqrt(variance)
		up := price + 0.3 // and the label
		running := func(minutes float64) float64 { return 0.05 + 0.02 + 12*minutes/60 }
		paid := func(minutes float64) string { return fmt.Sprint(math.Ceil(up / (1.5 - running(minutes)))) }
		alive, sum := 1.0, 0.0 // just before the turn at which it is paid for
		for _, row := range table {
			if row.turn < math.Ceil(up/(1.5-running(washed))) && row.atRisk > 0 {
				alive *= 1 - row.retired/row.atRisk
				sum += row.retired / (row.atRisk * (row.atRisk - row.retired))
			}
		}
		wide := math.Exp(1.959964 * math.Sqrt(sum) / math.Abs(math.Log(alive)))
		perTurn, cheap, dear := up/life+running(washed), up/(life+se)+running(washedLow), up/(life-se)+running(washedHigh)
		said := sentence(t, papers(f)["reuse"].Summary, "euse of "+material)
		require.Equal(t, []string{two(perTurn), two(cheap), two(dear), "95", "1.50",
			paid(washed), paid(washedLow), paid(washedHigh), decimal(100 * alive), decimal(100 * math.Pow(alive, wide)), decimal(100 * math.Pow(alive, 1/wide))},
			numbers(said))
		require.Equal(t, dear < 1.5, strings.HasPrefix(said, "Reuse of "+material+" pays:"), "it pays only where the dear end of its interval is under the medium's price")
	}
	mass := sentence(t, notes(papers(f)["reuse"]), "took the place of")
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
		turns = append(turns, appendTurns(nil, f.thread(c.Code))...)
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
	tail := numbers(sentence(t, r.Summary, "Mold was found"))[6:]
	if above == 0 {
		require.Equal(t, fmt.Sprint(weeks), tail[0])
		return
	}
	require.Equal(t, []string{fmt.Sprint(above), fmt.Sprint(weeks)}, tail[:2])
}

// A week with far more mold than the others is said, with how often chance
// alone marks one: one less the chance that no week of the chart is marked,
// each week's turns drawn at the mean share.
func TestAMarkedWeekIsTraced(t *testing.T) {
	tally := NewTally(medium.Farm{}, start)
	const weeks, each = 24, 40
	moldy := map[int]int{9: 12}
	total := 0
	for w := range weeks {
		n := 1
		if k, ok := moldy[w]; ok {
			n = k
		}
		total += n
		tally.weeks[w] = lifetime.Week{Turns: each, Moldy: n}
		tally.ended = sumWeeks(tally.ended, tally.weeks[w])
	}
	m := moldsOf(tally)
	said := sentence(t, m.say(), "Mold was found")
	low, high := wilson(total, weeks*each)
	p := float64(total) / (weeks * each)
	require.Equal(t, []string{fmt.Sprint(total), fmt.Sprint(weeks * each), decimal(100 * p), "95", decimal(low), decimal(high), "1", fmt.Sprint(weeks), decimal(100 * m.chart.FalseAlarmChance)}, numbers(said))
	limit := p + 3*math.Sqrt(p*(1-p)/each)
	within, term := 0.0, math.Pow(1-p, each) // binomial chance of a week within the limits
	for k := 0; float64(k) <= limit*each; k++ {
		within += term
		term *= float64(each-k) / float64(k+1) * p / (1 - p)
	}
	require.GreaterOrEqual(t, m.chart.FalseAlarmChance, 1-math.Pow(within, weeks)-1e-9, "long runs add to the marks of single weeks")
	require.Less(t, m.chart.FalseAlarmChance, 1.0)
}

// lifeOf fits mats of a material (all for none) that were sown on.
func lifeOf(t *testing.T, mats []medium.Condition, material string) lifetime.Fit {
	var obs []lifetime.Observation
	for _, c := range mats {
		if c.Turn > 0 && (material == "" || c.Mat.Material == material) {
			obs = append(obs, lifetime.Observation{Turns: float64(c.Turn), Retired: c.Stage == medium.Retired})
		}
	}
	fit, err := lifetime.FitWeibull(obs, 0.95)
	require.NoError(t, err)
	return fit
}

// usedTurns are the turns of the mats in use of a material.
func usedTurns(mats []medium.Condition, material string) (ages []float64) {
	for _, c := range mats {
		if c.Stage != medium.Retired && c.Mat.Material == material {
			ages = append(ages, float64(c.Turn))
		}
	}
	return ages
}

// pace is the sowings a week of the last four weeks.
func (f *farm) pace() float64 {
	n := 0
	for _, s := range f.steps {
		if s.Kind == medium.KindSow && f.now.Sub(s.At) < 28*24*time.Hour {
			n++
		}
	}
	return math.Round(float64(n) / 4)
}

func TestForecastIsTraced(t *testing.T) {
	f := worn(t)
	mats := f.mats()
	r := papers(f)["reuse"]
	inUse := 0
	for _, c := range mats {
		if c.Stage != medium.Retired {
			inUse++
			require.NotEqual(t, medium.RetireMat, medium.Judge(c, f.Farm, f.now).Word)
		}
	}
	plan := make([]float64, 12)
	for i := range plan {
		plan[i] = f.pace() / float64(inUse)
	}
	var kinds []lifetime.Kind
	for _, material := range []string{"polyester", "polypropylene"} { // each has more than 6 retired mats
		if ages := usedTurns(mats, material); len(ages) > 0 {
			kinds = append(kinds, lifetime.Kind{Fit: lifeOf(t, mats, material), Ages: ages})
		}
	}
	out, err := lifetime.ForecastRetirements(kinds, lifetime.ForecastPlan{TurnsPerMat: plan, Replace: true, Runs: 2000}, rand.NewPCG(2026, 0))
	require.NoError(t, err)
	month := out.Weeks[3]
	n := func(v int) string { return fmt.Sprint(v) }
	said := sentence(t, r.Summary, "within 4 weeks")
	want := []string{"4", "95", n(month.SumLow), n(month.SumHigh), n(month.SumMedian), n(month.SumLow), n(month.SumHigh)}
	if month.SumMedian > 0 {
		want = append([]string{n(month.SumMedian)}, want...)
	}
	require.Equal(t, want, numbers(said))
	require.Equal(t, month.SumMedian == 0, strings.HasPrefix(said, "Probably no mat has to be replaced"))
	in := ForecastInput{Origin: f.origin(), Mats: slices.Values(mats), Sown: f.tally().recent, Spares: 2}
	paper, look := Forecast(in), in.look(in.census())
	require.Len(t, look.Weeks, 12)
	last := look.Weeks[11]
	require.Equal(t, []string{"12", n(last.Buy), "95", n(last.BuyLow), n(last.BuyHigh)}, numbers(sentence(t, paper.Summary, "By the end of")))
	require.Equal(t, max(0, out.Weeks[11].SumMedian-2), last.Buy, "two spares need not be bought")
	for _, k := range kinds[:1] { // polyester
		mean, err := k.Fit.MeanLife()
		require.NoError(t, err)
		require.Equal(t, []string{decimal(mean.Value), "95", decimal(mean.Low), decimal(mean.High), n(k.Fit.Retired)},
			numbers(sentence(t, paper.Summary, "Mean life of polyester in this forecast")))
	}
}

// A material with too few retired mats goes by the life of all mats together,
// and the paper says so.
func TestForecastPoolsWhatIsTooFew(t *testing.T) {
	f := worn(t)
	mats := f.mats()
	steel := mats[slices.IndexFunc(mats, func(c medium.Condition) bool { return c.Stage != medium.Retired })]
	steel.Code, steel.Mat.Material = "ZZ", "stainless steel"
	in := ForecastInput{Origin: f.origin(), Mats: slices.Values(append(slices.Clone(mats), steel)), Sown: f.tally().recent}
	paper, look := Forecast(in), in.look(in.census())
	require.Len(t, look.lives, 2, "polypropylene is all retired")
	require.Equal(t, []string{"polyester", allMats}, []string{look.lives[0].name, look.lives[1].name})
	require.Equal(t, []string{"stainless steel"}, look.lives[1].materials)
	said := sentence(t, paper.Summary, "Mean life of stainless steel")
	require.Contains(t, said, "that of all mats, since none can be fitted to its own")
	mean, err := lifeOf(t, append(slices.Clone(mats), steel), "").MeanLife()
	require.NoError(t, err)
	require.Equal(t, []string{decimal(mean.Value), "95", decimal(mean.Low), decimal(mean.High)}, numbers(said))
}

// One mat: the fitted life of its material, beyond its own turns.
func TestTurnsLeftAreTraced(t *testing.T) {
	f := worn(t)
	mats := f.mats()
	fit := lifeOf(t, mats, "polyester")
	at := slices.IndexFunc(mats, func(c medium.Condition) bool {
		return c.Mat.Material == "polyester" && c.Stage != medium.Retired
	})
	mat := mats[at]
	paper := ForecastInput{Origin: f.origin(), Mats: slices.Values(mats)}.Left(mat)
	left := paper.Figures["median_left_turns"].(interval)
	// Half of those that outlast a turn a outlast the turn m more at which the
	// conditional survival S(a+m)/S(a) is one half.
	low, high := 0.0, 1e4
	for range 200 {
		if m := (low + high) / 2; fit.Survival(float64(mat.Turn)+m)/fit.Survival(float64(mat.Turn)) > 0.5 {
			low = m
		} else {
			high = m
		}
	}
	require.InDelta(t, low, left.Value, 1e-6)
	said := sentence(t, paper.Summary, "Half of such mats make")
	require.Equal(t, []string{fmt.Sprint(mat.Turn), decimal(low), "95", decimal(left.Low.(float64)), decimal(left.High.(float64))}, numbers(strings.ReplaceAll(said, mat.Code.String(), "it"))[0:5])
	require.Contains(t, said, "by the fitted life of polyester")
	row := slices.Index(column(t, section(t, papers(f)["reuse"], "Each mat in use"), "Code"), loose(mat.Code.String()))
	require.Equal(t, fmt.Sprintf("%.0f (%.0f to %.0f)", left.Value, left.Low, left.High),
		column(t, section(t, papers(f)["reuse"], "Each mat in use"), "Further turns")[row])

	gone := ForecastInput{Origin: f.origin(), Mats: slices.Values(mats)}.Left(medium.Condition{Code: "X", Stage: medium.Retired})
	require.Equal(t, "it is retired", gone.Figures["why_not_known"])
	paper = ForecastInput{Origin: f.origin(), Mats: slices.Values(mats[:3])}.Left(mat)
	require.Contains(t, paper.Summary[0], "can't be said: too few retired mats")
}

// Suppliers are held against each other as materials are, unless each sold one
// material and the two are the same thing.
func TestSuppliersAreTraced(t *testing.T) {
	f := worn(t)
	mats := f.mats()
	bySupplier := make([]medium.Condition, len(mats)) // the supplier where lifeTable looks for the material
	for i := range mats {
		mats[i].Mat.Supplier = []string{"North Mesh", "South Mesh"}[i%10/7]
		bySupplier[i] = mats[i]
		bySupplier[i].Mat.Material = mats[i].Mat.Supplier
	}
	r := Reuse(ReuseInput{Origin: f.origin(), Mats: slices.Values(mats), Tally: f.tally()})
	s := section(t, r, "Suppliers against each other")
	a, b := lifeTable(bySupplier, "North Mesh"), lifeTable(bySupplier, "South Mesh")
	require.Equal(t, chanceWords(logRank(a, b)), numbers(column(t, s, "Corrected p")[0]))
	until := min(lastTurn(a), lastTurn(b))
	meanA, _ := area(a, until)
	meanB, _ := area(b, until)
	require.Equal(t, two(max(meanA/meanB, meanB/meanA)), numbers(column(t, s, "Times as long (95 % interval)")[0])[0])
	require.Len(t, section(t, r, "Mats still in use after so many turns, by supplier").Plots, 2)

	for i := range mats {
		mats[i].Mat.Supplier = map[string]string{"polyester": "North Mesh", "polypropylene": "South Mesh"}[mats[i].Mat.Material]
	}
	r = Reuse(ReuseInput{Origin: f.origin(), Mats: slices.Values(mats), Tally: f.tally()})
	require.Contains(t, section(t, r, "How long mats last, by supplier").Note, "can't tell supplier and material apart")
	for _, s := range r.Sections {
		require.NotEqual(t, "Suppliers against each other", s.Heading)
	}
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
	said := sentence(t, r.Summary, "by turn")
	require.Equal(t, []string{fmt.Sprint(last), decimal(100 * by[most]), "95"}, numbers(said)[:3])
	require.Contains(t, said, "retired for a "+string(most))
	require.InDelta(t, 1, left+by[medium.CauseCut]+by[medium.CauseMold]+by[medium.CauseWear], 1e-12)
}

func TestEverySummarySentenceIsTraced(t *testing.T) {
	f := worn(t)
	// What the tests of this file and the ones beside it hold against figures of
	// their own; a new sentence needs a test of its own and a line here.
	known := []string{"within 4 weeks", "mats on file", "Mats of polyester last", "euse of polyester", "euse of polypropylene", "Mold was found", "molds more often than",
		"Mats sanitized with", "Yield, adjusted for", "yield beyond chance", "Without a dated", "Last sanitized by"}
	summary := papers(f)["reuse"].Summary
	require.LessOrEqual(t, len(summary), 11, "a summary is read, a list is not")
	for _, said := range summary {
		require.True(t, slices.ContainsFunc(known, func(k string) bool { return strings.Contains(said, k) }), said)
	}
}

// A mat that loses yield is named: Mann-Kendall by its definition, without
// ties, and Holm's correction for all mats tested.
func TestMatsThatLoseYieldAreTraced(t *testing.T) {
	f := worn(t)
	type mat struct {
		code medium.Code
		p    float64
		down bool
	}
	usual, harvests := map[string][]float64{}, tallyOf(f).harvests
	for _, h := range harvests {
		usual[h.Crop] = append(usual[h.Crop], h.PerSeed)
	}
	var tested []mat
	for _, c := range f.mats() {
		series, n, slopes := map[string][]lifetime.Harvest{}, 0, []float64{}
		for _, h := range harvests {
			if h.Mat == string(c.Code) {
				series[h.Crop] = append(series[h.Crop], h)
			}
		}
		s, variance, exact := 0.0, 0.0, true
		distribution := map[int]float64{0: 1}
		for crop, list := range series {
			if len(list) < 2 {
				continue
			}
			n += len(list)
			k := float64(len(list))
			ties := map[float64]float64{}
			for i, a := range list {
				ties[a.PerSeed]++
				for _, b := range list[:i] {
					sign := 0.0
					switch {
					case (a.PerSeed-b.PerSeed)*(a.Turn-b.Turn) > 0:
						sign = 1
					case a.PerSeed != b.PerSeed:
						sign = -1
					}
					s += sign
					slopes = append(slopes, (a.PerSeed-b.PerSeed)/middleOf(usual[crop])/(a.Turn-b.Turn))
				}
			}
			variance += k * (k - 1) * (2*k + 5) / 18
			for _, t := range ties {
				variance -= t * (t - 1) * (2*t + 5) / 18
				exact = exact && t == 1
			}
			for m := 2; m <= len(list); m++ { // sums of +1 and -1 over all orders
				next := map[int]float64{}
				for sum, p := range distribution {
					for falling := range m {
						next[sum+(m-1)-2*falling] += p / float64(m)
					}
				}
				distribution = next
			}
		}
		if n < 5 || len(slopes) == 0 {
			continue
		}
		p := math.Erfc(math.Max(0, math.Abs(s)-1) / math.Sqrt(variance) / math.Sqrt2)
		if exact {
			p = 0
			for sum, chance := range distribution {
				if math.Abs(float64(sum)) >= math.Abs(s) {
					p += chance
				}
			}
		}
		tested = append(tested, mat{c.Code, p, middleOf(slopes) < 0})
	}
	slices.SortStableFunc(tested, func(a, b mat) int { return cmp.Compare(a.p, b.p) })
	adjusted, losing := 0.0, []string{}
	for i, m := range tested {
		adjusted = max(adjusted, min(1, m.p*float64(len(tested)-i)))
		if adjusted <= 0.05+1e-12 && m.down {
			losing = append(losing, m.code.String())
		}
	}
	t.Logf("%d mats tested, least p %.4f", len(tested), tested[0].p)
	summary := papers(f)["reuse"].Summary
	if len(losing) == 0 {
		require.NotContains(t, strings.Join(summary, " "), "yield beyond chance")
		losing = nil
	} else {
		said := sentence(t, summary, "yield beyond chance")
		require.True(t, strings.HasPrefix(said, fmt.Sprintf("%d mat", len(losing))), said)
		for _, code := range losing[:min(len(losing), 6)] {
			require.Contains(t, said, code)
		}
	}
	require.Equal(t, len(losing), len(yieldsOf(f.tally()).losing))
}

func middleOf(values []float64) float64 {
	v := slices.Sorted(slices.Values(values))
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
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

// The medium that the turns would have used, less the mats thrown away
// meanwhile, each mat by the share of a tray that it fills.
func TestMassAvoidedIsTraced(t *testing.T) {
	f := newFarm(t)
	f.Prices.MediumGPerTray = 40
	small, large := meshes[2], meshes[0] // half the size of a tray's mat, and all of it
	large.DryWeightG = 31
	var list []medium.Condition
	for i := range 6 {
		list = append(list, medium.Condition{Code: code(i), Stage: medium.Ready, Turn: 100, Mat: large})
	}
	list[0].Stage, list[1].Stage = medium.Retired, medium.Retired
	list[1].Mat.DryWeightG = 0 // not weighed: taken to weigh what the other does
	list = append(list, medium.Condition{Code: code(6), Stage: medium.Ready, Turn: 100, Mat: small})
	c := costsOf(f.Farm, censusOf(slices.Values(list)), lives{}, NewTally(f.Farm, start))
	mediumKg := (600 + 100*(250.0*250)/(510*250)) * 40 / 1000
	require.Equal(t, []string{"700", decimal(mediumKg), "2", decimal(0.062), decimal(mediumKg - 0.062)}, numbers(c.sayMass()))
}

// A tally and a pace need only the kinds of step that they name.
func TestKindsThatATallyNeeds(t *testing.T) {
	f := Origin{Farm: medium.Farm{Settings: medium.FarmSettings{Zone: "Europe/Berlin"}}, At: start.AddDate(0, 1, 0)}
	all, some := NewTally(f.Farm, f.At), NewTally(f.Farm, f.At)
	sown, seen := 0, map[medium.Kind]bool{}
	of := func(thread []medium.Step, kinds []medium.Kind) (out []medium.Step) {
		for _, s := range thread {
			seen[s.Kind] = true
			if slices.Contains(kinds, s.Kind) {
				out = append(out, s)
			}
		}
		return out
	}
	manyMats(400, func(thread []medium.Step) {
		all.Add(thread)
		some.Add(of(thread, TallyKinds()))
		sown += Sown(of(thread, PaceKinds()), f.At)
	})
	require.Equal(t, all, some)
	require.Equal(t, all.recent, sown)
	require.NotZero(t, sown)
	for _, kind := range TallyKinds() {
		require.True(t, seen[kind] || kind == medium.KindInspect || kind == medium.KindCorrect, "no mat with %s: the test does not show that it is needed", kind)
	}
	thread := []medium.Step{{MatSeq: 1, Kind: medium.KindSow, At: f.At, Body: &medium.Sow{}}, {MatSeq: 2, Kind: medium.KindCorrect, Body: &medium.Correct{MatSeq: 1}}}
	require.Equal(t, 1, Sown(thread[:1], f.At))
	require.Zero(t, Sown(thread, f.At))
}
