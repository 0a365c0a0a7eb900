package report

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/lifetime"
)

var numberIn = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)

func numbers(s string) []string { return numberIn.FindAllString(s, -1) }

// claim is one kind of sentence and the figures it must hold, in order.
type claim struct {
	begins string
	want   []string
}

// traced checks that every sentence is one of the claims, with its figures, and
// that every claim is made.
func traced(t *testing.T, summary []string, claims []claim) {
	t.Helper()
	made := map[string]bool{}
	for _, said := range summary {
		found := false
		for _, c := range claims {
			if !regexp.MustCompile(c.begins).MatchString(said) {
				continue
			}
			require.False(t, found, "%q matches two claims", said)
			found, made[c.begins] = true, true
			require.Equal(t, c.want, numbers(loose(said)), said)
		}
		require.True(t, found, "no figure is known for %q", said)
	}
	for _, c := range claims {
		require.True(t, made[c.begins], "%q is not said in %q", c.begins, summary)
	}
}

// tally counts the ledger itself, step by step, past every voided one: another
// way to each figure than the conditions that the report is made from.
type tally struct {
	mats, retired, turns, ended, mold, priced, pricedTurns, undocumented, procedure int
	usedTurns, usedLeast, usedMost                                                  int
	cost                                                                            float64
	minutes                                                                         []float64
	yields                                                                          map[string][]float64
	harvests                                                                        []lifetime.Harvest
	pairs, weeks                                                                    int
	stages                                                                          map[medium.Stage]int
	words                                                                           map[medium.Word]int
}

func tallyOf(f *farm) tally {
	n := tally{yields: map[string][]float64{}, stages: map[medium.Stage]int{}, words: map[medium.Word]int{}, usedLeast: math.MaxInt}
	for _, c := range f.mats() {
		n.mat(f, c, f.thread(c.Code))
	}
	return n
}

func (n *tally) mat(f *farm, c medium.Condition, thread []medium.Step) {
	voided := map[uint64]bool{}
	for _, s := range thread {
		if b, ok := s.Body.(*medium.Correct); ok {
			voided[b.MatSeq] = true
		}
	}
	sown, retired, byFarm, documented, crop := 0, false, false, false, ""
	cost := 0.0
	molded, over, timed := map[int]bool{}, map[int]bool{}, map[int]float64{}
	for _, s := range thread {
		if voided[s.MatSeq] {
			continue
		}
		switch b := s.Body.(type) {
		case *medium.Add:
			cost, documented = b.Mat.Cost, b.Mat.ContactDate != "" && b.Mat.ContactStatement != ""
		case *medium.Sow:
			over[sown] = true // the turn before
			sown++
			crop = b.Crops[0].Crop
		case *medium.Harvest:
			n.yields[crop] = append(n.yields[crop], b.YieldG)
			n.harvests = append(n.harvests, lifetime.Harvest{Mat: string(c.Code), Mesh: c.Mat.Material, Crop: crop, Turn: float64(sown), PerSeed: b.YieldG / 20})
			over[sown] = true
		case *medium.Mold:
			molded[sown], over[sown] = true, true
		case *medium.Rinse:
			if sown > 0 && b.Minutes > 0 {
				timed[sown] += b.Minutes
			}
		case *medium.Sanitize:
			if s.Outcome.Accepted {
				byFarm = b.Product == "Drugstore peroxide"
			}
		case *medium.Retire:
			retired, over[sown] = true, true
		}
	}
	n.mats++
	n.turns += sown
	delete(over, 0)
	n.ended += len(over)
	n.mold += len(molded)
	for turn := range sown {
		if m, ok := timed[turn+1]; ok {
			n.minutes = append(n.minutes, m)
		}
	}
	if cost > 0 {
		n.priced++
		n.pricedTurns += sown
		n.cost += cost
	}
	if retired {
		n.retired++
		return
	}
	n.usedTurns += sown
	n.usedLeast, n.usedMost = min(n.usedLeast, sown), max(n.usedMost, sown)
	if !documented {
		n.undocumented++
	}
	if byFarm {
		n.procedure++
	}
	n.stages[c.Stage]++
	n.words[medium.Judge(c, f.Farm, f.now.In(f.Location())).Word]++
}

func decimal(v float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
}

// wilson is the score interval in percent: Wilson 1927, with the normal
// quantile 1.959964 of 95 %.
func wilson(hits, n int) (low, high float64) {
	z, p, m := 1.959964, float64(hits)/float64(n), float64(n)
	mid := p + z*z/(2*m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return 100 * (mid - half) / (1 + z*z/m), 100 * (mid + half) / (1 + z*z/m)
}

// garwood are the exact Poisson limits of retirements per 100 turns (Garwood
// 1936), by bisection on the sum of the Poisson terms.
func garwood(events, turns int) (low, high float64) {
	atMost := func(k int, mean float64) float64 {
		sum, term := 0.0, math.Exp(-mean)
		for i := 0; i <= k; i++ {
			sum += term
			term *= mean / float64(i+1)
		}
		return sum
	}
	solve := func(k int, chance float64) float64 {
		from, to := 0.0, 1000.0
		for range 200 {
			if mid := (from + to) / 2; atMost(k, mid) > chance {
				from = mid
			} else {
				to = mid
			}
		}
		return from
	}
	if events > 0 {
		low = solve(events-1, 0.975)
	}
	return 100 * low / float64(turns), 100 * solve(events, 0.025) / float64(turns)
}

func (n tally) claims() []claim {
	used := n.mats - n.retired
	low, high := wilson(n.mold, n.ended)
	i := func(values ...int) []string {
		var out []string
		for _, v := range values {
			out = append(out, fmt.Sprint(v))
		}
		return out
	}
	return []claim{
		{`^Replace \d+ mats? now`, i(n.words[medium.RetireMat], n.retired, 6)},
		{`^Too few mats are retired`, i(n.retired, n.turns)},
		{`^Whether reuse pays can't be said`, nil},
		{`^Mold was found`, []string{fmt.Sprint(n.mold), fmt.Sprint(n.ended), decimal(100 * float64(n.mold) / float64(n.ended)), "95", decimal(low), decimal(high), fmt.Sprint(n.weeks)}},
		{`^No material, crop`, i(n.pairs)},
		{`^Yield, adjusted for crop and seed`, n.trend()},
		{`^\d+ mats on file, `, i(n.mats, n.retired, used, n.words[medium.SowIt], n.words[medium.SowWithCare], n.words[medium.DoNotSow], n.words[medium.RetireMat])},
		{`^Without a dated food-contact statement`, i(n.undocumented, used)},
		{`^Last sanitized by the farm's own procedure`, i(n.procedure, used)},
	}
}

// mean is the mean of some measurements with the limits of Student's t, by the
// textbook's sums; quantile is that of 97.5 % at so many degrees of freedom.
func mean(values []float64, quantile float64) (m, low, high float64) {
	for _, v := range values {
		m += v / float64(len(values))
	}
	squares := 0.0
	for _, v := range values {
		squares += (v - m) * (v - m)
	}
	half := quantile * math.Sqrt(squares/float64(len(values)-1)/float64(len(values)))
	return m, m - half, m + half
}

// student is the 97.5 % quantile of Student's t with so many degrees of
// freedom, by bisection on Simpson's rule over its density.
func student(df float64) float64 {
	a, _ := math.Lgamma((df + 1) / 2)
	b, _ := math.Lgamma(df / 2)
	density := func(x float64) float64 {
		return math.Exp(a-b) / math.Sqrt(df*math.Pi) * math.Pow(1+x*x/df, -(df+1)/2)
	}
	below := func(x float64) float64 {
		const n = 2000
		sum := density(0) + density(x)
		for i := 1; i < n; i++ {
			sum += float64(2+2*(i%2)) * density(x*float64(i)/n)
		}
		return 0.5 + sum*x/n/3
	}
	low, high := 0.0, 100.0
	for range 60 {
		if mid := (low + high) / 2; below(mid) < 0.975 {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// trend is the slope in the words of the summary: Theil (1950) and Sen (1968),
// the median of the slopes of all pairs, by brute force; its interval is
// lifetime's, which has its own published checks.
func (n tally) trend() []string {
	usual := map[string][]float64{}
	for _, h := range n.harvests {
		usual[h.Crop] = append(usual[h.Crop], h.PerSeed)
	}
	middle := func(v []float64) float64 {
		slices.Sort(v)
		return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
	}
	for crop := range usual {
		middle(usual[crop])
	}
	var slopes []float64
	for i, a := range n.harvests {
		for _, b := range n.harvests[:i] {
			if a.Mat == b.Mat && a.Crop == b.Crop && a.Turn != b.Turn {
				slopes = append(slopes, 100*(a.PerSeed-b.PerSeed)/middle(usual[a.Crop])/(a.Turn-b.Turn))
			}
		}
	}
	yields, err := lifetime.CompareYields(n.harvests)
	if err != nil {
		panic(err)
	}
	trend, err := lifetime.FindTrend(yields.Series(), 0.95)
	if err != nil {
		panic(err)
	}
	two := func(v float64) string { return fmt.Sprintf("%.2f", math.Abs(v)) }
	return []string{two(middle(slopes)), "95", two(trend.Slope.Low), two(trend.Slope.High), fmt.Sprint(len(n.harvests))}
}

// rates reads the table of mold rates back: turns and turns with mold of every
// group, by what they are grouped.
func rates(t *testing.T, r Report) map[string][]lifetime.Count {
	t.Helper()
	out, by := map[string][]lifetime.Count{}, ""
	for _, row := range section(t, r, "Mold per finished turn").Rows {
		if row[0] != "" {
			by = row[0]
		}
		trials, err := strconv.Atoi(row[2])
		require.NoError(t, err)
		hits, err := strconv.Atoi(row[3])
		require.NoError(t, err)
		out[by] = append(out[by], lifetime.Count{Name: row[1], Hits: hits, Trials: trials})
	}
	return out
}

// pairsIn counts the pairs of groups with 10 turns or more of which at least
// one had mold.
func pairsIn(t *testing.T, r Report) int {
	n := 0
	for _, counts := range rates(t, r) {
		for i, a := range counts {
			for _, b := range counts[:i] {
				if a.Trials >= 10 && b.Trials >= 10 && a.Hits+b.Hits > 0 {
					n++
				}
			}
		}
	}
	return n
}

func weeksIn(t *testing.T, r Report) int {
	n := 0
	for _, turns := range column(t, section(t, r, "Mold week by week"), "Finished turns") {
		if turns != "0" {
			n++
		}
	}
	return n
}

func TestReuseSummaryIsTracedToTheLedger(t *testing.T) {
	f := small(t)
	r := papers(f)["reuse"]
	n := tallyOf(f)
	n.pairs, n.weeks = pairsIn(t, r), weeksIn(t, r)
	traced(t, r.Summary, n.claims())
}

var sentenceEnd = regexp.MustCompile(`[.] ([A-Z0-9])`)

// notes are the sentences beside the tables.
func notes(r Report) []string {
	var out []string
	for _, s := range r.Sections {
		text := sentenceEnd.ReplaceAllString(s.Note, ".\n$1")
		out = append(out, strings.Split(text, "\n")...)
	}
	return out
}

// The sentences beside the tables hold the ledger's figures too.
func TestReuseNotesAreTracedToTheLedger(t *testing.T) {
	f := small(t)
	n, said := tallyOf(f), notes(papers(f)["reuse"])
	used := n.mats - n.retired
	require.Equal(t, []string{decimal(float64(n.usedTurns) / float64(used)), fmt.Sprint(n.usedLeast), fmt.Sprint(n.usedMost)},
		numbers(sentence(t, said, "Mats in use have done")))
	require.Equal(t, []string{two(n.cost / float64(n.pricedTurns)), two(n.cost), fmt.Sprint(n.pricedTurns), fmt.Sprint(n.priced), fmt.Sprint(n.mats - n.priced)},
		numbers(sentence(t, said, "The mesh has cost")))
	require.InDelta(t, 2.228, student(10), 5e-4, "a t table: 10 degrees of freedom")
	m, low, high := mean(n.minutes, student(float64(len(n.minutes)-1)))
	require.Equal(t, []string{decimal(m), "95", decimal(low), decimal(high), fmt.Sprint(len(n.minutes))}, numbers(sentence(t, said, "Washing took")))
	crops := section(t, papers(f)["reuse"], "Crops")
	for i, crop := range column(t, crops, "Crop") {
		total := 0.0
		for _, g := range n.yields[crop] {
			total += g
		}
		require.Equal(t, fmt.Sprintf("%.0f g", total/float64(len(n.yields[crop]))), column(t, crops, "Mean yield per harvest")[i], crop)
		require.Equal(t, fmt.Sprint(len(n.yields[crop])), column(t, crops, "Weighed harvests")[i], crop)
	}
}

func column(t *testing.T, s Section, head string) []string {
	t.Helper()
	for i, c := range s.Columns {
		if c.Head != head {
			continue
		}
		var out []string
		for _, row := range s.Rows {
			out = append(out, loose(row[i]))
		}
		return out
	}
	t.Fatalf("%q has no column %q", s.Heading, head)
	return nil
}

func section(t *testing.T, r Report, heading string) Section {
	t.Helper()
	for _, s := range r.Sections {
		if strings.HasPrefix(s.Heading, heading) {
			return s
		}
	}
	t.Fatalf("no section %q", heading)
	return Section{}
}

// The tables say the same as the sentences.
func TestReuseTablesAddUp(t *testing.T) {
	f := small(t)
	n := tallyOf(f)
	r := papers(f)["reuse"]
	sumOf := func(values []string) int {
		total := 0
		for _, v := range values {
			x, err := strconv.Atoi(strings.Fields(v)[0])
			require.NoError(t, err)
			total += x
		}
		return total
	}
	stages := column(t, section(t, r, "Mats by stage"), "Mats")
	require.Equal(t, n.mats*2, sumOf(stages), "the stages and their sum")
	meshes := section(t, r, "Mats by mesh")
	for head, want := range map[string]int{"Mats": n.mats, "Turns": n.turns, "In use without contact statement": n.undocumented} {
		values := column(t, meshes, head)
		last := len(values) - 1
		require.Equal(t, want, sumOf(values[:last]), head)
		require.Equal(t, want, sumOf(values[last:]), head)
	}
	for by, counts := range rates(t, r) {
		ended, mold := 0, 0
		for _, c := range counts {
			ended, mold = ended+c.Trials, mold+c.Hits
		}
		require.Equal(t, []int{n.ended, n.mold}, []int{ended, mold}, "every finished turn is in one group by %s", by)
	}
	each := section(t, r, "Each mat in use")
	require.Len(t, each.Rows, n.mats-n.retired)
	require.Equal(t, n.usedTurns, sumOf(column(t, each, "Turns")))
	require.Equal(t, n.ended, func() (total int) {
		for _, v := range column(t, section(t, r, "Crops"), "Finished turns with mold") {
			x, _ := strconv.Atoi(strings.Fields(v)[2])
			total += x
		}
		return total
	}())
}

func TestTooLittleDataGivesWords(t *testing.T) {
	f := newFarm(t)
	said := func() string { return loose(strings.Join(papers(f)["reuse"].Summary, " ")) }
	require.Contains(t, said(), "No mats are on file yet")
	require.Empty(t, numbers(said()))
	beside := func() string { return loose(strings.Join(notes(papers(f)["reuse"]), " ")) }

	f.do(code(1), addMat(0))
	require.Contains(t, said(), "1 mat on file")
	require.Contains(t, said(), "No mat has been sown on yet.")
	require.Contains(t, beside(), "Mats with a price on file: 1, with 0 turns in all; too few")

	f.wash(code(1), label())
	for n := range 9 {
		f.turn(code(1), "pea", "L", "shelf", 200, label())
		if n == 0 {
			require.Equal(t, []string{"too few"}, column(t, section(t, papers(f)["reuse"], "Crops"), "Mean yield per harvest"))
		}
	}
	require.Contains(t, said(), "Mold was found in 0 of 9 turns, too few turns to state a rate.")
	require.NotContains(t, beside(), "has cost")
	f.turn(code(1), "pea", "L", "shelf", 200, label())
	require.Contains(t, said(), "Mold was found in 0 of 10 turns (0 %; 95 % interval 0 to 27.8 %); too few weeks with harvests (10) for a control chart.", "Wilson 1927: z2/(n+z2) for none of ten")
	require.Contains(t, beside(), "The mesh has cost 0.42 EUR per turn so far: 4.20 EUR over 10 turns of 1 mat.")
	require.Equal(t, []string{"200 g"}, column(t, section(t, papers(f)["reuse"], "Crops"), "Mean yield per harvest"))
}

func TestAFarmWithOnlyRetiredMats(t *testing.T) {
	f := newFarm(t)
	for i := range 5 {
		f.do(code(i), addMat(0))
		f.do(code(i), &medium.Retire{Cause: medium.CauseLost})
		r := papers(f)["reuse"]
		require.Contains(t, strings.Join(r.Summary, " "), "none in use")
		require.NotContains(t, strings.Join(notes(r), " "), "Mats in use have done")
	}
}

func TestMoldBeforeTheFirstSowingBelongsToNoTurn(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	f.do(code(1), &medium.Mold{Where: "mat", Seen: "in store"})
	require.Equal(t, 0, moldTurns(f.conditions[code(1)]))
}

func TestUnitsOfTheFarm(t *testing.T) {
	require.Equal(t, "16.0 oz", loose(mass(453.59237, medium.US).text), "NIST SP 811: 1 lb is 453.59237 g, 16 oz")
	require.Equal(t, "200 g", loose(mass(200, medium.Metric).text))
}

func TestTurnsOfAThread(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	f.do(code(1), &medium.Rinse{Debris: medium.DebrisNone, Minutes: 9}) // before the first sowing: no turn's time
	f.hours(3)
	f.do(code(1), &medium.Dry{Where: medium.DryAir})
	san := label()
	f.do(code(1), &san)
	f.hours(3)
	f.do(code(1), &medium.Dry{Where: medium.DryAir})
	f.sow(code(1), "pea", "L1", "A")
	f.do(code(1), &medium.Harvest{YieldG: 100})
	f.do(code(1), &medium.Rinse{Debris: medium.DebrisTraces, Minutes: 2})
	f.do(code(1), &medium.Rinse{Debris: medium.DebrisNone, Minutes: 1})
	seq := f.do(code(1), &medium.Mold{Where: "edge"}).MatSeq
	want := Turn{Number: 1, Crop: "pea", Place: "A", Sanitizer: "Dairy Rinse 5", SeedG: 20, YieldG: 100, Whole: true, Minutes: 3, Mold: true, SownAt: f.now, EndedAt: f.now}
	require.Equal(t, []Turn{want}, appendTurns(nil, f.thread(code(1))))
	f.correct(code(1), seq, "it was root hair")
	want.Mold = false
	require.Equal(t, []Turn{want}, appendTurns(nil, f.thread(code(1))))
}

func TestSpread(t *testing.T) {
	for want, in := range map[spread][]int{
		{}: nil,
		{n: 1, sum: 4, least: 4, most: 4, median: 4}:     {4},
		{n: 4, sum: 19, least: 1, most: 10, median: 4}:   {10, 1, 5, 3},
		{n: 3, sum: 106, least: 1, most: 100, median: 5}: {5, 100, 1},
	} {
		require.Equal(t, want, spreadOf(in))
	}
}

func TestTimesAreTheFarms(t *testing.T) {
	f := newFarm(t)
	f.now = time.Date(2026, 7, 1, 22, 30, 0, 0, time.UTC)
	require.Equal(t, "2 Jul 2026 00:30 CEST", papers(f)["reuse"].stamp())
}

// The list of mats keeps the first by code, whatever their order, and counts
// the others.
func TestListingKeepsTheFirstByCode(t *testing.T) {
	l := listing{most: 3}
	for i := range 20 {
		l.add(medium.Condition{Code: medium.Code(fmt.Sprintf("T%02d", (i*7)%20))})
	}
	var codes []string
	for _, c := range l.sorted() {
		codes = append(codes, string(c.Code))
	}
	require.Equal(t, []string{"T00", "T01", "T02"}, codes)
	require.Equal(t, 17, l.left)
}

// A rate of retirements is given as turns for each retired mat, with the exact
// limits (Garwood 1936) as turns too; none retired is said in words.
func TestTurnsForEachRetiredMatAreTraced(t *testing.T) {
	f := small(t)
	n := tallyOf(f)
	require.Positive(t, n.retired)
	rates := column(t, section(t, papers(f)["reuse"], "How long mats last, by material"), "Turns for each retired mat (exact 95 % interval)")
	low, high := garwood(n.retired, n.turns)
	require.Equal(t, fmt.Sprintf("%s (%s to %s)", decimal(float64(n.turns)/float64(n.retired)), decimal(100/high), decimal(100/low)), loose(rates[len(rates)-1]))

	one := newFarm(t)
	one.do(code(1), addMat(0))
	one.wash(code(1), label())
	one.turn(code(1), "pea", "L1", "A", 200, label())
	r := papers(one)["reuse"]
	require.Equal(t, []string{"none in 1 turn"}, column(t, section(t, r, "How long mats last, by material"), "Turns for each retired mat (exact 95 % interval)"))
	require.Contains(t, loose(strings.Join(r.Summary, " ")), "No mat is retired yet, so how long a mat lasts can't be said; the mats have made 1 turn in all.")
	one.do(code(2), addMat(0))
	one.do(code(2), &medium.Retire{Cause: medium.CauseLost})
	said := loose(strings.Join(papers(one)["reuse"].Summary, " "))
	require.Contains(t, said, "too few retired mats that were sown on (0 so far, at least 6 needed)")
	require.Contains(t, said, "Too few mats are retired to say how long a mat lasts: 1 so far, in 1 turn of all mats together.")
}

// Three mats, one of them retired, one turn each: the reports say what little
// there is in plain words, without tables of dashes or notes on nothing.
func TestATinyFarmReadsWell(t *testing.T) {
	f := newFarm(t)
	for i := range 3 {
		f.do(code(i), addMat(0))
		f.wash(code(i), label())
		f.turn(code(i), "pea", "L1", "A", 200, label())
	}
	f.do(code(2), &medium.Retire{Cause: medium.CauseWear})
	r := papers(f)["reuse"]
	said := loose(strings.Join(append(slices.Clone(r.Summary), notes(r)...), " "))
	require.Contains(t, said, "too few retired mats that were sown on (1 so far, at least 6 needed)")
	require.Contains(t, said, "1 so far, in 3 turns of all mats together")
	require.Contains(t, said, "1 clear to sow on now, 0 with care, 1 not clear")
	require.Contains(t, said, "Each mat in use has done 1 turn so far.")
	require.Equal(t, []string{"3 (0.5 to 118.5)"}, column(t, section(t, r, "How long mats last, by material"), "Turns for each retired mat (exact 95 % interval)"),
		"the tester's 25 in 100 turns, 0.6 to 139.3, is not read as a percentage")
	cost := section(t, r, "What a turn costs")
	require.Empty(t, cost.Rows)
	require.Equal(t, "No cost of a turn can be stated: no price of the medium on file.", cost.Empty)
	require.NotContains(t, drawnWith(t, drawText, r), "all 0 pairs")

	gone := papers(f)["retirement"]
	require.Contains(t, gone.Summary, "No mat in use is due to be retired by the farm's own rules.")
	require.Contains(t, gone.Summary, "No mat is near a limit.")
	for name, paper := range papers(f) {
		text := loose(drawnWith(t, drawText, paper))
		for _, wrong := range []string{"1 mats", "1 turns each", "1 steps", "1 rinses", "of 1 needed", "-0", "\u22120 ", "e+0", "e-0"} {
			require.NotContains(t, text, wrong, name)
		}
	}
}
