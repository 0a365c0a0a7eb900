package report

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/trace"
)

// The columns that the produce safety rule asks for: 21 CFR 112.161(a)(1)(i) to
// (v), (a)(2), (a)(4), (b) and 112.140(b), as in the eCFR of June 2026. The
// farm's name and place, (a)(1)(i), stand at the head of every page.
func TestSanitationHasEveryFieldThatTheRuleAsksFor(t *testing.T) {
	f := small(t)
	r := papers(f)["sanitation"]
	steps := section(t, r, "Cleaning and sanitizing steps")
	require.NotEmpty(t, steps.Rows)
	for _, want := range []struct{ paragraph, head, asks string }{
		{"21 CFR 112.161(a)(1)(ii)", "Product", "actual values and observations"},
		{"21 CFR 112.161(a)(1)(ii)", "ppm", "actual values and observations"},
		{"21 CFR 112.161(a)(1)(ii)", "Contact", "actual values and observations"},
		{"21 CFR 112.161(a)(1)(ii)", "Other values", "actual values and observations"},
		{"21 CFR 112.161(a)(1)(iii)", "Crop and lot before", "commodity and lot"},
		{"21 CFR 112.161(a)(1)(iv)", "Place", "growing or other area"},
		{"21 CFR 112.161(a)(1)(v)", "Date and time", "date and time"},
		{"21 CFR 112.161(a)(2)", "Result", "made at the time: late entries are flagged"},
		{"21 CFR 112.161(b)", "Reviewed", "review by a supervisor"},
		{"21 CFR 112.161(a)(4)", "By", "initials of the person"},
		{"21 CFR 112.140(b)", "Method", "date and method of cleaning and sanitizing"},
	} {
		i := slices.IndexFunc(steps.Columns, func(c Column) bool { return c.Head == want.head })
		require.GreaterOrEqual(t, i, 0, "%s asks for %s", want.paragraph, want.asks)
		require.Equal(t, want.paragraph, steps.Columns[i].Cite, want.head)
		for _, row := range steps.Rows {
			require.NotEmpty(t, row[i], "%s in %q", want.head, row)
		}
	}
	require.Contains(t, r.owner(), f.Settings.Name, "21 CFR 112.161(a)(1)(i)")
	require.Contains(t, r.owner(), f.Settings.Place, "21 CFR 112.161(a)(1)(i)")
	require.True(t, r.Sign, "21 CFR 112.161(b)")
	text := drawnWith(t, drawText, r)
	for _, line := range []string{"Reviewed by (supervisor or responsible party)", "Signature", "Date and time"} {
		require.Contains(t, text, line, "21 CFR 112.161(b)")
	}
}

func TestSanitationSummaryIsTraced(t *testing.T) {
	f := small(t)
	rinses, sanitized, bad, late, farm := 0, 0, 0, 0, 0
	voided := map[medium.Code]uint64{}
	for _, s := range f.steps {
		if b, ok := s.Body.(*medium.Correct); ok {
			voided[s.Mat] = b.MatSeq
		}
	}
	for _, s := range f.steps {
		if voided[s.Mat] == s.MatSeq {
			continue
		}
		switch b := s.Body.(type) {
		case *medium.Rinse:
			rinses++
			if s.Recorded.Sub(s.At) > time.Hour {
				late++
			}
		case *medium.Sanitize:
			sanitized++
			if !s.Outcome.Accepted {
				bad++
			}
			if b.Product == "Drugstore peroxide" {
				farm++
			}
		}
	}
	until := f.now.In(f.Location())
	i := func(n int) string { return short(float64(n)) }
	traced(t, papers(f)["sanitation"].Summary, []claim{
		{`^On file`, []string{until.Format("2"), until.Format("2006"), i(rinses), i(sanitized), "12"}},
		{`^Sown on without`, []string{"0"}},
		{`^Harvested, and no accepted`, []string{"3"}}, // fates 4, 6 and 7
		{`^Not accepted`, []string{i(bad), i(sanitized)}},
		{`^Written down late`, []string{i(late), i(len(voided))}},
		{`^Weeks that are over`, []string{i(weeksWithSteps(f))}},
		{`^By the farm's own procedure`, []string{i(farm), i(sanitized)}},
	})
}

// weeksWithSteps counts the calendar weeks that are over in which there were
// rinses or sanitize steps; nobody reviews on the small farm.
func weeksWithSteps(f *farm) int {
	weeks := map[[2]int]bool{}
	end := f.now.In(f.Location())
	for _, s := range f.steps {
		if s.Kind != medium.KindRinse && s.Kind != medium.KindSanitize {
			continue
		}
		y, w := s.At.In(f.Location()).ISOWeek()
		if ny, nw := end.ISOWeek(); ny != y || nw != w {
			weeks[[2]int{y, w}] = true
		}
	}
	return len(weeks)
}

// A review takes in the steps that were written down before it, by the day of
// the work (21 CFR 112.161(b)); what was entered later stays open.
func TestReview(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	f.do(code(1), &medium.Rinse{Debris: medium.DebrisNone, Place: "yard sink"})
	day := f.now.In(f.Location()).Format(time.DateOnly)
	f.now = f.now.AddDate(0, 0, 15)
	review := func() {
		done, err := medium.AdmitFarm(f.Farm, medium.Step{By: "SV", Body: &medium.Review{From: day, To: day, Note: "seen"}}, f.now)
		require.NoError(t, err)
		f.append(done)
	}
	build := func() Report {
		return Sanitation(SanitationInput{Origin: f.origin(), Steps: f.each})
	}
	require.Len(t, gaps(t, build())["week not reviewed"], 1)
	require.Equal(t, "week not reviewed", column(t, section(t, build(), "Gaps"), "What")[0], "before all others")
	review()
	r := build()
	require.Empty(t, gaps(t, r)["week not reviewed"])
	steps := section(t, r, "Cleaning and sanitizing steps")
	require.Equal(t, []string{"yard sink"}, column(t, steps, "Place"))
	require.Contains(t, column(t, steps, "Reviewed")[0], "SV")
	require.Equal(t, []string{"1"}, column(t, section(t, r, "Reviews"), "Steps"))

	late, err := medium.Admit(f.conditions[code(1)], f.Farm, medium.Step{Mat: code(1), By: "AB", At: f.now.AddDate(0, 0, -15), Body: &medium.Rinse{Debris: medium.DebrisNone}}, f.now.Add(time.Hour))
	require.NoError(t, err)
	f.now = f.now.Add(time.Hour)
	f.append(late)
	require.Len(t, gaps(t, build())["week not reviewed"], 1, "an entry after the review")
	review()
	require.Empty(t, gaps(t, build())["week not reviewed"])
	today := f.now.In(f.Location()).Format(time.DateOnly)
	_, err = medium.AdmitFarm(f.Farm, medium.Step{By: "SV", Body: &medium.Review{From: day, To: today}}, f.now)
	var notOver *medium.ReviewError
	require.ErrorAs(t, err, &notOver)
	for _, bad := range []medium.Review{{From: "2026-03-01", To: "2026-02-01"}, {From: "2025-01-01", To: "2025-12-31"}, {From: "x", To: day}, {From: day, To: "x"}} {
		_, err := medium.AdmitFarm(f.Farm, medium.Step{By: "SV", Body: &bad}, f.now)
		var input *medium.InputError
		require.ErrorAs(t, err, &input, "%+v", bad)
	}
}

// A review of one's own work is taken, and shown: 21 CFR 112.161(b) asks for a
// supervisor or responsible party, and there are farms of one.
func TestReviewByTheSamePerson(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	day := f.now.In(f.Location()).Format(time.DateOnly)
	f.do(code(1), &medium.Rinse{Debris: medium.DebrisTraces})
	f.add(medium.Step{Mat: code(1), By: "SV", Body: &medium.Rinse{Debris: medium.DebrisNone}})
	f.now = f.now.AddDate(0, 0, 2)
	done, err := medium.AdmitFarm(f.Farm, medium.Step{By: "ab", Body: &medium.Review{From: day, To: day}}, f.now)
	require.NoError(t, err)
	f.append(done)
	r := Sanitation(SanitationInput{Origin: f.origin(), Steps: f.each})
	require.Equal(t, []string{"–: 1 of 2 steps from " + day + " to " + day}, gaps(t, r)["reviewed by the same person"])
	require.Contains(t, r.Summary, "Reviewed by the person who did them: 1 step.")
	require.Equal(t, []string{"1"}, column(t, section(t, r, "Reviews"), "Their own"))
	reviewed := column(t, section(t, r, "Cleaning and sanitizing steps"), "Reviewed")
	require.Contains(t, reviewed[0], "(own)")
	require.NotContains(t, reviewed[1], "(own)")
}

// Where a step relied on directions or a strip that a newer record took the
// place of, the log shows both, and what the newer one says of the step.
func TestSupersededFarmRecords(t *testing.T) {
	f := newFarm(t)
	record := func(by string, body medium.Body) {
		t.Helper()
		f.hours(0.1)
		done, err := medium.AdmitFarm(f.Farm, medium.Step{By: by, Body: body}, f.now)
		require.NoError(t, err)
		f.Farm = f.Apply(f.append(done))
	}
	product := medium.Sanitizer{Name: "Dairy Rinse 5", Active: "peroxyacetic", Directions: medium.DirectionsLabel, MinPPM: 80, MaxPPM: 200, ContactS: 60, MixedHours: 48}
	const bottle = "BK7R2N81"
	record("MK", &product)
	record("MK", &medium.Solution{Code: bottle, Product: "Dairy Rinse 5", StockML: 20, WaterML: 980, StrengthPPM: 110})
	record("MK", &medium.Strip{Code: bottle, ReadPPM: 120, StepPPM: 20})
	before := f.now
	for i := range 2 {
		f.do(code(i), addMat(0))
		f.wash(code(i), medium.Sanitize{Solution: bottle, ContactS: 90, Sides: 2, Method: "soak"})
	}
	build := func() Report {
		return Sanitation(SanitationInput{Origin: f.origin(), Steps: f.each})
	}
	table := func() Section { return section(t, build(), "Records of the farm") }
	values := column(t, section(t, build(), "Cleaning and sanitizing steps"), "Other values")
	require.Regexp(t, `solution BK7R 2N81; strip 120 ppm, 2.Mar.2026 \d\d:\d\d by MK$`, strings.Join(values, "\n"), "the strip that counted")
	require.Empty(t, table().Rows)
	products := section(t, build(), "Products used")
	require.Equal(t, []string{"label: 80 to 200 ppm, 1 min, good 48 h"}, column(t, products, "Directions"))
	require.Equal(t, []string{"2"}, column(t, products, "Steps"))
	record("MK", &medium.Strip{Code: bottle, ReadPPM: 120, StepPPM: 20})
	product.Note = "shelf 2"
	record("MK", &product)
	require.Empty(t, table().Rows, "the same reading and the same directions")

	record("SV", &medium.Strip{Code: bottle, ReadPPM: 60, StepPPM: 20})
	product.MinPPM = 100
	record("SV", &product)
	require.Empty(t, table().Rows, "what was read or printed after the use says nothing of it")

	again := product
	again.Corrects = "typed 80 for 100"
	record("SV", &again)
	require.Empty(t, table().Rows, "of the label of today")
	late := medium.Step{By: "SV", At: before, Body: &medium.Strip{Code: bottle, ReadPPM: 60, StepPPM: 20}}
	done, err := medium.AdmitFarm(f.Farm, late, f.now)
	require.NoError(t, err)
	f.Farm = f.Apply(f.append(done))
	done, err = medium.AdmitFarm(f.Farm, medium.Step{By: "SV", At: before, Body: &product}, f.now)
	require.NoError(t, err)
	f.Farm = f.Apply(f.append(done))
	got := table()
	require.Equal(t, []string{"directions of Dairy Rinse 5", "solution BK7R 2N81"}, column(t, got, "Record"))
	require.Equal(t, []string{"2", "2"}, column(t, got, "Steps"))
	require.Equal(t, []string{"–", "under the 80 ppm of the directions"}, column(t, got, "Later strength"))
	require.Contains(t, column(t, got, "Relied on")[0], "label: 80 to 200 ppm")
	require.Contains(t, column(t, got, "Relied on")[1], "strip 120 ppm, ")
	require.Contains(t, column(t, got, "Relied on")[1], " by MK")
	require.Contains(t, column(t, got, "Superseded by")[0], "label: 100 to 200 ppm")
	require.Contains(t, column(t, got, "Superseded by")[1], "strip 60 ppm, ")
	require.Contains(t, column(t, got, "Superseded by")[1], " by SV")
	require.Contains(t, strings.Join(build().Summary, " "), "a newer record replaced: 2.")
}

// A bottle that is emptied and filled again under the same code is another
// solution: nothing of the first was superseded.
func TestRefilledBottleSupersedesNothing(t *testing.T) {
	f := newFarm(t)
	record := func(body medium.Body) {
		t.Helper()
		f.hours(0.1)
		done, err := medium.AdmitFarm(f.Farm, medium.Step{By: "MK", Body: body}, f.now)
		require.NoError(t, err)
		f.Farm = f.Apply(f.append(done))
	}
	const bottle = "BK7R2N81"
	fill := func(ppm float64) {
		record(&medium.Solution{Code: bottle, Product: "Dairy Rinse 5", StockML: 20, WaterML: 980, StrengthPPM: ppm})
		record(&medium.Strip{Code: bottle, ReadPPM: ppm, StepPPM: 20})
	}
	fill(120)
	f.do(code(1), addMat(0))
	f.wash(code(1), medium.Sanitize{Solution: bottle, ContactS: 90, Sides: 2, Method: "soak"})
	record(&medium.Discard{Code: bottle, Reason: "empty"})
	f.Discarded = nil // as once it is long gone, and as in ledgers from before a code was given once
	fill(160)
	r := Sanitation(SanitationInput{Origin: f.origin(), Steps: f.each})
	require.Empty(t, section(t, r, "Records of the farm").Rows)
}

// Every number under Result leads to a gap of the same mat, and every step that
// was not accepted, came late or is void has one.
func TestResultsLeadToTheirReasons(t *testing.T) {
	r := papers(small(t))["sanitation"]
	g := section(t, r, "Gaps")
	steps := section(t, r, "Cleaning and sanitizing steps")
	at, numbers := column(t, g, "Mat"), column(t, g, "No.")
	led := 0
	for i, result := range column(t, steps, "Result") {
		_, see, has := strings.Cut(result, "see ")
		sanitize := strings.HasPrefix(column(t, steps, "Method")[i], "sanitize")
		require.Equal(t, has, has || sanitize && strings.HasPrefix(result, "not accepted") || strings.Contains(result, "late") || strings.HasPrefix(result, "void"), result)
		for _, n := range strings.FieldsFunc(see, func(c rune) bool { return c < '0' || c > '9' }) {
			require.Equal(t, column(t, steps, "Mat")[i], at[slices.Index(numbers, n)], result)
			led++
		}
	}
	require.Greater(t, led, 2)
	require.Contains(t, strings.Join(r.Method, " "), "as they stood when the work was done")
}

// The lines for review stand on the page of the last rows, however many there
// are, and a row of the log keeps to one line.
func TestSignatureStandsWithTheLastRows(t *testing.T) {
	whole := papers(small(t))["sanitation"]
	last := len(whole.Sections) - 1
	rows := whole.Sections[last].Rows
	require.Greater(t, len(rows), 60)
	for n := 40; n <= 62; n++ { // over the end of a page
		r := whole
		r.Sections = slices.Clone(whole.Sections)
		r.Sections[last].Rows = slices.Clone(rows[:n])
		r.Sections[last].Rows[n-1] = slices.Clone(rows[n-1])
		r.Sections[last].Rows[n-1][1] = "lastrow"
		r.Sections[last].Rows[n-3] = slices.Clone(rows[n-3])
		r.Sections[last].Rows[n-3][1] = "thirdlast"
		found := 0
		for _, p := range read(t, pdfOf(t, r)) {
			text := p.text()
			if strings.Contains(text, "Reviewed by (supervisor") {
				found++
				require.Contains(t, text, "lastrow", "%d rows", n)
				require.Contains(t, text, "thirdlast", "%d rows", n)
			}
		}
		require.Equal(t, 1, found)
	}
	for _, p := range read(t, pdfOf(t, whole)) {
		line := map[float64]bool{}
		for _, w := range p.Words {
			if strings.HasPrefix(w.Text, "sanitize:") || w.Text == "rinse" {
				line[w.YMin] = true
			}
		}
		var least, before float64 = 99, 0
		for _, y := range slices.Sorted(maps.Keys(line)) {
			if before > 0 {
				least = min(least, y-before)
			}
			before = y
		}
		if len(line) > 20 {
			require.Less(t, least, 2*lineHeight(densePt)*72/25.4, "rows of one line")
		}
	}
}

func gaps(t *testing.T, r Report) map[string][]string {
	out := map[string][]string{}
	g := section(t, r, "Gaps")
	for i, what := range column(t, g, "What") {
		out[what] = append(out[what], column(t, g, "Mat")[i]+": "+column(t, g, "More")[i])
	}
	return out
}

func TestGapsStandFirst(t *testing.T) {
	f := small(t)
	r := papers(f)["sanitation"]
	require.True(t, strings.HasPrefix(r.Sections[0].Heading, "Gaps"))
	found := gaps(t, r)
	require.Len(t, found["harvested, no accepted sanitizing step since"], 3)
	require.Len(t, found["sanitizing step not accepted"], 1)
	require.Contains(t, found["sanitizing step not accepted"][0], "40 ppm is under")
	require.Contains(t, found["late entry"][0], "written down ")
	require.Contains(t, found["voided step"][0], "(CD): wrong mat scanned")
}

// A farm that switched the rule off can sow on an unsanitized mat; the log says
// so all the same.
func TestSowingWithoutSanitizingIsAGap(t *testing.T) {
	f := newFarm(t)
	change := medium.PolicyChange{Setting: medium.Setting{Rule: "not-sanitized", On: false, Limit: 1}, Reason: "trial"}
	f.Farm = f.Apply(medium.Step{Body: &change})
	f.do(code(1), addMat(0))
	f.wash(code(1), label())
	f.sow(code(1), "pea", "L1", "A")
	require.Empty(t, gaps(t, papers(f)["sanitation"]))

	// Put in by hand: no path of today's rules leads to it, but the log reads what is there.
	s := medium.Step{Mat: code(1), At: f.now, Recorded: f.now, By: "AB", Kind: medium.KindSow, Outcome: medium.Outcome{Accepted: true},
		Body: &medium.Sow{Crops: []medium.Sown{{Crop: "radish"}}, Lot: "L2"}}
	f.append(s)
	r := papers(f)["sanitation"]
	require.Equal(t, []string{code(1).String() + ": radish, lot L2"}, gaps(t, r)["sown on without an accepted sanitizing step before"])
	require.Contains(t, strings.Join(r.Summary, " "), "Sown on without an accepted sanitizing step before: 1 time.")
}

func TestAVoidedSanitizingCountsForNothing(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	f.wash(code(1), label())
	f.turn(code(1), "pea", "L1", "A", 200, label())
	none := gaps(t, papers(f)["sanitation"])
	delete(none, "week not reviewed")
	require.Empty(t, none)
	thread := f.thread(code(1))
	last := slices.IndexFunc(thread, func(s medium.Step) bool { return s.Kind == medium.KindSanitize && s.MatSeq > 5 })
	f.correct(code(1), thread[last].MatSeq, "wrong bottle")
	found := gaps(t, papers(f)["sanitation"])
	require.Len(t, found["voided step"], 1)
	require.Len(t, found["harvested, no accepted sanitizing step since"], 1)
}

func TestMissingLotAndPlaceAreGaps(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	f.wash(code(1), label())
	f.turn(code(1), "pea", "", "", 200, label())
	found := gaps(t, papers(f)["sanitation"])
	require.Len(t, found["no lot on file"], 2, "the rinse and the sanitizing after the crop")
	require.Len(t, found["no place on file"], 2)
	rows := section(t, papers(f)["sanitation"], "Cleaning")
	require.Equal(t, []string{"no crop yet", "no crop yet", "pea, lot not recorded", "pea, lot not recorded"}, column(t, rows, "Crop and lot before"))
}

func TestThePeriodBoundsTheRowsNotTheMemory(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	f.wash(code(1), label())
	f.sow(code(1), "pea", "L1", "shelf A")
	f.hours(24 * 8)
	f.do(code(1), &medium.Harvest{YieldG: 200})
	f.hours(1)
	from := f.now
	f.wash(code(1), label())
	f.hours(24)
	r := Sanitation(SanitationInput{Origin: f.origin(), Steps: f.each, From: from})
	rows := section(t, r, "Cleaning")
	require.Len(t, rows.Rows, 2)
	require.Equal(t, []string{"pea, lot L1", "pea, lot L1"}, column(t, rows, "Crop and lot before"))
	require.Equal(t, []string{"shelf A", "shelf A"}, column(t, rows, "Place"))

	before := Sanitation(SanitationInput{Origin: f.origin(), Steps: f.each, To: from.Add(-time.Minute)})
	require.Len(t, section(t, before, "Cleaning").Rows, 2)
	require.Len(t, gaps(t, before)["harvested, no accepted sanitizing step since"], 1, "as things stood at the end of the period")
}

// A rinse that is voided after the harvest takes away what the sanitize step
// after it counted for: the row, the counts and the gaps go by the replay, as
// the verdict and the trace do.
func TestAVoidedRinseTakesTheSanitizingWithIt(t *testing.T) {
	f := newFarm(t)
	f.do(code(1), addMat(0))
	f.wash(code(1), label())
	f.turn(code(1), "pea", "L1", "A", 200, label())
	f.turn(code(1), "pea", "L2", "A", 200, label())
	build := func() Report { return papers(f)["sanitation"] }
	require.Contains(t, strings.Join(build().Summary, " "), "Not accepted: 0 of 3 sanitizing steps.")
	thread := f.thread(code(1))
	rinse := slices.IndexFunc(thread, func(s medium.Step) bool { return s.Kind == medium.KindRinse && s.MatSeq > 5 })
	number := thread[rinse].MatSeq
	f.correct(code(1), number, "never rinsed")

	r := build()
	said := strings.Join(r.Summary, " ")
	require.Contains(t, said, "Not accepted: 1 of 3 sanitizing steps.")
	require.Contains(t, said, "Sown on without an accepted sanitizing step before: 1 time.")
	found := gaps(t, r)
	require.Equal(t, []string{code(1).String() + ": pea, lot L2"}, found["sown on without an accepted sanitizing step before"])
	require.Len(t, found["sanitizing step not accepted"], 1)
	require.Contains(t, found["sanitizing step not accepted"][0], fmt.Sprintf("accepted when recorded; not counted since step %d (rinse) was voided", number))
	require.Contains(t, found["sanitizing step not accepted"][0], "never rinsed")
	var results []string
	for _, row := range column(t, section(t, r, "Cleaning"), "Result") {
		if strings.HasPrefix(row, "accepted when recorded") {
			results = append(results, row)
		}
	}
	require.Len(t, results, 1)
	require.Contains(t, results[0], fmt.Sprintf("accepted when recorded; not counted since step %d was voided, see ", number))

	g := f.graph(slices.Values([]medium.Code{code(1)}))
	traced, err := g.Find(trace.Query{From: trace.FromLot, Name: "L2"})
	require.NoError(t, err)
	require.False(t, traced.Start[0].Cleared, "the trace says the same")
	require.Equal(t, []string{"Dairy Rinse 5", ""}, []string{appendTurns(nil, thread)[1].Sanitizer, appendTurns(nil, f.thread(code(1)))[1].Sanitizer})
}
